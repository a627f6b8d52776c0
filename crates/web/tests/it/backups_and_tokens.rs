//! Backups and tokens.

use serde_json::json;
use service::Scope;

use crate::house::House;

#[tokio::test]
async fn a_backup_is_made_listed_and_downloaded() {
    let house = House::with_hall().await;
    assert_eq!(house.get("/v1/backups").await.json(), json!({"backups":[]}));
    let made = house.post("/v1/backups", "").await;
    let body = made.expect(201).json();
    let name = body["name"].as_str().unwrap();
    assert_eq!(made.header("location"), format!("/v1/backups/{name}"));
    assert_eq!(body["at"], "2026-11-25T20:00:00Z");
    assert_eq!(house.get("/v1/backups").await.json()["backups"], json!([body]));
    let file = house.get(made.header("location")).await;
    file.expect(200);
    assert_eq!(file.bytes.len() as u64, body["bytes"].as_u64().unwrap());
    // the header of every SQLite file (SQLite file format, section 1.3.1)
    assert!(file.bytes.starts_with(b"SQLite format 3\0"));
    assert_eq!(file.bytes, std::fs::read(house.folder.path().join("backups").join(name)).unwrap());
    assert_eq!(file.header("content-type"), "application/vnd.sqlite3");
    assert_eq!(file.header("cache-control"), "no-store");
    assert!(file.header("content-disposition").contains(name));
    house.post("/v1/backups", r#"{"a":1}"#).await.problem(422, "invalid");
}

#[tokio::test]
async fn only_what_is_listed_is_downloaded() {
    let house = House::with_hall().await;
    house.post("/v1/backups", "{}").await.expect(201);
    std::fs::write(house.folder.path().join("backups/other.txt"), "no").unwrap();
    for name in [
        "other.txt",
        "ghost",
        "..%2fsconced.sqlite",
        "%2e%2e",
        "sconced-20261125T200000000Z.sqlite%00",
        ".",
        "%2fetc%2fpasswd",
    ] {
        house.get(&format!("/v1/backups/{name}")).await.problem(404, "not-there");
    }
    house.get("/v1/backups/%ff").await.problem(400, "path");
}

#[tokio::test]
async fn a_token_is_made_once_shown_and_taken_away() {
    let house = House::open().await;
    let made = house.post("/v1/tokens", r#"{"name":"kitchen tablet","scope":"edit"}"#).await;
    let body = made.expect(201).json();
    assert_eq!(made.header("cache-control"), "no-store");
    let text = body["token"].as_str().unwrap();
    assert_eq!(house.service.authenticate(text).unwrap().scope, Scope::Edit);
    let list = house.get("/v1/tokens").await;
    assert!(!list.text().contains(text));
    let tokens = list.json()["tokens"].as_array().unwrap().clone();
    assert!(
        tokens.contains(
            &json!({"id":body["id"],"name":"kitchen tablet","scope":"edit","created":"2026-11-25T20:00:00Z"})
        )
    );
    let again = house.post("/v1/tokens", r#"{"name":"kitchen tablet","scope":"read"}"#).await;
    assert_eq!(again.problem(409, "exists")["pointer"], "/name");
    house.delete(made.header("location")).await.expect(204);
    assert!(house.service.authenticate(text).is_none());
    house.delete(made.header("location")).await.problem(404, "not-there");
}

#[tokio::test]
async fn what_cannot_be_a_token_is_refused_at_its_place() {
    let house = House::open().await;
    let long = "x".repeat(65);
    for (body, pointer) in [
        ("{}".to_owned(), "/name"),
        (r#"{"name":"a"}"#.to_owned(), "/scope"),
        (r#"{"name":"a","scope":"owner"}"#.to_owned(), "/scope"),
        (r#"{"name":"a","scope":7}"#.to_owned(), "/scope"),
        (r#"{"name":7,"scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":"","scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":" a","scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":"a\nb","scope":"read"}"#.to_owned(), "/name"),
        (format!(r#"{{"name":"{long}","scope":"read"}}"#), "/name"),
        (r#"{"name":"loopback","scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":"sconced","scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":"fixture:hall","scope":"read"}"#.to_owned(), "/name"),
        (r#"{"name":"a","scope":"read","for":"x"}"#.to_owned(), "/for"),
        ("[]".to_owned(), ""),
    ] {
        assert_eq!(house.post("/v1/tokens", &body).await.problem(422, "invalid")["pointer"], pointer, "{body}");
    }
    assert_eq!(house.get("/v1/tokens").await.json()["tokens"].as_array().unwrap().len(), 1);
    for id in ["x", "-1", "1.0", "99999999999999999999"] {
        house.delete(&format!("/v1/tokens/{id}")).await.problem(400, "path");
    }
}
