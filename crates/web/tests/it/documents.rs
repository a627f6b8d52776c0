//! Desired, reported, delta, undo.

use serde_json::json;
use service::Message;

use crate::house::{House, JSON, MERGE, OPERATIONS};

const DESIRED: &str = "/v1/fixtures/hall/desired";

#[tokio::test]
async fn the_desired_document_comes_alone_as_it_is_kept() {
    let house = House::with_hall().await;
    let answer = house.get(DESIRED).await;
    answer.expect(200);
    assert_eq!(answer.header("etag"), "\"1\"");
    assert_eq!(answer.header("content-type"), JSON);
    assert_eq!(answer.header("cache-control"), "no-cache");
    assert_eq!(answer.text(), &*house.service.house().get("hall").unwrap().desired.text);
}

#[tokio::test]
async fn an_edit_answers_revision_changes_advice_and_document() {
    let house = House::with_hall().await;
    let answer = house.patch(DESIRED, r#"{"looks":{"late":{"intensity":10}},"sparkle":1}"#).await;
    let body = answer.expect(200).json();
    assert_eq!(answer.header("etag"), "\"2\"");
    assert_eq!(body["rev"], 2);
    assert_eq!(body["changed"], json!(["/looks/late/intensity", "/sparkle"]));
    assert_eq!(body["advice"][0]["pointer"], "/sparkle");
    assert_eq!(body["document"], house.get(DESIRED).await.json());
    assert_eq!(body["document"]["looks"]["late"]["colours"], json!(["gold"]));
}

#[tokio::test]
async fn an_edit_that_changes_nothing_makes_no_revision() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    let body = house.patch(DESIRED, r#"{"fade":2.0,"nothing":null}"#).await.expect(200).json();
    assert_eq!((&body["rev"], &body["changed"]), (&json!(1), &json!([])));
    assert_eq!(house.history_rows().await, rows);
}

#[tokio::test]
async fn json_patch_is_carried_out_whole_or_not_at_all() {
    let house = House::with_hall().await;
    let send = async |body: &str| house.send("PATCH", DESIRED, &[("content-type", OPERATIONS)], body.to_owned()).await;
    let good = r#"[{"op":"test","path":"/fade","value":2},{"op":"replace","path":"/fade","value":3}]"#;
    assert_eq!(send(good).await.expect(200).json()["document"]["fade"], 3);
    let failed = r#"[{"op":"replace","path":"/fade","value":9},{"op":"test","path":"/fade","value":2}]"#;
    assert!(send(failed).await.problem(409, "test-failed")["pointer"].is_string());
    let nowhere = r#"[{"op":"replace","path":"/fade","value":9},{"op":"remove","path":"/ghost"}]"#;
    send(nowhere).await.problem(422, "invalid");
    for malformed in
        ["{}", "7", r#"[{"op":"bore","path":"/a"}]"#, r#"[{"op":"add","path":"a","value":1}]"#, r#"[{"path":"/a"}]"#]
    {
        send(malformed).await.problem(400, "malformed");
    }
    assert_eq!(house.get(DESIRED).await.json()["fade"], 3);
}

#[tokio::test]
async fn put_replaces_the_whole() {
    let house = House::with_hall().await;
    let body = house.put(DESIRED, r#"{"lit":false}"#).await.expect(200).json();
    assert_eq!(body["document"], json!({"lit":false}));
    assert_eq!(house.get(DESIRED).await.text(), r#"{"lit":false}"#);
    assert_eq!(house.put(DESIRED, "[]").await.problem(422, "invalid")["pointer"], "");
    assert_eq!(house.put(DESIRED, r#"{"lit":null}"#).await.problem(422, "invalid")["pointer"], "/lit");
}

#[tokio::test]
async fn media_types_that_are_not_taken_are_named_with_those_that_are() {
    let house = House::with_hall().await;
    for kind in [JSON, "text/plain", "application/xml", ""] {
        let answer = house.send("PATCH", DESIRED, &[("content-type", kind)], "{}").await;
        answer.problem(415, "media-type");
        assert_eq!(answer.header("accept-patch"), "application/merge-patch+json, application/json-patch+json");
    }
    let none = house.send("PATCH", DESIRED, &[], "{}").await;
    none.problem(415, "media-type");
    for kind in [MERGE, "text/json"] {
        let answer = house.send("PUT", DESIRED, &[("content-type", kind)], "{}").await;
        answer.problem(415, "media-type");
        assert_eq!(answer.header("accept"), JSON);
    }
    for kind in ["Application/Merge-Patch+JSON", "application/merge-patch+json; charset=utf-8"] {
        house.send("PATCH", DESIRED, &[("content-type", kind)], "{}").await.expect(200);
    }
    let coded = [("content-type", MERGE), ("content-encoding", "gzip")];
    house.send("PATCH", DESIRED, &coded, "{}").await.problem(415, "media-type");
}

#[tokio::test]
async fn documents_of_the_past_are_read_by_revision_and_by_time() {
    let house = House::with_hall().await;
    house.service.clock().set("2026-11-25T21:00:00Z".parse().unwrap());
    house.patch(DESIRED, r#"{"fade":7}"#).await.expect(200);
    house.service.clock().set("2026-11-25T22:00:00Z".parse().unwrap());
    let fade = async |query: &str| house.get(&format!("{DESIRED}?{query}")).await.expect(200).json()["fade"].clone();
    assert_eq!(fade("rev=1").await, json!(2));
    assert_eq!(fade("rev=2").await, json!(7));
    assert_eq!(fade("at=2026-11-25T20:59:59Z").await, json!(2));
    assert_eq!(fade("at=2026-11-25T21:00:00Z").await, json!(7));
    assert_eq!(fade("at=2026-11-25T22:30:00+01:00").await, json!(7), "a plus sign that was not encoded");
    assert_eq!(fade("at=2026-11-25T21:30:00%2B01:00").await, json!(2));
    assert_eq!(house.get(&format!("{DESIRED}?rev=0")).await.text(), "{}");
    assert_eq!(house.get(&format!("{DESIRED}?rev=1")).await.header("etag"), "\"1\"");
    house.get(&format!("{DESIRED}?rev=3")).await.problem(404, "not-there");
    house.get(&format!("{DESIRED}?rev=18446744073709551615")).await.problem(404, "not-there");
    house.get(&format!("{DESIRED}?at=2020-01-01T00:00:00Z")).await.problem(404, "not-there");
    house.get(&format!("{DESIRED}?at=2026-11-25T21:00:00Z&rev=1")).await.problem(400, "query");
}

#[tokio::test]
async fn reported_and_delta_say_what_is_not_applied_yet() {
    let house = House::with_hall().await;
    let report = br#"{"rev":1,"patch":{"looks":{"evening":{"kelvin":2400,"intensity":70},"late":{"colours":["gold"],"intensity":20,"span":[0,0.2]}},"default":"evening","fade":5,"rssi":-60}}"#;
    house.hear("hall", Message::reported(report).unwrap()).await;
    let reported = house.get("/v1/fixtures/hall/reported").await;
    assert_eq!(reported.expect(200).header("etag"), "\"1.0\"");
    assert_eq!(reported.json()["rssi"], -60);
    assert_eq!(house.get("/v1/fixtures/hall/delta").await.json(), json!({"fade":2}));
    house.hear("hall", Message::reported(br#"{"rev":1,"patch":{"rssi":-70}}"#).unwrap()).await;
    assert_eq!(house.get("/v1/fixtures/hall/reported").await.header("etag"), "\"1.1\"");
    house.hear("hall", Message::reported(br#"{"rev":1,"patch":{"fade":2}}"#).unwrap()).await;
    assert_eq!(house.get("/v1/fixtures/hall/delta").await.text(), "{}");
    let first = house.get("/v1/fixtures/hall/reported?rev=1").await;
    assert_eq!((first.json()["fade"].clone(), first.json().get("rssi")), (json!(5), None));
    // what a fixture reports is not the owner's to write
    house.put("/v1/fixtures/hall/reported", "{}").await.problem(405, "method");
}

#[tokio::test]
async fn undo_puts_back_and_can_be_undone() {
    let house = House::with_hall().await;
    house.patch(DESIRED, r#"{"fade":7}"#).await.expect(200);
    let undone = house.post("/v1/fixtures/hall/undo", "{}").await;
    let body = undone.expect(200).json();
    assert_eq!((&body["rev"], &body["to"], &body["changed"]), (&json!(3), &json!(1), &json!(["/fade"])));
    assert_eq!(body["document"]["fade"], 2);
    assert_eq!(undone.header("etag"), "\"3\"");
    assert!(body["advice"].is_array());
    assert_eq!(house.post("/v1/fixtures/hall/undo", "").await.json()["document"]["fade"], 7);
    assert_eq!(house.post("/v1/fixtures/hall/undo", r#"{"to":0}"#).await.json()["document"], json!({}));
    house.post("/v1/fixtures/hall/undo", r#"{"to":99}"#).await.problem(404, "not-there");
    for bad in [r#"{"to":-1}"#, r#"{"to":1.5}"#, r#"{"to":"1"}"#, r#"{"to":1e400}"#] {
        assert_eq!(house.post("/v1/fixtures/hall/undo", bad).await.problem(422, "invalid")["pointer"], "/to", "{bad}");
    }
    assert_eq!(
        house.post("/v1/fixtures/hall/undo", r#"{"until":1}"#).await.problem(422, "invalid")["pointer"],
        "/until"
    );
    let stale = [("content-type", JSON), ("if-match", "\"1\"")];
    house.send("POST", "/v1/fixtures/hall/undo", &stale, "{}").await.problem(412, "stale");
    house.post("/v1/fixtures", r#"{"id":"new"}"#).await.expect(201);
    house.post("/v1/fixtures/new/undo", "{}").await.problem(409, "nothing-to-undo");
}
