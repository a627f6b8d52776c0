//! Looking back: filters, pages, forms.

use axum::body::Body;
use serde_json::{Value, json};
use service::Scope;

use crate::house::{House, JSON, MERGE};

/// A hall with ten edits of `fade`, an hour apart, after the two of its making.
async fn lived_in() -> House {
    let house = House::with_hall().await;
    for hour in 1..=10 {
        house.service.clock().set(format!("2026-11-26T{hour:02}:00:00Z").parse().unwrap());
        house.patch("/v1/fixtures/hall/desired", &format!("{{\"fade\":{}}}", hour + 10)).await.expect(200);
    }
    house
}

async fn changes(house: &House, path: &str) -> Vec<Value> {
    house.get(path).await.expect(200).json()["changes"].as_array().unwrap().clone()
}

#[tokio::test]
async fn a_change_says_what_when_who_and_how_back() {
    let house = lived_in().await;
    let newest = &changes(&house, "/v1/fixtures/hall/history?limit=1").await[0];
    for (member, value) in [
        ("fixture", json!("hall")),
        ("document", json!("desired")),
        ("rev", json!(11)),
        ("at", json!("2026-11-26T10:00:00Z")),
        ("by", json!("loopback")),
        ("via", json!("http")),
        ("cause", Value::Null),
        ("patch", json!({"fade":20})),
        ("inverse", json!({"fade":19})),
    ] {
        assert_eq!(newest[member], value, "{member}");
    }
    assert!(newest["id"].is_i64());
}

