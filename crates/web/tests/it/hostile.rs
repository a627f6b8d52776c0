//! What nobody should send: bounds, syntax, sizes, ids. Nothing of it may change anything, and nothing of it may be
//! answered as the daemon's own fault (the harness fails on any 500).

use axum::body::{Body, Bytes};
use serde_json::{Value, json};

use crate::house::{House, JSON, MERGE};

const DESIRED: &str = "/v1/fixtures/hall/desired";

/// Every bound of a document and of a strip, over HTTP, with the place of the fault.
#[tokio::test]
async fn what_breaks_a_bound_is_refused_whole_with_its_place() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    let before = house.get(DESIRED).await.text();
    let deep = |levels: usize| format!("{{\"x\":{}1{}}}", "[".repeat(levels), "]".repeat(levels));
    let many: String = (0..513).map(|n| format!("\"m{n}\":1")).collect::<Vec<_>>().join(",");
    let long_name = "n".repeat(65);
    let big = "b".repeat(8200);
    for (patch, status, slug, pointer) in [
        // the text itself
        ("", 400, "malformed", ""),
        ("{", 400, "malformed", ""),
        ("{\"lit\":truf}", 400, "malformed", "/lit"),
        ("{\"lit\":NaN}", 400, "malformed", "/lit"),
        ("{\"lit\":Infinity}", 400, "malformed", "/lit"),
        ("{\"lit\":true,\"lit\":false}", 400, "malformed", "/lit"),
        ("{\"looks\":{\"late\":{\"kelvin\":2000,\"kelvin\":3000}}}", 400, "malformed", "/looks/late/kelvin"),
        ("\u{feff}{}", 400, "malformed", ""),
        ("{}{}", 400, "malformed", ""),
        // the bounds of a document
        ("{\"fade\":1e999}", 422, "invalid", "/fade"),
        (&deep(16), 422, "invalid", ""),
        (&deep(1000), 422, "invalid", ""),
        (&format!("{{{many}}}"), 422, "invalid", ""),
        (&format!("{{\"{long_name}\":1}}"), 422, "invalid", &format!("/{long_name}")),
        ("{\"a\\u0000b\":1}", 422, "invalid", "/a\0b"),
        ("{\"\":1}", 422, "invalid", "/"),
        (&format!("{{\"notes\":\"{big}\"}}"), 422, "invalid", ""),
        ("[]", 422, "invalid", ""),
        ("7", 422, "invalid", ""),
        ("null", 422, "invalid", ""),
        // the rules of a strip
        ("{\"lit\":1}", 422, "invalid", "/lit"),
        ("{\"default\":\"ghost\"}", 422, "invalid", "/default"),
        ("{\"fade\":-1}", 422, "invalid", "/fade"),
        ("{\"fade\":3601}", 422, "invalid", "/fade"),
        ("{\"floor\":101}", 422, "invalid", "/floor"),
        ("{\"floor\":\"8\"}", 422, "invalid", "/floor"),
        ("{\"looks\":{\"late\":{\"intensity\":120}}}", 422, "invalid", "/looks/late/intensity"),
        ("{\"looks\":{\"late\":{\"colours\":[]}}}", 422, "invalid", "/looks/late/colours"),
        ("{\"looks\":{\"late\":{\"colours\":[\"gold\",\"puce-ish\"]}}}", 422, "invalid", "/looks/late/colours/1"),
        ("{\"looks\":{\"evening\":{\"kelvin\":999}}}", 422, "invalid", "/looks/evening"),
        ("{\"looks\":{\"evening\":{\"kelvin\":12001}}}", 422, "invalid", "/looks/evening"),
        ("{\"looks\":{\"evening\":{\"colours\":[\"gold\"]}}}", 422, "invalid", "/looks/evening"),
        ("{\"looks\":{\"late\":{\"span\":[0.5,0.2]}}}", 422, "invalid", "/looks/late/span"),
        ("{\"looks\":{\"late\":{\"span\":[0,2]}}}", 422, "invalid", "/looks/late/span"),
        ("{\"looks\":{\"late\":{\"motif\":{\"name\":\"strobe\"}}}}", 422, "invalid", "/looks/late/motif/name"),
        (
            "{\"looks\":{\"late\":{\"motif\":{\"name\":\"swell\",\"seconds\":0.1}}}}",
            422,
            "invalid",
            "/looks/late/motif/seconds",
        ),
        ("{\"looks\":{\"late\":{\"motif\":{\"seconds\":2}}}}", 422, "invalid", "/looks/late/motif/name"),
        ("{\"looks\":{\"dark\":{\"kelvin\":2000}}}", 422, "invalid", "/looks/dark"),
        ("{\"looks\":7}", 422, "invalid", "/looks"),
        ("{\"timetable\":[{\"start\":\"25:00\",\"look\":\"late\"}]}", 422, "invalid", "/timetable/0/start"),
        (
            "{\"timetable\":[{\"start\":\"sunset\",\"shift\":\"PT13H\",\"look\":\"late\"}]}",
            422,
            "invalid",
            "/timetable/0/shift",
        ),
        ("{\"timetable\":[{\"start\":\"sunset\",\"look\":\"ghost\"}]}", 422, "invalid", "/timetable/0/look"),
        (
            "{\"timetable\":[{\"start\":\"06:00\",\"look\":\"late\",\"days\":[\"someday\"]}]}",
            422,
            "invalid",
            "/timetable/0/days",
        ),
        (
            "{\"timetable\":[{\"start\":\"06:00\",\"look\":\"late\",\"dates\":[\"13-01\",\"01-06\"]}]}",
            422,
            "invalid",
            "/timetable/0/dates",
        ),
        ("{\"override\":{\"look\":\"ghost\"}}", 422, "invalid", "/override/look"),
        ("{\"override\":{\"look\":\"late\",\"until\":\"2020-01-01T00:00:00Z\"}}", 422, "invalid", "/override/until"),
    ] {
        let answer = house.patch(DESIRED, patch).await;
        let shown: String = patch.chars().take(80).collect();
        let problem = answer.problem(status, slug);
        let found = problem["pointer"].as_str().unwrap_or_else(|| panic!("{shown}: {problem}"));
        let under = pointer.is_empty() || found == pointer || found.starts_with(&format!("{pointer}/"));
        assert!(under, "{shown}: the fault is at {found:?}, expected {pointer:?}");
        for word in ["text", "advice"] {
            assert!(problem["errors"][0][word].as_str().is_some_and(|text| !text.is_empty()), "{shown}: {problem}");
        }
    }
    assert_eq!(house.get(DESIRED).await.text(), before);
    assert_eq!(house.history_rows().await, rows);
}

