//! Bad input over HTTP: the fitting 4xx with a pointer, nothing changed, never a 5xx.

use serde_json::{Value, json};
use testkit::{Answer, Http};

use crate::daemon;

const MERGE: (&str, &str) = ("content-type", "application/merge-patch+json");
const PATCH: (&str, &str) = ("content-type", "application/json-patch+json");
const JSON: (&str, &str) = ("content-type", "application/json");

/// One bad request, the status it deserves and where its fault lies.
struct Bad {
    method: &'static str,
    path: String,
    headers: Vec<(&'static str, String)>,
    body: Vec<u8>,
    status: u16,
    pointer: Option<&'static str>,
}

fn bad(method: &'static str, path: &str, header: (&'static str, &str), body: impl Into<Vec<u8>>, status: u16) -> Bad {
    Bad {
        method,
        path: path.into(),
        headers: vec![(header.0, header.1.into())],
        body: body.into(),
        status,
        pointer: None,
    }
}

impl Bad {
    fn at(mut self, pointer: &'static str) -> Self {
        self.pointer = Some(pointer);
        self
    }

    fn with(mut self, name: &'static str, value: &str) -> Self {
        self.headers.push((name, value.into()));
        self
    }

    fn send(&self, http: &Http) -> Answer {
        let headers: Vec<_> = self.headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
        http.send(self.method, &self.path, &headers, &self.body)
    }
}

fn nested(depth: usize) -> String {
    format!("{}1{}", "{\"a\":".repeat(depth), "}".repeat(depth))
}

fn members(count: usize) -> String {
    let members: Vec<_> = (0..count).map(|n| format!("\"m{n}\":0")).collect();
    format!("{{{}}}", members.join(","))
}

/// Each bound of a document, one over.
fn bounds(path: &str) -> Vec<Bad> {
    let free = |body: String, pointer| bad("PATCH", path, MERGE, body, 422).at(pointer);
    vec![
        free(format!("{{\"text\":\"{}\"}}", "x".repeat(8200)), ""),
        bad("PATCH", path, MERGE, nested(17), 422),
        bad("PATCH", path, MERGE, members(513), 422),
        bad("PATCH", path, MERGE, format!("{{\"{}\":1}}", "n".repeat(65)), 422),
        bad("PATCH", path, MERGE, "{\"a\\u0000b\":1}", 422),
        bad("PATCH", path, MERGE, "{\"\":1}", 422),
        free("{\"n\":1e999}".into(), "/n"),
        bad("PUT", path, JSON, "{\"n\":null}", 422).at("/n"),
        bad("PUT", path, JSON, "[]", 422).at(""),
        bad("PATCH", path, MERGE, "[]", 422).at(""),
        bad("PATCH", path, MERGE, "3", 422).at(""),
    ]
}

/// What is no JSON, or JSON that means two things.
fn malformed(path: &str) -> Vec<Bad> {
    let mut list: Vec<_> = [
        "",
        "{",
        "{\"n\":NaN}",
        "{\"n\":Infinity}",
        "{'n':1}",
        "{\"n\":1,}",
        "{\"n\":01}",
        "{\"n\":1} x",
        "nul",
        "\u{feff}{}",
        "{\"s\":\"\\ud800\"}",
    ]
    .into_iter()
    .map(|body| bad("PATCH", path, MERGE, body, 400))
    .collect();
    list.push(bad("PATCH", path, MERGE, "{\"a\":{\"b\":1,\"b\":2}}", 400).at("/a/b"));
    list.push(bad("PATCH", path, MERGE, b"{\"s\":\"\xff\"}".to_vec(), 400));
    list.push(bad("PATCH", path, PATCH, "{}", 400));
    list.push(bad("PATCH", path, PATCH, "[{\"op\":\"spin\",\"path\":\"/a\"}]", 400));
    list.push(bad("PATCH", path, PATCH, "[{\"op\":\"remove\",\"path\":\"/nowhere\"}]", 422));
    list.push(bad("PATCH", path, PATCH, "[{\"op\":\"test\",\"path\":\"/kept\",\"value\":0}]", 409));
    list
}