#[tokio::test]
async fn history_is_filtered() {
    let house = lived_in().await;
    house.patch("/v1/fixtures/hall", r#"{"notes":"x"}"#).await.expect(200);
    for (query, count) in [
        ("", 13),
        ("since=2026-11-26T09:00:00Z", 3),
        ("until=2026-11-26T02:00:00Z", 3),
        ("since=2026-11-26T02:00:00Z&until=2026-11-26T04:00:00Z", 2),
        ("path=/looks", 1),
        ("path=/looks/evening", 1),
        ("path=/fade&document=desired", 11),
        ("path=", 13),
        ("document=fixture", 2),
        ("document=reported", 0),
        ("by=loopback", 13),
        ("by=nobody", 0),
        ("via=http", 13),
        ("via=mqtt", 0),
    ] {
        for path in ["/v1/fixtures/hall/history", "/v1/history"] {
            assert_eq!(changes(&house, &format!("{path}?{query}")).await.len(), count, "{path}?{query}");
        }
    }
}

#[tokio::test]
async fn pages_lead_through_all_changes_once_in_either_order() {
    let house = lived_in().await;
    for path in ["/v1/fixtures/hall/history", "/v1/history"] {
        for order in ["newest", "oldest"] {
            let (mut at, mut ids) = (format!("{path}?order={order}&limit=5&via=http"), Vec::new());
            loop {
                let answer = house.get(&at).await;
                let page = answer.expect(200).json();
                ids.extend(page["changes"].as_array().unwrap().iter().map(|change| change["id"].as_i64().unwrap()));
                let link = answer.header("link");
                assert_eq!(link.is_empty(), page["next"].is_null());
                let Some((target, _)) = link.strip_prefix('<').and_then(|rest| rest.split_once(">; rel=\"next\""))
                else {
                    break;
                };
                assert!(target.contains("via=http"), "the link keeps the filter: {target}");
                target.clone_into(&mut at);
            }
            let mut sorted = ids.clone();
            sorted.sort_unstable();
            if order == "newest" {
                sorted.reverse();
            }
            assert_eq!((ids.len(), &ids), (12, &sorted), "{path} {order}");
        }
    }
}

#[tokio::test]
async fn history_comes_as_json_ndjson_and_csv() {
    let house = lived_in().await;
    house.post("/v1/fixtures", r#"{"id":"odd","title":"with, comma and \"quotes\""}"#).await.expect(201);
    let of = async |accept: &str| house.send("GET", "/v1/history?limit=4", &[("accept", accept)], Body::empty()).await;
    let json = of("application/json").await.json();
    let ndjson = of("application/x-ndjson").await;
    assert_eq!(ndjson.header("content-type"), "application/x-ndjson");
    assert!(ndjson.header("link").contains("rel=\"next\""));
    let lines: Vec<Value> = ndjson.text().lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(json["changes"], json!(lines));
    let csv = of("text/csv").await;
    assert!(csv.header("content-type").starts_with("text/csv"));
    assert_eq!(csv.header("vary"), "Accept");
    let text = csv.text();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    assert_eq!(
        reader.headers().unwrap(),
        vec!["id", "fixture", "document", "rev", "at", "by", "via", "cause", "patch", "inverse"]
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 4);
    for (row, change) in rows.iter().zip(json["changes"].as_array().unwrap()) {
        assert_eq!(row[0], change["id"].to_string());
        assert_eq!(row[6], *change["via"].as_str().unwrap());
        assert_eq!(serde_json::from_str::<Value>(&row[8]).unwrap(), change["patch"]);
    }
    of("text/html").await.problem(406, "not-acceptable");
    of("text/html, */*;q=0.1").await.expect(200);
}

#[tokio::test]
async fn history_knows_who_and_by_which_way() {
    let house = House::with_hall().await;
    let token = house.token("kitchen tablet", Scope::Edit).await;
    let bearer = format!("Bearer {token}");
    let cookie = format!("other=1; sconced_token={token}");
    for (headers, by, via) in [
        (vec![("authorization", bearer.as_str())], "kitchen tablet", "http"),
        (vec![("authorization", bearer.as_str()), ("user-agent", "sconced-cli/0.1.0")], "kitchen tablet", "cli"),
        (vec![("cookie", cookie.as_str())], "kitchen tablet", "page"),
        (vec![("user-agent", "sconced-cli/0.1.0")], "loopback", "cli"),
        (vec![], "loopback", "http"),
    ] {
        let rev = house.get("/v1/fixtures/hall").await.json()["desired"]["rev"].as_u64().unwrap();
        let mut all = vec![("content-type", MERGE)];
        all.extend(headers);
        house.send("PATCH", "/v1/fixtures/hall/desired", &all, format!("{{\"fade\":{}}}", rev + 20)).await.expect(200);
        let newest = &changes(&house, "/v1/fixtures/hall/history?limit=1").await[0];
        assert_eq!((&newest["by"], &newest["via"]), (&json!(by), &json!(via)));
    }
    assert_eq!(changes(&house, "/v1/history?by=kitchen+tablet").await.len(), 3);
    assert_eq!(changes(&house, "/v1/history?by=kitchen%20tablet&via=page").await.len(), 1);
}

#[tokio::test]
async fn bad_queries_are_refused_by_name() {
    let house = House::with_hall().await;
    for path in ["/v1/fixtures/hall/history", "/v1/history"] {
        for (query, name) in [
            ("since=yesterday", "since"),
            ("until=2026-13-01T00:00:00Z", "until"),
            ("path=looks", "path"),
            ("path=/a~2", "path"),
            ("via=owl", "via"),
            ("document=secret", "document"),
            ("order=random", "order"),
            ("limit=0", "limit"),
            ("limit=1001", "limit"),
            ("limit=-1", "limit"),
            ("limit=ten", "limit"),
            ("limit=1&limit=2", "limit"),
            ("colour=gold", "colour"),
        ] {
            let problem = house.get(&format!("{path}?{query}")).await.problem(400, "query");
            assert!(problem["detail"].as_str().unwrap().contains(&format!("{name:?}")), "{query}: {problem}");
        }
        for cursor in ["x", "", "r", "c1", "c1.2.3.4", "rx", "c-", "99999999999999999999"] {
            house.get(&format!("{path}?cursor={cursor}")).await.problem(400, "cursor");
        }
        house.get(&format!("{path}?by=%ff")).await.problem(400, "query");
    }
}

#[tokio::test]
async fn any_cursor_at_all_is_answered_or_refused() {
    let house = lived_in().await;
    house.post("/v1/fixtures", r#"{"id":"other"}"#).await.expect(201);
    for cursor in [
        "r0",
        "r-1",
        "r9223372036854775807",
        "r-9223372036854775808",
        "c0.0.0",
        "c1.1.1",
        "c9223372036854775807.0.0",
        "c-9223372036854775808.-1.-1",
    ] {
        for path in ["/v1/fixtures/hall/history", "/v1/fixtures/other/history", "/v1/history"] {
            for order in ["newest", "oldest"] {
                let answer = house.get(&format!("{path}?order={order}&cursor={cursor}")).await;
                assert!([200, 400].contains(&answer.status.as_u16()), "{path} {order} {cursor}");
            }
        }
    }
    assert_eq!(house.send("GET", "/v1/history", &[("accept", JSON)], Body::empty()).await.status, 200);
}
