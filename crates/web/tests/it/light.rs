//! Showing, agenda, override.

use serde_json::{Value, json};

use crate::house::{House, JSON};

const OVERRIDE: &str = "/v1/fixtures/hall/override";

#[tokio::test]
async fn showing_says_what_why_and_since_when() {
    let house = House::with_hall().await;
    let shown = house.get("/v1/fixtures/hall/showing").await.expect(200).json();
    assert_eq!((&shown["look"], &shown["because"], &shown["rev"]), (&json!("evening"), &json!("default"), &json!(1)));
    assert_eq!(
        (&shown["at"], &shown["since"], &shown["until"]),
        (&json!("2026-11-25T20:00:00Z"), &json!("2026-11-25T20:00:00Z"), &Value::Null)
    );
    assert_eq!(
        (&shown["span"], &shown["motif"], &shown["fade_ms"]),
        (&json!([0, 65535]), &json!(["steady"]), &json!(2000))
    );
    let duty = shown["channels"][0].as_array().unwrap();
    assert_eq!(duty.len(), 3);
    assert!(duty[0].as_u64() > duty[2].as_u64(), "2400 K is more red than blue: {duty:?}");
    let motif = r#"{"looks":{"greet":{"colours":["wheat"],"motif":{"name":"unroll","seconds":1.5,"toward":"start"}}},"default":"greet"}"#;
    house.patch("/v1/fixtures/hall/desired", motif).await.expect(200);
    let shown = house.get("/v1/fixtures/hall/showing").await.json();
    assert_eq!(shown["motif"], json!(["unroll", 1500, 16384, 32768, "start", 0]));
}