#[tokio::test]
async fn every_fault_of_a_document_is_listed() {
    let house = House::with_hall().await;
    let problem = house.patch(DESIRED, r#"{"fade":-1,"floor":101,"lit":7}"#).await.problem(422, "invalid");
    let pointers: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().filter_map(|e| e["pointer"].as_str()).collect();
    assert_eq!(pointers.len(), 3);
    for pointer in ["/fade", "/floor", "/lit"] {
        assert!(pointers.contains(&pointer), "{pointers:?}");
    }
}

#[tokio::test]
async fn bytes_that_are_not_utf8_are_malformed() {
    let house = House::with_hall().await;
    for bytes in [&b"{\"a\":\"\xff\"}"[..], b"\xff\xfe{\0}\0", b"\xed\xa0\x80", b"\x80"] {
        let answer = house.send("PATCH", DESIRED, &[("content-type", MERGE)], Bytes::copy_from_slice(bytes)).await;
        answer.problem(400, "malformed");
    }
}

/// The longest body is 65,536 bytes, whatever Content-Length says and however it is sent.
#[tokio::test]
async fn large_bodies_are_refused_however_they_come() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    let body = |bytes: usize| format!("{{\"a\":\"{}\"}}", "x".repeat(bytes - 8));
    let send = async |headers: &[(&str, &str)], body: Body| {
        let mut all = vec![("content-type", MERGE)];
        all.extend(headers);
        house.send("PATCH", DESIRED, &all, body).await
    };
    // within the bounds of a body, beyond those of a document
    send(&[], body(65_536).into()).await.problem(422, "invalid");
    send(&[], body(65_537).into()).await.problem(413, "too-large");
    send(&[], body(1 << 20).into()).await.problem(413, "too-large");
    // chunked: no length is said at all
    let portions = std::iter::repeat_with(|| Ok::<_, std::io::Error>(Bytes::from(vec![b' '; 4096]))).take(64);
    send(&[], Body::from_stream(futures_util::stream::iter(portions))).await.problem(413, "too-large");
    // a length that is not true
    send(&[("content-length", "2")], body(70_000).into()).await.problem(413, "too-large");
    send(&[("content-length", "99999999999")], "{}".into()).await.problem(413, "too-large");
    // a body that breaks off
    let broken: Vec<Result<Bytes, std::io::Error>> = vec![Ok("{\"a\":".into()), Err(std::io::Error::other("gone"))];
    send(&[], Body::from_stream(futures_util::stream::iter(broken))).await.problem(400, "malformed");
    assert_eq!(house.history_rows().await, rows);
    for (method, path) in [
        ("POST", "/v1/fixtures"),
        ("PUT", DESIRED),
        ("POST", "/v1/tokens"),
        ("POST", "/v1/fixtures/hall/undo"),
        ("POST", "/v1/backups"),
        ("PUT", "/v1/fixtures/hall/override"),
    ] {
        house.send(method, path, &[("content-type", JSON)], body(1 << 20)).await.problem(413, "too-large");
    }
}

