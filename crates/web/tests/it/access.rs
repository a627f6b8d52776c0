//! Who may do what: by scope, by address, by origin.

use axum::body::Body;
use axum::http::Request;
use service::Scope;

use crate::house::{HOST, House, JSON, MERGE, Switch};

/// Method, address, a body with its type, and the least scope. What is asked for need not be there: whoever may not ask is
/// refused before that is known.
const TABLE: &[(&str, &str, &str, &str)] = &[
    ("GET", "/v1/fixtures", "", "read"),
    ("POST", "/v1/fixtures", "{}", "admin"),
    ("GET", "/v1/fixtures/hall", "", "read"),
    ("PATCH", "/v1/fixtures/hall", "{}", "edit"),
    ("DELETE", "/v1/fixtures/hall", "", "admin"),
    ("GET", "/v1/fixtures/hall/desired", "", "read"),
    ("PUT", "/v1/fixtures/hall/desired", "{}", "edit"),
    ("PATCH", "/v1/fixtures/hall/desired", "{}", "edit"),
    ("GET", "/v1/fixtures/hall/reported", "", "read"),
    ("GET", "/v1/fixtures/hall/delta", "", "read"),
    ("GET", "/v1/fixtures/hall/showing", "", "read"),
    ("GET", "/v1/fixtures/hall/agenda", "", "read"),
    ("GET", "/v1/sun", "", "read"),
    ("PUT", "/v1/fixtures/hall/override", "{}", "edit"),
    ("DELETE", "/v1/fixtures/hall/override", "", "edit"),
    ("GET", "/v1/fixtures/hall/history", "", "read"),
    ("POST", "/v1/fixtures/hall/undo", "{}", "edit"),
    ("POST", "/v1/fixtures/hall/enrol", "{}", "admin"),
    ("GET", "/v1/history", "", "read"),
    ("GET", "/v1/backups", "", "admin"),
    ("POST", "/v1/backups", "{}", "admin"),
    ("GET", "/v1/backups/ghost", "", "admin"),
    ("GET", "/v1/tokens", "", "admin"),
    ("POST", "/v1/tokens", "{}", "admin"),
    ("DELETE", "/v1/tokens/999", "", "admin"),
    ("GET", "/v1/kinds", "", "read"),
    ("GET", "/v1/kinds/strip", "", "read"),
    ("POST", "/v1/demo/power", "{}", "edit"),
    ("GET", "/openapi.json", "", "read"),
    ("GET", "/docs", "", "read"),
    ("GET", "/docs/", "", "read"),
    ("GET", "/v1/no/such/address", "", "read"),
    ("GET", "/healthz", "", "nothing"),
    ("GET", "/readyz", "", "nothing"),
    ("GET", "/", "", "nothing"),
    ("GET", "/problems/stale", "", "nothing"),
    ("GET", "/assets/style.css", "", "nothing"),
];

#[tokio::test]
async fn the_table_of_scopes_covers_every_operation_of_the_openapi_document() {
    let document = serde_json::to_value(web::openapi(true)).unwrap();
    for (path, item) in document["paths"].as_object().unwrap() {
        for method in item.as_object().unwrap().keys() {
            let like = |row: &str| {
                let (row, path): (Vec<&str>, Vec<&str>) = (row.split('/').collect(), path.split('/').collect());
                row.len() == path.len() && row.iter().zip(&path).all(|(a, b)| a == b || b.starts_with('{'))
            };
            assert!(TABLE.iter().any(|(m, row, ..)| m.eq_ignore_ascii_case(method) && like(row)), "{method} {path}");
        }
    }
}

#[tokio::test]
async fn every_operation_asks_for_its_scope() {
    let house = House::with(false, Some(std::sync::Arc::new(Switch::default()))).await;
    let tokens = [
        ("read", house.token("reader", Scope::Read).await),
        ("edit", house.token("editor", Scope::Edit).await),
        ("admin", house.token("keeper", Scope::Admin).await),
    ];
    let rank = |scope: &str| ["nothing", "read", "edit", "admin"].iter().position(|s| *s == scope).unwrap();
    for (method, path, body, least) in TABLE {
        let kind = if *method == "PATCH" { MERGE } else { JSON };
        let send = async |bearer: Option<&str>| {
            let mut request = Request::builder()
                .method(*method)
                .uri(*path)
                .header("host", "lights.example")
                .header("content-type", kind);
            if let Some(token) = bearer {
                request = request.header("authorization", format!("Bearer {token}"));
            }
            house.send_from("192.0.2.7:5", request.body(Body::from(*body)).unwrap()).await
        };
        let nobody = send(None).await;
        if *least == "nothing" {
            assert_ne!(nobody.status, 401, "{method} {path}");
        } else {
            nobody.problem(401, "no-token");
            assert!(nobody.header("www-authenticate").starts_with("Bearer"), "{method} {path}");
        }
        for (scope, token) in &tokens {
            let answer = send(Some(token)).await;
            if rank(scope) < rank(least) {
                answer.problem(403, "scope");
            } else {
                assert!(![401, 403].contains(&answer.status.as_u16()), "{method} {path} as {scope}: {}", answer.status);
            }
        }
    }
}

