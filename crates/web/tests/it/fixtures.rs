//! Making, listing, changing and taking away fixtures; enrolment; kinds.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use service::Message;

use crate::house::{House, JSON, OPERATIONS};

#[tokio::test]
async fn a_fixture_is_made_with_location_and_tag_and_can_be_read() {
    let house = House::open().await;
    let body = r#"{"id":"jetty-2","title":"Reeds on the jetty","groups":["waterside"],"switched":true,
        "place":{"latitude":52.4,"longitude":4.9,"zone":"Europe/Amsterdam"},"volatile":["/rssi"],"notes":"by the water"}"#;
    let made = house.post("/v1/fixtures", body).await;
    made.expect(201);
    assert_eq!(made.header("location"), "/v1/fixtures/jetty-2");
    let read = house.get("/v1/fixtures/jetty-2").await;
    assert_eq!(read.expect(200).json(), made.json());
    assert_eq!(read.header("etag"), made.header("etag"));
    assert_eq!(read.header("etag"), "\"1-0-0.0-0-0-never-heard\"");
    let fixture = read.json();
    for (member, value) in [
        ("id", json!("jetty-2")),
        ("title", json!("Reeds on the jetty")),
        ("kind", json!("strip")),
        ("groups", json!(["waterside"])),
        ("switched", json!(true)),
        ("place", json!({"latitude":52.4,"longitude":4.9,"zone":"Europe/Amsterdam"})),
        ("volatile", json!(["/rssi"])),
        ("notes", json!("by the water")),
        ("created", json!("2026-11-25T20:00:00Z")),
        ("enrolled", Value::Null),
        ("rev", json!(1)),
        ("desired", json!({"rev":0,"at":null})),
        ("reported", json!({"applied":0,"applied_at":null,"rev":0,"at":null})),
        ("standing", json!("never-heard")),
        ("alive", Value::Null),
        ("heard", Value::Null),
        ("boot", Value::Null),
        ("boots_heard", json!(0)),
    ] {
        assert_eq!(fixture[member], value, "{member}");
    }
}

