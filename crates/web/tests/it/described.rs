//! What is answered is what the OpenAPI document describes: every answer here is held against its schema (JSON Schema
//! draft 2020-12, as OpenAPI 3.1 has it).

use std::sync::Arc;

use axum::body::Body;
use serde_json::{Value, json};
use service::{LinkState, Message};

use crate::house::{House, JSON, MERGE, Switch};

/// The schema of an answer, standing alone with what it refers to.
fn schema(document: &Value, method: &str, path: &str, status: u16, media_type: &str) -> Value {
    let pointer = |text: &str| text.replace('~', "~0").replace('/', "~1");
    let at = format!(
        "/paths/{}/{}/responses/{status}/content/{}/schema",
        pointer(path),
        method.to_lowercase(),
        pointer(media_type)
    );
    let schema = document.pointer(&at).unwrap_or_else(|| panic!("the document describes no {at}"));
    json!({"allOf": [schema], "components": document["components"]})
}

#[tokio::test]
async fn every_answer_fits_its_schema() {
    let house = House::with(true, Some(Arc::new(Switch::default()))).await;
    house.service.set_link(LinkState::Up);
    let document = house.get("/openapi.json").await.json();
    let whole = r#"{"id":"hall","title":"Reeds","groups":["indoors"],"notes":"n","volatile":["/rssi"],
        "place":{"latitude":52.4,"longitude":4.9,"zone":"Europe/Amsterdam"}}"#;
    let looks = r#"{"looks":{"evening":{"kelvin":2400,"motif":{"name":"swell"}}},"default":"evening","sparkle":1}"#;
    let steps: &[(&str, &str, &str, &str, u16)] = &[
        ("POST", "/v1/fixtures", "/v1/fixtures", whole, 201),
        ("POST", "/v1/fixtures", "/v1/fixtures", whole, 409),
        ("POST", "/v1/fixtures", "/v1/fixtures", "{", 400),
        ("PUT", "/v1/fixtures/{id}/desired", "/v1/fixtures/hall/desired", looks, 200),
        ("PATCH", "/v1/fixtures/{id}/desired", "/v1/fixtures/hall/desired", r#"{"fade":1}"#, 200),
        ("PATCH", "/v1/fixtures/{id}/desired", "/v1/fixtures/hall/desired", r#"{"fade":-1,"lit":3}"#, 422),
        ("PATCH", "/v1/fixtures/{id}", "/v1/fixtures/hall", r#"{"title":"Reeds in the hall"}"#, 200),
        ("PUT", "/v1/fixtures/{id}/override", "/v1/fixtures/hall/override", r#"{"look":"dark","until":null}"#, 200),
        ("DELETE", "/v1/fixtures/{id}/override", "/v1/fixtures/hall/override", "", 200),
        ("POST", "/v1/fixtures/{id}/undo", "/v1/fixtures/hall/undo", "{}", 200),
        ("POST", "/v1/fixtures/{id}/enrol", "/v1/fixtures/hall/enrol", "{}", 201),
        ("GET", "/v1/fixtures", "/v1/fixtures?limit=1", "", 200),
        ("GET", "/v1/fixtures/{id}", "/v1/fixtures/hall", "", 200),
        ("GET", "/v1/fixtures/{id}", "/v1/fixtures/ghost", "", 404),
        ("GET", "/v1/fixtures/{id}/desired", "/v1/fixtures/hall/desired", "", 200),
        ("GET", "/v1/fixtures/{id}/desired", "/v1/fixtures/hall/desired?rev=1", "", 200),
        ("GET", "/v1/fixtures/{id}/reported", "/v1/fixtures/hall/reported", "", 200),
        ("GET", "/v1/fixtures/{id}/delta", "/v1/fixtures/hall/delta", "", 200),
        ("GET", "/v1/fixtures/{id}/showing", "/v1/fixtures/hall/showing", "", 200),
        ("GET", "/v1/fixtures/{id}/agenda", "/v1/fixtures/hall/agenda", "", 200),
        ("GET", "/v1/sun", "/v1/sun?fixture=hall&date=2026-12-21", "", 200),
        ("GET", "/v1/sun", "/v1/sun?date=winter", "", 400),
        ("GET", "/v1/fixtures/{id}/history", "/v1/fixtures/hall/history", "", 200),
        ("GET", "/v1/history", "/v1/history?limit=3", "", 200),
        ("GET", "/v1/kinds", "/v1/kinds", "", 200),
        ("GET", "/v1/kinds/{name}", "/v1/kinds/strip", "", 200),
        ("POST", "/v1/backups", "/v1/backups", "{}", 201),
        ("GET", "/v1/backups", "/v1/backups", "", 200),
        ("POST", "/v1/tokens", "/v1/tokens", r#"{"name":"a","scope":"read"}"#, 201),
        ("GET", "/v1/tokens", "/v1/tokens", "", 200),
        ("GET", "/healthz", "/healthz", "", 200),
        ("GET", "/readyz", "/readyz", "", 200),
        ("POST", "/v1/demo/power", "/v1/demo/power", r#"{"cut_seconds":2.5}"#, 200),
    ];
    for (method, route, path, body, status) in steps {
        if *path == "/v1/fixtures/hall" && *method == "GET" {
            house.hear("hall", Message::boot(br#"{"reason":"watchdog","have":1,"rssi":-61}"#).unwrap()).await;
            house.hear("hall", Message::reported(br#"{"rev":1}"#).unwrap()).await;
        }
        let kind = if *method == "PATCH" { MERGE } else { JSON };
        let answer = house.send(method, path, &[("content-type", kind)], Body::from(*body)).await;
        answer.expect(*status);
        let media_type = if *status < 400 { JSON } else { "application/problem+json" };
        assert_eq!(answer.header("content-type"), media_type);
        let schema = schema(&document, method, route, *status, media_type);
        let validator = jsonschema::draft202012::new(&schema).unwrap();
        let faults: Vec<String> =
            validator.iter_errors(&answer.json()).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
        assert!(faults.is_empty(), "{method} {path}: {faults:?}\n{}", answer.text());
    }
}

/// The document's own examples fit their schemas.
#[test]
fn every_example_of_a_schema_fits_it() {
    let document = serde_json::to_value(web::openapi(true)).unwrap();
    let mut seen = 0;
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        for (property, part) in schema["properties"].as_object().into_iter().flatten() {
            let Some(example) = part.get("example") else { continue };
            let alone = json!({"allOf": [part], "components": document["components"]});
            let validator = jsonschema::draft202012::new(&alone).unwrap();
            assert!(validator.is_valid(example), "{name}.{property}: {example}");
            seen += 1;
        }
    }
    assert!(seen > 60, "{seen}");
}