#[tokio::test]
async fn a_wrong_token_is_refused_even_where_none_is_needed_for_reading() {
    let house = House::with_hall().await;
    for value in ["Bearer wrong", "Bearer ", "Basic YTpi", "Bearer", "wrong"] {
        let answer = house.send("GET", "/v1/fixtures", &[("authorization", value)], Body::empty()).await;
        answer.problem(401, "no-token");
        assert!(answer.header("www-authenticate").contains("invalid_token"));
    }
    // health does not care
    house.send("GET", "/healthz", &[("authorization", "Bearer wrong")], Body::empty()).await.expect(200);
}

/// The pauses of `throttle` (50 ms, doubled each time, 200 ms at most for the machine itself) are a lower bound.
#[tokio::test]
async fn wrong_tokens_are_slowed_also_where_none_is_needed() {
    for (path, status) in [("/v1/fixtures", 401), ("/", 200)] {
        let house = House::with_hall().await;
        let began = std::time::Instant::now();
        for _ in 0..4 {
            let answer = house.send("GET", path, &[("authorization", "Bearer wrong")], Body::empty()).await;
            answer.expect(status);
            assert!(!answer.text().contains("hall"), "{path}");
        }
        assert!(began.elapsed().as_millis() >= 50 + 100 + 200 + 200, "{path}");
    }
}

#[tokio::test]
async fn a_token_decides_even_on_the_machine_itself() {
    let house = House::with_hall().await;
    let reader = format!("bearer {}", house.token("reader", Scope::Read).await);
    let headers = [("authorization", reader.as_str()), ("content-type", MERGE)];
    house.send("PATCH", "/v1/fixtures/hall/desired", &headers, "{}").await.problem(403, "scope");
    house.send("GET", "/v1/fixtures/hall", &headers, Body::empty()).await.expect(200);
}

#[tokio::test]
async fn a_token_that_was_taken_away_opens_nothing() {
    let house = House::with_hall().await;
    let (token, text) = house.service.add_token("guest".into(), Scope::Read).await.unwrap();
    let bearer = format!("Bearer {text}");
    let get = async || house.send("GET", "/v1/fixtures", &[("authorization", bearer.as_str())], Body::empty()).await;
    get().await.expect(200);
    house.delete(&format!("/v1/tokens/{}", token.id)).await.expect(204);
    get().await.problem(401, "no-token");
}

#[tokio::test]
async fn the_machine_itself_is_known_by_address_and_name_alike() {
    let house = House::with_hall().await;
    let ask = async |peer: &str, host: &str, more: &[(&str, &str)]| {
        let mut request = Request::builder().uri("/v1/fixtures").header("host", host);
        for (name, value) in more {
            request = request.header(*name, *value);
        }
        house.send_from(peer, request.body(Body::empty()).unwrap()).await.status.as_u16()
    };
    for host in [HOST, "localhost:8470", "[::1]:8470", "localhost"] {
        assert_eq!(ask("127.0.0.1:5", host, &[]).await, 200, "{host}");
        assert_eq!(ask("[::1]:5", host, &[]).await, 200, "{host}");
        assert_eq!(ask("[::ffff:127.0.0.1]:5", host, &[]).await, 200, "{host}");
        assert_eq!(ask("192.0.2.7:5", host, &[]).await, 401, "{host}");
    }
    // a page whose name was pointed at this machine
    assert_eq!(ask("127.0.0.1:5", "rebound.example:8470", &[]).await, 401);
    // something handed on by a proxy on this machine
    assert_eq!(ask("127.0.0.1:5", HOST, &[("x-forwarded-for", "192.0.2.7")]).await, 401);
    let closed = House::with(false, None).await;
    closed.get("/v1/fixtures").await.problem(401, "no-token");
}

#[tokio::test]
async fn another_sites_page_cannot_change_anything() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    for (name, value) in [
        ("origin", "http://evil.example"),
        ("origin", "null"),
        ("origin", "http://127.0.0.1:9"),
        ("sec-fetch-site", "cross-site"),
    ] {
        let headers = [("content-type", MERGE), (name, value)];
        house.send("PATCH", "/v1/fixtures/hall/desired", &headers, r#"{"fade":9}"#).await.problem(403, "foreign-page");
        house
            .send("POST", "/v1/tokens", &[("content-type", JSON), (name, value)], "{}")
            .await
            .problem(403, "foreign-page");
        house.send("DELETE", "/v1/fixtures/hall", &[(name, value)], Body::empty()).await.problem(403, "foreign-page");
        house.send("GET", "/v1/fixtures", &[(name, value)], Body::empty()).await.expect(200);
    }
    assert_eq!(house.history_rows().await, rows);
    let own = [("content-type", MERGE), ("origin", "http://127.0.0.1:8470"), ("sec-fetch-site", "same-origin")];
    house.send("PATCH", "/v1/fixtures/hall/desired", &own, r#"{"fade":9}"#).await.expect(200);
}

#[tokio::test]
async fn what_comes_through_a_proxy_is_not_the_machine_itself() {
    let house = House::open().await;
    house.get("/v1/fixtures").await.expect(200);
    for name in ["forwarded", "via", "x-real-ip", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"] {
        house.send("GET", "/v1/fixtures", &[(name, "127.0.0.1")], "").await.problem(401, "no-token");
    }
}