#[tokio::test]
async fn an_override_holds_until_its_time_and_is_released() {
    let house = House::with_hall().await;
    let put = house.put(OVERRIDE, r#"{"look":"late","until":"2026-11-25T22:00:00Z"}"#).await;
    let body = put.expect(200).json();
    assert_eq!((&body["rev"], put.header("etag")), (&json!(2), "\"2\""));
    assert_eq!(body["document"]["override"]["look"], "late");
    let at = async |time: &str| house.get(&format!("/v1/fixtures/hall/showing?at={time}")).await.json();
    let during = at("2026-11-25T21:00:00Z").await;
    assert_eq!(
        (&during["look"], &during["because"], &during["until"]),
        (&json!("late"), &json!("override"), &json!("2026-11-25T22:00:00Z"))
    );
    assert_eq!(at("2026-11-25T22:00:00Z").await["because"], "default");
    let agenda = house.get("/v1/fixtures/hall/agenda").await.expect(200).json();
    assert_eq!(agenda["rev"], 2);
    assert_eq!(agenda["changes"].as_array().unwrap().len(), 2);
    assert_eq!(
        agenda["changes"][1],
        json!({"at":"2026-11-25T22:00:00Z","look":"evening","because":"default","until":null,"floored":false})
    );
    let released = house.delete(OVERRIDE).await.expect(200).json();
    assert_eq!((&released["rev"], released["document"].get("override")), (&json!(3), None));
    assert_eq!(house.delete(OVERRIDE).await.expect(200).json()["rev"], 3);
}

#[tokio::test]
async fn an_override_may_have_a_look_of_its_own_and_no_end() {
    let house = House::with_hall().await;
    house.put(OVERRIDE, r#"{"look":{"colours":["teal"],"intensity":40},"until":null}"#).await.expect(200);
    assert_eq!(house.get("/v1/fixtures/hall/showing").await.json()["look"], "override");
    house.put(OVERRIDE, r#"{"look":"dark","until":"next-change"}"#).await.expect(200);
    let stale = [("content-type", JSON), ("if-match", "\"2\"")];
    house.send("PUT", OVERRIDE, &stale, r#"{"look":"late"}"#).await.problem(412, "stale");
}

#[tokio::test]
async fn a_faulty_override_is_refused_at_its_place_in_the_body() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    for (body, pointer) in [
        ("{}", ""),
        ("[]", ""),
        (r#"{"look":"ghost"}"#, "/look"),
        (r#"{"look":7}"#, "/look"),
        (r#"{"look":{"intensity":120}}"#, "/look/intensity"),
        (r#"{"look":{"kelvin":1}}"#, "/look"),
        (r#"{"look":"late","until":"later"}"#, "/until"),
        (r#"{"look":"late","until":"2026-11-25T22:00"}"#, "/until"),
        (r#"{"look":"late","until":"2020-01-01T00:00:00Z"}"#, "/until"),
        (r#"{"look":"late","until":7}"#, "/until"),
        (r#"{"look":"late","untill":null}"#, "/untill"),
    ] {
        let problem = house.put(OVERRIDE, body).await.problem(422, "invalid");
        let found = problem["pointer"].as_str().unwrap();
        assert!(found == pointer || (pointer.is_empty() && found == "/look"), "{body}: {found}");
    }
    assert_eq!(house.history_rows().await, rows);
}

#[tokio::test]
async fn fixtures_without_looks_have_nothing_to_show() {
    let house = House::open().await;
    house.post("/v1/fixtures", r#"{"id":"box","kind":"free"}"#).await.expect(201);
    house.get("/v1/fixtures/box/showing").await.problem(409, "no-looks");
    house.get("/v1/fixtures/box/agenda").await.problem(409, "no-looks");
    house.put("/v1/fixtures/box/override", r#"{"look":"late"}"#).await.problem(409, "no-looks");
    house.delete("/v1/fixtures/box/override").await.problem(409, "no-looks");
}

#[tokio::test]
async fn spans_of_time_that_are_none_are_refused_by_name() {
    let house = House::with_hall().await;
    for (query, name) in [
        ("agenda?from=2026-11-26T00:00:00Z&to=2026-11-25T00:00:00Z", "to"),
        ("agenda?from=2026-11-26T00:00:00Z&to=2026-11-26T00:00:00Z", "to"),
        ("agenda?from=2020-01-01T00:00:00Z&to=2026-01-01T00:00:00Z", "to"),
        ("agenda?from=9999-12-30T23:00:00Z", "from"),
        ("agenda?from=yesterday", "from"),
        ("agenda?to=2026-11-26", "to"),
        ("showing?at=now", "at"),
        ("showing?at=2026-11-25T20:00Z", "at"),
        ("showing?at=", "at"),
        ("showing?when=2026-11-25T20:00:00Z", "when"),
    ] {
        let problem = house.get(&format!("/v1/fixtures/hall/{query}")).await.problem(400, "query");
        assert!(problem["detail"].as_str().unwrap().contains(&format!("{name:?}")), "{query}: {problem}");
    }
    for extreme in ["0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "9999-12-30T22:00:00Z"] {
        house.get(&format!("/v1/fixtures/hall/showing?at={extreme}")).await.expect(200);
    }
}

#[tokio::test]
async fn a_time_that_is_too_late_for_any_is_told_with_the_last_that_there_is() {
    let house = House::with_hall().await;
    for path in ["/showing?at=", "/desired?at=", "/history?since=", "/agenda?from="] {
        let path = format!("/v1/fixtures/hall{path}");
        let late = house.get(&format!("{path}9999-12-31T23:59:59Z")).await.problem(400, "query");
        assert!(late["detail"].as_str().unwrap().contains("9999-12-30T22:00:00Z"), "{late}");
        let wrong = house.get(&format!("{path}tomorrow")).await.problem(400, "query");
        assert!(wrong["advice"].as_str().unwrap().contains("RFC 3339"), "{wrong}");
    }
    // the last there is can be asked for
    house.get("/v1/fixtures/hall/showing?at=9999-12-30T22:00:00Z").await.expect(200);
    house.get("/v1/fixtures/hall/agenda?from=9999-12-29T22:00:00Z&to=9999-12-30T22:00:00Z").await.expect(200);
}
