//! Idempotency-Key: a POST that is carried out once.

use serde_json::json;
use service::Scope;

use crate::house::{House, JSON, MERGE, Switch};

const REPLAYED: &str = "idempotency-replayed";

#[tokio::test]
async fn making_a_fixture_twice_under_one_key_makes_it_once() {
    let house = House::open().await;
    let make = async |key: &str, body: &str| {
        house.send("POST", "/v1/fixtures", &[("content-type", JSON), ("idempotency-key", key)], body.to_owned()).await
    };
    let first = make("k1", r#"{"id":"hall"}"#).await;
    let second = make("k1", r#"{"id":"hall"}"#).await;
    assert_eq!((first.expect(201).json(), first.header(REPLAYED)), (second.expect(201).json(), ""));
    assert_eq!((second.header(REPLAYED), second.header("location")), ("true", "/v1/fixtures/hall"));
    assert_eq!(house.history_rows().await, 1);
    make("k1", r#"{"id":"stairs"}"#).await.problem(422, "key-reused");
    make("k2", r#"{"id":"hall"}"#).await.problem(409, "exists");
    // a request that was refused is not remembered
    make("k3", r#"{"id":"landing","title":7}"#).await.problem(422, "invalid");
    make("k3", r#"{"id":"landing"}"#).await.expect(201);
}

#[tokio::test]
async fn keys_are_each_callers_own() {
    let house = House::open().await;
    let keeper = format!("Bearer {}", house.token("keeper", Scope::Admin).await);
    let key = ("idempotency-key", "k1");
    house.send("POST", "/v1/fixtures", &[("content-type", JSON), key], r#"{"id":"hall"}"#).await.expect(201);
    let other = [("content-type", JSON), key, ("authorization", keeper.as_str())];
    house.send("POST", "/v1/fixtures", &other, r#"{"id":"stairs"}"#).await.expect(201);
}

#[tokio::test]
async fn an_undo_that_is_repeated_answers_as_it_did() {
    let house = House::with_hall().await;
    house.patch("/v1/fixtures/hall/desired", r#"{"fade":7}"#).await.expect(200);
    let undo = async || house.send("POST", "/v1/fixtures/hall/undo", &[("idempotency-key", "u1")], "").await;
    let first = undo().await;
    assert_eq!(first.expect(200).json()["to"], 1);
    // meanwhile the document moves on
    house.send("PATCH", "/v1/fixtures/hall/desired", &[("content-type", MERGE)], r#"{"fade":8}"#).await.expect(200);
    let second = undo().await;
    assert_eq!(second.expect(200).header(REPLAYED), "true");
    for member in ["rev", "to", "changed", "document"] {
        assert_eq!(second.json()[member], first.json()[member], "{member}");
    }
    assert_eq!(second.header("etag"), first.header("etag"));
    assert_eq!(house.get("/v1/fixtures/hall/desired").await.json()["fade"], 8);
}

#[tokio::test]
async fn a_secret_is_shown_once_even_to_whoever_repeats() {
    let house = House::with_hall().await;
    let enrol = async || house.send("POST", "/v1/fixtures/hall/enrol", &[("idempotency-key", "e1")], "").await;
    let secret = enrol().await.expect(201).json()["secret"].as_str().unwrap().to_owned();
    enrol().await.problem(409, "secret-shown");
    assert!(house.service.admits("hall", secret.as_bytes()), "the repetition must not end the secret");
}

#[tokio::test]
async fn a_replay_for_a_fixture_that_is_gone_says_so() {
    let house = House::open().await;
    let make = async || {
        house
            .send("POST", "/v1/fixtures", &[("content-type", JSON), ("idempotency-key", "k")], r#"{"id":"hall"}"#)
            .await
    };
    make().await.expect(201);
    house.delete("/v1/fixtures/hall").await.expect(204);
    make().await.problem(404, "not-there");
}

#[tokio::test]
async fn keys_have_a_form_and_are_refused_where_nothing_is_remembered() {
    let house = House::with(true, Some(std::sync::Arc::new(Switch::default()))).await;
    for key in ["", &"k".repeat(256), "a\tb", "\u{e4}"] {
        let headers = [("content-type", JSON), ("idempotency-key", key)];
        house.send("POST", "/v1/fixtures", &headers, r#"{"id":"hall"}"#).await.problem(400, "header");
    }
    let headers = [("content-type", JSON), ("idempotency-key", "k")];
    for (path, body) in [
        ("/v1/backups", "{}"),
        ("/v1/tokens", r#"{"name":"a","scope":"read"}"#),
        ("/v1/demo/power", r#"{"cut_seconds":1}"#),
    ] {
        let problem = house.send("POST", path, &headers, body).await.problem(400, "header");
        assert!(problem["detail"].as_str().unwrap().contains("not supported"));
    }
    assert_eq!(house.get("/v1/backups").await.json(), json!({"backups":[]}));
    let key = "k".repeat(255);
    let headers = [("content-type", JSON), ("idempotency-key", key.as_str())];
    house.send("POST", "/v1/fixtures", &headers, r#"{"id":"hall"}"#).await.expect(201);
}

#[tokio::test]
async fn keys_of_callers_whose_names_run_into_them_are_kept_apart() {
    let house = House::open().await;
    for (n, (name, key)) in [("a", "b:c"), ("a:b", "c"), ("loopback", "k")].into_iter().enumerate() {
        let token = format!("Bearer {}", house.token(name, Scope::Admin).await);
        let headers = [("content-type", JSON), ("idempotency-key", key), ("authorization", token.as_str())];
        house.send("POST", "/v1/fixtures", &headers, format!("{{\"id\":\"reed-{n}\"}}")).await.expect(201);
    }
    // whoever calls from the machine itself is named loopback too
    let headers = [("content-type", JSON), ("idempotency-key", "k")];
    house.send("POST", "/v1/fixtures", &headers, r#"{"id":"stairs"}"#).await.expect(201);
}

#[tokio::test]
async fn a_token_that_has_the_number_of_one_that_is_gone_does_not_have_its_keys() {
    let house = House::open().await;
    let make = async |token: &str, id: &str| {
        let token = format!("Bearer {token}");
        let headers = [("content-type", JSON), ("idempotency-key", "k"), ("authorization", token.as_str())];
        house.send("POST", "/v1/fixtures", &headers, format!("{{\"id\":\"{id}\"}}")).await
    };
    let (first, text) = house.service.add_token("one".into(), Scope::Admin).await.unwrap();
    make(&text, "hall").await.expect(201);
    house.service.remove_token(first.id).await.unwrap();
    house.service.clock().set("2026-11-25T20:00:01Z".parse().unwrap());
    let (_, text) = house.service.add_token("two".into(), Scope::Admin).await.unwrap();
    make(&text, "stairs").await.expect(201);
}