#[tokio::test]
async fn ids_that_cannot_be_ids_are_refused_with_their_form() {
    let house = House::with_hall().await;
    for id in [
        "..",
        "%2e%2e",
        "+",
        "%23",
        "%00",
        "%ff",
        "%2f",
        "a%2fb",
        "%2e%2e%2fhall",
        "Hall",
        "-a",
        "a-",
        "a_b",
        "h%c3%a4ll",
        "%24SYS",
        "a%20b",
        &"x".repeat(65),
        "%F0%9F%92%A1",
        "hall%0d%0ax",
    ] {
        for (method, rest) in [
            ("GET", ""),
            ("GET", "/desired"),
            ("GET", "/showing"),
            ("GET", "/history"),
            ("DELETE", ""),
            ("POST", "/undo"),
            ("POST", "/enrol"),
            ("DELETE", "/override"),
        ] {
            let problem =
                house.send(method, &format!("/v1/fixtures/{id}{rest}"), &[], Body::empty()).await.problem(400, "path");
            assert!(problem["advice"].is_string(), "{problem}");
        }
    }
    // not an id at all: an address that is not there
    house.get("/v1/fixtures//desired").await.problem(400, "path");
    for path in
        ["/v1/fixtures/", "/v1/fixtures/a/b/c", "/v1/fixtures/hall/", "/v1/../etc/passwd", "/v1", "/v2/fixtures", "//"]
    {
        house.get(path).await.problem(404, "no-such-address");
    }
    house.get("/v1/fixtures/ghost").await.problem(404, "unknown-fixture");
}

#[tokio::test]
async fn methods_that_an_address_does_not_have_are_refused_with_those_it_has() {
    let house = House::with_hall().await;
    for (path, methods) in [
        ("/v1/fixtures", vec!["GET", "HEAD", "POST"]),
        ("/v1/fixtures/hall", vec!["GET", "HEAD", "PATCH", "DELETE"]),
        ("/v1/fixtures/hall/desired", vec!["GET", "HEAD", "PUT", "PATCH"]),
        ("/v1/fixtures/hall/undo", vec!["POST"]),
        ("/healthz", vec!["GET", "HEAD"]),
    ] {
        for method in ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "TRACE", "PROPFIND", "BREW"] {
            if methods.contains(&method) {
                continue;
            }
            let answer = house.send(method, path, &[], Body::empty()).await;
            if method == "HEAD" {
                assert_eq!(answer.status, 405);
            } else {
                answer.problem(405, "method");
            }
            let mut allow: Vec<&str> = answer.header("allow").split(',').map(str::trim).collect();
            allow.sort_unstable();
            let mut wanted = methods.clone();
            wanted.sort_unstable();
            assert_eq!(allow, wanted, "{method} {path}");
        }
        let options = house.send("OPTIONS", path, &[], Body::empty()).await;
        assert_eq!(options.expect(204).bytes.len(), 0);
        assert!(options.header("allow").contains("OPTIONS"));
        assert_eq!(options.header("accept-patch").is_empty(), !methods.contains(&"PATCH"), "{path}");
    }
    house.send("OPTIONS", "/v1/nowhere", &[], Body::empty()).await.problem(404, "no-such-address");
}