/// Media types, conditions, sizes, methods.
fn protocol(path: &str) -> Vec<Bad> {
    vec![
        bad("PATCH", path, JSON, "{}", 415),
        bad("PATCH", path, ("content-type", "text/plain"), "{}", 415),
        bad("PUT", path, MERGE, "{}", 415),
        bad("POST", "/v1/fixtures", ("content-type", "text/html"), "{}", 415),
        bad("PATCH", path, MERGE, "{\"x\":1}", 412).with("if-match", "\"99\""),
        bad("PATCH", path, MERGE, "{\"x\":1}", 412).with("if-match", "W/\"1\""),
        bad("PUT", path, JSON, "{\"x\":1}", 412).with("if-none-match", "*"),
        bad("PATCH", path, MERGE, format!("{{\"t\":\"{}\"}}", "x".repeat(1 << 20)), 413),
        bad("POST", path, JSON, "{}", 405),
        bad("TRACE", path, JSON, "{}", 405),
        bad("GET", "/v1/nowhere", ("accept", "*/*"), "", 404),
        bad("GET", "/v1/history", ("accept", "image/png"), "", 406),
    ]
}

/// Ids and queries.
fn names() -> Vec<Bad> {
    let mut list = Vec::new();
    for id in
        ["a%2Fb", "%2e%2e", "a+b", "a%2Bb", "a%23b", "a%00b", "%ff", "A", "-a", "a%20b", "%E2%82%AC", &"x".repeat(65)]
    {
        list.push(bad("GET", &format!("/v1/fixtures/{id}/desired"), ("accept", "*/*"), "", 400));
        list.push(bad("PATCH", &format!("/v1/fixtures/{id}/desired"), MERGE, "{\"a\":1}", 400));
    }
    for id in ["a/b", "..", "+", "#", "a\\u0000b", "A", ""] {
        let body = format!("{{\"id\":\"{id}\"}}");
        list.push(bad("POST", "/v1/fixtures", JSON, body, 422).at("/id"));
    }
    list.push(bad("POST", "/v1/fixtures", JSON, "{}", 422).at("/id"));
    list.push(bad("POST", "/v1/fixtures", JSON, "{\"id\":\"open\"}", 409));
    list.push(bad("POST", "/v1/fixtures", JSON, "{\"id\":\"x\",\"kind\":\"nowhere\"}", 422).at("/kind"));
    list.push(bad("POST", "/v1/fixtures", JSON, "{\"id\":\"x\",\"groups\":[\"a b\"]}", 422).at("/groups/0"));
    list.push(bad("POST", "/v1/fixtures", JSON, "{\"id\":\"x\",\"colour\":\"red\"}", 422).at("/colour"));
    list.push(bad("PATCH", "/v1/fixtures/nobody/desired", MERGE, "{}", 404));
    list.push(bad("GET", "/v1/fixtures/nobody", ("accept", "*/*"), "", 404));
    for query in [
        "/v1/history?limit=0",
        "/v1/history?limit=99999",
        "/v1/history?limit=x",
        "/v1/history?since=yesterday",
        "/v1/history?since=2026-11-25",
        "/v1/history?path=looks",
        "/v1/history?order=sideways",
        "/v1/history?cursor=made-up",
        "/v1/history?via=pigeon",
        "/v1/history?colour=red",
        "/v1/fixtures?standing=asleep",
        "/v1/fixtures/open/desired?rev=minus",
        "/v1/fixtures/open/desired?at=noon",
        "/v1/fixtures/open/showing?at=24:00",
    ] {
        list.push(bad("GET", query, ("accept", "*/*"), "", 400));
    }
    list
}