#[tokio::test]
async fn the_first_document_of_a_fixture_is_empty() {
    let house = House::open().await;
    house.post("/v1/fixtures", r#"{"id":"hall"}"#).await.expect(201);
    for paper in ["desired", "reported", "delta"] {
        assert_eq!(house.get(&format!("/v1/fixtures/hall/{paper}")).await.expect(200).text(), "{}");
    }
}

#[tokio::test]
async fn making_a_fixture_twice_is_a_conflict() {
    let house = House::open().await;
    house.post("/v1/fixtures", r#"{"id":"hall"}"#).await.expect(201);
    assert_eq!(house.post("/v1/fixtures", r#"{"id":"hall"}"#).await.problem(409, "exists")["pointer"], "/id");
}

#[tokio::test]
async fn what_cannot_be_a_record_is_refused_at_its_place() {
    let house = House::open().await;
    let long = "x".repeat(65);
    for (body, slug, pointer) in [
        ("[]".to_owned(), "invalid", ""),
        ("{}".to_owned(), "invalid", "/id"),
        (r#"{"id":7}"#.to_owned(), "invalid", "/id"),
        (r#"{"id":"Hall"}"#.to_owned(), "invalid", "/id"),
        (r#"{"id":"a/b"}"#.to_owned(), "invalid", "/id"),
        (r#"{"id":""}"#.to_owned(), "invalid", "/id"),
        (format!(r#"{{"id":"{long}"}}"#), "invalid", "/id"),
        (r#"{"id":"a","title":""}"#.to_owned(), "invalid", "/title"),
        (r#"{"id":"a","title":7}"#.to_owned(), "invalid", "/title"),
        (format!(r#"{{"id":"a","title":"{}"}}"#, "x".repeat(201)), "invalid", "/title"),
        (r#"{"id":"a","kind":"ghost"}"#.to_owned(), "unknown-kind", "/kind"),
        (r#"{"id":"a","kind":"../x"}"#.to_owned(), "invalid", "/kind"),
        (r#"{"id":"a","groups":["a","a"]}"#.to_owned(), "invalid", "/groups/1"),
        (r#"{"id":"a","groups":"a"}"#.to_owned(), "invalid", "/groups"),
        (r#"{"id":"a","switched":"no"}"#.to_owned(), "invalid", "/switched"),
        (r#"{"id":"a","place":{"latitude":91,"longitude":0,"zone":"UTC"}}"#.to_owned(), "invalid", "/place"),
        (r#"{"id":"a","place":{"latitude":1,"longitude":0,"zone":"Nowhere/At_All"}}"#.to_owned(), "invalid", "/place"),
        (r#"{"id":"a","place":{"latitude":"1","longitude":0,"zone":"UTC"}}"#.to_owned(), "invalid", "/place/latitude"),
        (r#"{"id":"a","volatile":["rssi"]}"#.to_owned(), "invalid", "/volatile/0"),
        (format!(r#"{{"id":"a","notes":"{}"}}"#, "x".repeat(4001)), "invalid", "/notes"),
        (r#"{"id":"a","looks":{}}"#.to_owned(), "invalid", "/looks"),
    ] {
        let problem = house.post("/v1/fixtures", &body).await.problem(422, slug);
        assert_eq!(problem["pointer"], pointer, "{body}");
    }
    assert_eq!(house.history_rows().await, 0);
    assert_eq!(house.get("/v1/fixtures").await.json()["fixtures"], json!([]));
}

#[tokio::test]
async fn the_list_is_paged_by_links_and_filtered() {
    let house = House::open().await;
    for n in 0..7 {
        let group = if n % 2 == 0 { "even" } else { "odd" };
        let kind = if n < 5 { "strip" } else { "free" };
        house
            .post("/v1/fixtures", &format!(r#"{{"id":"f{n}","groups":["{group}"],"kind":"{kind}"}}"#))
            .await
            .expect(201);
    }
    let (mut path, mut seen, mut pages) = ("/v1/fixtures?group=even&limit=2".to_owned(), Vec::new(), 0);
    loop {
        let answer = house.get(&path).await;
        let page = answer.expect(200).json();
        pages += 1;
        for fixture in page["fixtures"].as_array().unwrap() {
            seen.push(fixture["id"].as_str().unwrap().to_owned());
        }
        let link = answer.header("link");
        assert_eq!(link.is_empty(), page["next"].is_null());
        let Some(next) = link.strip_prefix('<').and_then(|rest| rest.split_once(">; rel=\"next\"")) else { break };
        next.0.clone_into(&mut path);
    }
    assert_eq!(seen, ["f0", "f2", "f4", "f6"]);
    assert_eq!(pages, 2);
    let count = async |query: &str| {
        house.get(&format!("/v1/fixtures?{query}")).await.json()["fixtures"].as_array().unwrap().len()
    };
    assert_eq!(count("kind=free").await, 2);
    assert_eq!(count("kind=free&group=odd").await, 1);
    assert_eq!(count("standing=never-heard").await, 7);
    assert_eq!(count("standing=silent").await, 0);
    assert_eq!(count("group=nobody").await, 0);
    house.get("/v1/fixtures?cursor=f0").await.problem(400, "cursor");
}

#[tokio::test]
async fn a_fixtures_standing_follows_what_it_says() {
    let house = House::with_hall().await;
    let standing = async || house.get("/v1/fixtures/hall").await.json()["standing"].as_str().unwrap().to_owned();
    assert_eq!(standing().await, "never-heard");
    let boot = br#"{"reason":"brownout","have":0,"firmware":"2.1.0","boots":40,"rssi":-61}"#;
    house.hear("hall", Message::boot(boot).unwrap()).await;
    assert_eq!(standing().await, "behind");
    house.hear("hall", Message::reported(br#"{"rev":1}"#).unwrap()).await;
    assert_eq!(standing().await, "in-step");
    let tag = house.get("/v1/fixtures/hall").await.header("etag").to_owned();
    house.hear("hall", Message::alive(br#"{"alive":false}"#).unwrap()).await;
    assert_eq!(standing().await, "silent");
    let answer = house.get("/v1/fixtures/hall").await;
    assert_ne!(answer.header("etag"), tag);
    let fixture = answer.json();
    assert_eq!(
        fixture["boot"],
        json!({"at":"2026-11-25T20:00:00Z","reason":"brownout","have":0,"firmware":"2.1.0","boots":40,"rssi":-61})
    );
    assert_eq!((&fixture["alive"], &fixture["boots_heard"]), (&json!(false), &json!(1)));
    assert_eq!(fixture["reported"]["applied"], 1);
    assert_eq!(house.get("/v1/fixtures?standing=silent").await.json()["fixtures"][0]["id"], "hall");
}

#[tokio::test]
async fn the_record_is_edited_by_either_kind_of_patch() {
    let house = House::with_hall().await;
    let merged = house.patch("/v1/fixtures/hall", r#"{"title":"Reeds","notes":"new"}"#).await;
    let body = merged.expect(200).json();
    assert_eq!((&body["rev"], &body["document"]["title"]), (&json!(2), &json!("Reeds")));
    let changed: BTreeSet<&str> = body["changed"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert_eq!(changed, BTreeSet::from(["/notes", "/title"]));
    assert!(merged.header("etag").starts_with("\"2-"));
    let operations = r#"[{"op":"remove","path":"/notes"},{"op":"add","path":"/groups/-","value":"way-to-bed"}]"#;
    let done = house.send("PATCH", "/v1/fixtures/hall", &[("content-type", OPERATIONS)], operations).await;
    assert_eq!(done.expect(200).json()["document"]["groups"], json!(["indoors", "way-to-bed"]));
    assert_eq!(house.patch("/v1/fixtures/hall", r#"{"id":"x"}"#).await.problem(422, "invalid")["pointer"], "/id");
    // a kind that would refuse the desired document that there is
    house.patch("/v1/fixtures/hall", r#"{"kind":"free"}"#).await.expect(200);
    house.get("/v1/fixtures/hall/showing").await.problem(409, "no-looks");
    house.patch("/v1/fixtures/hall/desired", r#"{"looks":7}"#).await.expect(200);
    house.patch("/v1/fixtures/hall", r#"{"kind":"strip"}"#).await.problem(422, "invalid");
}

#[tokio::test]
async fn a_fixture_that_was_taken_away_leaves_its_history() {
    let house = House::with_hall().await;
    let rows = house.history_rows().await;
    assert_eq!(house.delete("/v1/fixtures/hall").await.expect(204).bytes.len(), 0);
    for path in ["", "/desired", "/reported", "/delta", "/showing", "/agenda", "/history"] {
        house.get(&format!("/v1/fixtures/hall{path}")).await.problem(404, "unknown-fixture");
    }
    house.delete("/v1/fixtures/hall").await.problem(404, "unknown-fixture");
    house.post("/v1/fixtures/hall/undo", "{}").await.problem(404, "unknown-fixture");
    house.post("/v1/fixtures/hall/enrol", "{}").await.problem(404, "unknown-fixture");
    assert_eq!(house.history_rows().await, rows + 1);
    assert_eq!(house.get("/v1/history?limit=1").await.json()["changes"][0]["patch"], Value::Null);
}

#[tokio::test]
async fn enrolment_gives_everything_that_firmware_is_set_up_with() {
    let house = House::with_hall().await;
    let answer = house.post("/v1/fixtures/hall/enrol", "").await;
    let body = answer.expect(201).json();
    assert_eq!(answer.header("cache-control"), "no-store");
    let secret = body["secret"].as_str().unwrap();
    assert!(house.service.admits("hall", secret.as_bytes()));
    assert!(!house.service.admits("hall", b"another"));
    for (member, value) in [
        ("fixture", json!("hall")),
        ("username", json!("hall")),
        ("client_id", json!("hall")),
        ("prefix", json!("fixtures")),
        ("broker", json!({"host":"192.0.2.10","port":1883,"url":"mqtt://192.0.2.10:1883"})),
    ] {
        assert_eq!(body[member], value, "{member}");
    }
    assert_eq!(body["topics"]["showing"], "fixtures/hall/showing");
    assert_eq!(body["buffer_bytes"]["showing"], 512);
    assert!(body["buffer_bytes"]["desired"].as_u64().unwrap() >= 8192 + 32 * 80);
    assert_eq!(house.get("/v1/fixtures/hall").await.json()["enrolled"], "2026-11-25T20:00:00Z");
    // enrolling again ends the secret before
    house.send("POST", "/v1/fixtures/hall/enrol", &[("content-type", JSON)], "{}").await.expect(201);
    assert!(!house.service.admits("hall", secret.as_bytes()));
    let stale = [("if-match", "\"9\"")];
    house.send("POST", "/v1/fixtures/hall/enrol", &stale, "").await.problem(412, "stale");
    assert_eq!(house.post("/v1/fixtures/hall/enrol", r#"{"a":1}"#).await.problem(422, "invalid")["pointer"], "/a");
}

#[tokio::test]
async fn kinds_are_listed_with_the_owners_schema() {
    let schema = r#"{"type":"object","properties":{"glow":{"type":"integer","maximum":9}}}"#;
    let house = House::furnished(true, None, &[("kettle-lamp", schema)]).await;
    let kinds = house.get("/v1/kinds").await.json();
    assert_eq!(
        kinds["kinds"],
        json!([{"name":"free","built_in":true},{"name":"kettle-lamp","built_in":false},{"name":"strip","built_in":true}])
    );
    let own = house.get("/v1/kinds/kettle-lamp").await.json();
    assert_eq!(own["schema"], serde_json::from_str::<Value>(schema).unwrap());
    assert_eq!(house.get("/v1/kinds/strip").await.json()["schema"], Value::Null);
    house.get("/v1/kinds/ghost").await.problem(404, "not-there");
    house.get("/v1/kinds/..%2fx").await.problem(400, "path");
    house.post("/v1/fixtures", r#"{"id":"kettle","kind":"kettle-lamp"}"#).await.expect(201);
    let refused = house.patch("/v1/fixtures/kettle/desired", r#"{"glow":12}"#).await.problem(422, "invalid");
    assert_eq!(refused["pointer"], "/glow");
}

#[tokio::test]
async fn a_name_of_the_daemon_itself_is_refused() {
    let house = House::open().await;
    let refused = house.post("/v1/fixtures", r#"{"id":"sconced-daemon"}"#).await.problem(409, "reserved");
    assert!(refused["detail"].as_str().unwrap().contains("choose another id"), "{refused}");
    house.get("/v1/fixtures/sconced-daemon").await.expect(404);
}

#[tokio::test]
async fn an_enrolment_says_when_the_broker_takes_it() {
    let house = House::with_hall().await;
    let made = house.post("/v1/fixtures/hall/enrol", "{}").await.expect(201).json();
    // this house has no broker's side at all
    assert!(made["takes_effect"].as_str().unwrap().contains("by hand"), "{made}");
}