#[tokio::test]
async fn long_addresses_and_strange_queries_are_refused() {
    let house = House::with_hall().await;
    house.get(&format!("/v1/history?by={}", "x".repeat(9000))).await.problem(414, "long-address");
    house.get(&format!("/v1/fixtures/{}", "x".repeat(9000))).await.problem(414, "long-address");
    for path in [
        "/v1/fixtures/hall?x",
        "/v1/fixtures/hall/delta?at=1",
        "/v1/kinds?a=b",
        "/v1/tokens?limit=1",
        "/v1/backups?x=%00",
    ] {
        house.get(path).await.problem(400, "query");
    }
    house
        .send("PATCH", "/v1/fixtures/hall/desired?rev=1", &[("content-type", MERGE)], "{}")
        .await
        .problem(400, "query");
    house.get("/v1/fixtures/hall?").await.expect(200);
}

/// Texts that once meant something to somebody: they are kept as they are, or refused, and never looked into.
#[tokio::test]
async fn strange_texts_are_data() {
    let house = House::with_hall().await;
    for text in [
        "'; DROP TABLE history; --",
        "<script>alert(1)</script>",
        "${jndi:ldap://127.0.0.1}",
        "\u{202e}x",
        "=1+1",
        "%s%n",
        "../../etc/passwd",
    ] {
        let body = json!({"notes": text, "title": text});
        house.patch("/v1/fixtures/hall", &body.to_string()).await.expect(200);
        assert_eq!(house.get("/v1/fixtures/hall").await.json()["notes"], text);
        house.patch(DESIRED, &json!({"firmware": {"text": text}}).to_string()).await.expect(200);
        let page = house.get("/").await.text();
        assert!(!page.contains("<script>alert"), "the page writes texts as texts");
        let by = percent_encoding::utf8_percent_encode(text, percent_encoding::NON_ALPHANUMERIC);
        assert_eq!(house.get(&format!("/v1/history?by={by}")).await.json()["changes"], Value::Array(vec![]));
    }
}

mod properties {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

        /// Any bytes as a body, any text as a query, any header: answered, and never with a 500 (the harness fails then).
        #[test]
        fn nothing_that_is_sent_is_the_daemons_fault(
            body in proptest::collection::vec(any::<u8>(), 0..300),
            json in "[\\[\\]{}\":,0-9a-z.eE+\\- ]{0,60}",
            query in "[!-~&&[^#]]{0,60}",
            tag in "[ -~]{0,30}",
            kind in prop::sample::select(vec![MERGE, JSON, crate::house::OPERATIONS]),
        ) {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let house = House::with_hall().await;
                for body in [Bytes::from(body.clone()), Bytes::from(json.clone())] {
                    for (method, path) in [("PATCH", DESIRED), ("PUT", DESIRED), ("PATCH", "/v1/fixtures/hall"), ("POST", "/v1/fixtures"), ("PUT", "/v1/fixtures/hall/override"), ("POST", "/v1/fixtures/hall/undo"), ("POST", "/v1/tokens")] {
                        house.send(method, path, &[("content-type", kind), ("if-match", &tag), ("idempotency-key", &tag)], body.clone()).await;
                        house.send(method, path, &[("content-type", kind)], body.clone()).await;
                    }
                }
                for path in [DESIRED, "/v1/history", "/v1/fixtures", "/v1/fixtures/hall/agenda", "/v1/fixtures/hall/showing", "/v1/fixtures/hall/history"] {
                    if let Ok(uri) = format!("{path}?{query}").parse::<axum::http::Uri>() {
                        house.send("GET", &uri.to_string(), &[("if-none-match", &tag), ("accept", &tag)], Body::empty()).await;
                    }
                }
            });
        }
    }
}