/// The strip's own rules, over HTTP.
fn strip() -> Vec<Bad> {
    let rules: [(Value, &'static str); 10] = [
        (json!({"lit": "yes"}), "/lit"),
        (json!({"default": "nowhere"}), "/default"),
        (json!({"looks": {"a": {"colours": ["nocolour"]}}}), "/looks/a/colours/0"),
        (json!({"looks": {"a": {"kelvin": 999}}}), "/looks/a"),
        (json!({"looks": {"a": {"colours": ["red"], "intensity": 101}}}), "/looks/a/intensity"),
        (json!({"timetable": [{"start": "24:00", "look": "dark"}]}), "/timetable/0/start"),
        (json!({"timetable": [{"start": "12:00", "look": "dark", "shift": "PT13H"}]}), "/timetable/0/shift"),
        (
            json!({"timetable": [{"start": "12:00", "look": "dark", "dates": ["13-01", "01-06"]}]}),
            "/timetable/0/dates/0",
        ),
        (json!({"override": {"look": "nowhere"}}), "/override/look"),
        (json!({"override": {"look": "dark", "until": "2001-01-01T00:00:00Z"}}), "/override/until"),
    ];
    let mut list: Vec<_> = rules
        .into_iter()
        .map(|(patch, pointer)| bad("PATCH", "/v1/fixtures/tube/desired", MERGE, patch.to_string(), 422).at(pointer))
        .collect();
    list.push(bad("PUT", "/v1/fixtures/tube/override", JSON, "{\"look\":\"nowhere\"}", 422));
    list.push(bad("PUT", "/v1/fixtures/open/override", JSON, "{\"look\":\"dark\"}", 409));
    list
}

#[test]
fn every_bad_request_gets_its_4xx_and_changes_nothing() {
    let daemon = daemon();
    let http = daemon.http();
    assert_eq!(http.post("/v1/fixtures", &json!({"id": "open", "kind": "free"})).status, 201);
    daemon.add("tube");
    assert_eq!(http.patch("/v1/fixtures/open/desired", &json!({"kept": 1})).status, 200);
    daemon.wait_until_settled();
    let before = daemon.sql("SELECT count(*), (SELECT group_concat(body) FROM document) FROM history");
    let path = "/v1/fixtures/open/desired";
    let lists = [bounds(path), malformed(path), protocol(path), names(), strip()];
    for request in lists.iter().flatten() {
        let answer = request.send(&http);
        let shown: String = String::from_utf8_lossy(&request.body).chars().take(80).collect();
        let what = format!("{} {} {shown}: {} {}", request.method, request.path, answer.status, answer.json);
        assert_eq!(answer.status, request.status, "{what}");
        assert_eq!(
            answer.header("content-type").map(|t| t.split(';').next().unwrap()),
            Some("application/problem+json"),
            "{what}"
        );
        assert_eq!(answer.json["status"], json!(request.status), "{what}");
        assert!(answer.json["title"].is_string() && answer.json["detail"].is_string(), "{what}");
        if let Some(pointer) = request.pointer {
            assert_eq!(answer.json["pointer"], json!(pointer), "{what}");
        }
    }
    daemon.wait_until_settled();
    let after = daemon.sql("SELECT count(*), (SELECT group_concat(body) FROM document) FROM history");
    assert_eq!(before, after);
    assert_eq!(http.get("/v1/fixtures/open/desired").json, json!({"kept": 1}));
}

#[test]
fn what_is_within_every_bound_is_accepted() {
    let daemon = daemon();
    let http = daemon.http();
    assert_eq!(http.post("/v1/fixtures", &json!({"id": "open", "kind": "free"})).status, 201);
    let path = "/v1/fixtures/open/desired";
    for body in [
        nested(16),
        members(512),
        format!("{{\"{}\":1}}", "n".repeat(64)),
        format!("{{\"t\":\"{}\"}}", "x".repeat(8184)),
    ] {
        let answer = http.send("PUT", path, &[JSON], body.as_bytes());
        assert_eq!(answer.status, 200, "{} {}", &body[..40.min(body.len())], answer.json);
        assert_eq!(http.get(path).json, serde_json::from_str::<Value>(&body).unwrap());
    }
}

#[test]
fn without_a_token_nothing_but_health_is_answered() {
    let daemon = testkit::Daemon::start(crate::SCONCED, testkit::DaemonOptions { closed: true, ..Default::default() });
    let http = daemon.http();
    assert_eq!(http.get("/healthz").status, 200);
    for path in ["/v1/fixtures", "/v1/history", "/v1/tokens", "/v1/backups"] {
        let answer = http.get(path);
        assert_eq!(answer.status, 401, "{path}");
        assert!(answer.header("www-authenticate").is_some_and(|value| value.starts_with("Bearer")));
    }
    let log = daemon.log();
    let token = log
        .split_whitespace()
        .find(|word| word.len() == 43 && word.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_'))
        .unwrap_or_else(|| panic!("no admin token was shown: {log}"));
    let owner = Http::new(&daemon.url, Some(token));
    assert_eq!(owner.get("/v1/fixtures").status, 200);
    let reader = owner.post("/v1/tokens", &json!({"name": "kitchen tablet", "scope": "read"}));
    assert_eq!(reader.status, 201, "{reader:?}");
    let reader = Http::new(&daemon.url, reader.json["token"].as_str());
    assert_eq!(reader.get("/v1/fixtures").status, 200);
    assert_eq!(reader.post("/v1/fixtures", &json!({"id": "hall"})).status, 403);
    assert_eq!(Http::new(&daemon.url, Some("wrong")).get("/v1/fixtures").status, 401);
}
