//! What every answer has: safe headers, HEAD, health, the OpenAPI document and its reader, the demo's switch.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use axum::body::Body;
use serde_json::json;
use service::LinkState;

use crate::house::{House, JSON, Switch};

#[tokio::test]
async fn every_answer_has_the_headers_that_keep_browsers_safe() {
    let house = House::with_hall().await;
    for (path, cache) in [
        ("/v1/fixtures", "no-store"),
        ("/v1/fixtures/hall", "no-cache"),
        ("/v1/fixtures/hall/desired", "no-cache"),
        ("/v1/fixtures/ghost", "no-store"),
        ("/v1/nowhere", "no-store"),
        ("/", "no-store"),
        ("/problems/stale", "no-store"),
        ("/assets/style.css", "no-cache"),
        ("/healthz", "no-store"),
        ("/docs/", "no-store"),
    ] {
        let answer = house.get(path).await;
        assert_eq!(answer.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(answer.header("cache-control"), cache, "{path}");
        let policy = answer.header("content-security-policy");
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{path}");
        assert_eq!(policy.contains("unsafe-inline"), path.starts_with("/docs"), "{path}");
        // browsers name the origin of a form only under a policy that lets them, and log-in asks for it
        let page = answer.header("content-type").starts_with("text/html") && !path.starts_with("/docs");
        let referrer = if page { "same-origin" } else { "no-referrer" };
        assert_eq!(answer.header("referrer-policy"), referrer, "{path}");
    }
}

#[tokio::test]
async fn head_answers_as_get_without_a_body() {
    let house = House::with_hall().await;
    for path in [
        "/v1/fixtures",
        "/v1/fixtures/hall",
        "/v1/fixtures/hall/desired",
        "/v1/fixtures/hall/history",
        "/v1/kinds",
        "/healthz",
        "/openapi.json",
        "/",
    ] {
        let (head, get) = (house.send("HEAD", path, &[], Body::empty()).await, house.get(path).await);
        assert_eq!((head.status, head.bytes.len()), (get.status, 0), "{path}");
        assert_eq!(
            (head.header("etag"), head.header("content-type")),
            (get.header("etag"), get.header("content-type")),
            "{path}"
        );
    }
}

#[tokio::test]
async fn health_is_always_answered_and_readiness_names_what_is_missing() {
    let house = House::with(false, None).await;
    assert_eq!(house.get("/healthz").await.expect(200).json(), json!({"serving":true}));
    let waiting = house.get("/readyz").await;
    assert!(waiting.problem(503, "not-ready")["detail"].as_str().unwrap().contains("broker"));
    assert!(!waiting.header("retry-after").is_empty());
    house.service.set_link(LinkState::Up);
    assert_eq!(house.get("/readyz").await.expect(200).json(), json!({"database":true,"broker":true}));
    house.service.stop().await;
    assert!(house.get("/readyz").await.problem(503, "not-ready")["detail"].as_str().unwrap().contains("database"));
    house.get("/healthz").await.expect(200);
}

#[tokio::test]
async fn a_daemon_that_is_stopping_asks_to_try_again() {
    let house = House::with_hall().await;
    house.service.stop().await;
    let answer = house.patch("/v1/fixtures/hall/desired", r#"{"fade":9}"#).await;
    answer.problem(503, "stopping");
    assert!(!answer.header("retry-after").is_empty());
}

#[tokio::test]
async fn the_openapi_document_is_served_with_the_version_of_the_daemon() {
    let house = House::open().await;
    let answer = house.get("/openapi.json").await;
    let document = answer.expect(200).json();
    assert_eq!(document["info"]["version"], "9.8.7");
    assert_eq!(document["paths"], serde_json::to_value(web::openapi(false)).unwrap()["paths"]);
    let tag = answer.header("etag").to_owned();
    house.send("GET", "/openapi.json", &[("if-none-match", &tag)], Body::empty()).await.expect(304);
}

#[tokio::test]
async fn the_reader_of_the_openapi_document_comes_from_the_daemon_alone() {
    let house = House::open().await;
    assert_eq!(house.get("/docs").await.expect(303).header("location"), "/docs/");
    let page = house.get("/docs/").await.expect(200).text();
    assert!(!page.contains("https://") && !page.contains("//cdn"), "nothing is fetched from elsewhere");
    for part in ["swagger-ui.css", "swagger-ui-bundle.js", "swagger-initializer.js"] {
        assert!(page.contains(part));
        house.get(&format!("/docs/{part}")).await.expect(200);
    }
    assert!(house.get("/docs/swagger-initializer.js").await.text().contains("/openapi.json"));
    house.get("/docs/ghost.js").await.problem(404, "no-such-address");
}

#[tokio::test]
async fn the_power_switch_is_the_demos_alone() {
    let switch = Arc::new(Switch::default());
    let demo = House::with(true, Some(Arc::clone(&switch) as _)).await;
    let cut = demo.post("/v1/demo/power", r#"{"cut_seconds":5}"#).await;
    assert_eq!(cut.expect(200).json(), json!({"cut":5,"cut_seconds":5.0}));
    assert_eq!(switch.0.load(Ordering::SeqCst), 1);
    for body in [
        "{}",
        r#"{"cut_seconds":0}"#,
        r#"{"cut_seconds":-1}"#,
        r#"{"cut_seconds":301}"#,
        r#"{"cut_seconds":"5"}"#,
        r#"{"cut_seconds":1e999}"#,
    ] {
        assert_eq!(
            demo.post("/v1/demo/power", body).await.problem(422, "invalid")["pointer"],
            "/cut_seconds",
            "{body}"
        );
    }
    assert_eq!(switch.0.load(Ordering::SeqCst), 1);
    assert!(demo.get("/openapi.json").await.json()["paths"].get("/v1/demo/power").is_some());
    let house = House::open().await;
    house.send("POST", "/v1/demo/power", &[("content-type", JSON)], "{}").await.problem(404, "no-such-address");
}
