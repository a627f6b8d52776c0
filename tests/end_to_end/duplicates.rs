//! Same edit twice, duplicate delivery, old revisions, revisions never given: no harm, no false "in step".

use serde_json::json;
use testkit::{Daemon, Firmware, eventually};

use crate::daemon;

fn standing(daemon: &Daemon, id: &str) -> String {
    daemon.http().get(&format!("/v1/fixtures/{id}")).json["standing"].as_str().unwrap().to_owned()
}

fn wait_standing(daemon: &Daemon, id: &str, wanted: &str) {
    eventually(&format!("{id} to be {wanted}"), || (standing(daemon, id) == wanted).then_some(()));
}

#[test]
fn the_same_edit_twice_makes_one_revision() {
    let daemon = daemon();
    daemon.add("hall");
    let first = daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 2}));
    let second = daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 2.0}));
    assert_eq!((first.revision(), second.revision()), (1, 1));
    assert_eq!(second.json["changed"], json!([]));
}

#[test]
fn an_idempotency_key_makes_a_post_happen_once() {
    let daemon = daemon();
    daemon.add("hall");
    let http = daemon.http();
    for fade in [1, 2, 3] {
        assert_eq!(http.patch("/v1/fixtures/hall/desired", &json!({"fade": fade})).status, 200);
    }
    let undo = |key: &str, body: &str| {
        http.send(
            "POST",
            "/v1/fixtures/hall/undo",
            &[("content-type", "application/json"), ("idempotency-key", key)],
            body.as_bytes(),
        )
    };
    let (first, second) = (undo("a", "{}"), undo("a", "{}"));
    assert_eq!((first.status, second.status), (200, 200), "{first:?} {second:?}");
    assert_eq!((first.revision(), second.revision()), (4, 4));
    assert_eq!(http.get("/v1/fixtures/hall/desired").json, json!({"fade": 2}));
    assert_eq!(undo("a", "{\"to\":1}").status, 422);
    assert_eq!(undo("b", "{\"to\":1}").revision(), 5);
}

#[test]
fn reports_duplicated_old_or_of_a_revision_never_given_change_nothing() {
    let daemon = daemon();
    daemon.add("hall");
    let secret = daemon.enrol("hall");
    let http = daemon.http();
    assert_eq!(http.patch("/v1/fixtures/hall/desired", &json!({"fade": 1})).revision(), 1);
    assert_eq!(http.patch("/v1/fixtures/hall/desired", &json!({"fade": 2})).revision(), 2);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &secret);
    firmware.say("boot", &json!({"reason": "power-on", "have": 0}));
    wait_standing(&daemon, "hall", "behind");
    // a revision that was never given: refused, said, and not believed
    firmware.say("reported", &json!({"rev": 9, "patch": {"fade": 2}}));
    let problem = firmware.wait("problem", |_| true);
    assert_eq!(problem.json["pointer"], json!("/rev"), "{}", problem.json);
    assert_eq!(standing(&daemon, "hall"), "behind");
    assert_eq!(http.get("/v1/fixtures/hall/reported").json, json!({}));
    // the right one, twice
    for _ in 0..2 {
        firmware.say("reported", &json!({"rev": 2, "patch": {"fade": 2}}));
    }
    wait_standing(&daemon, "hall", "in-step");
    assert_eq!(http.get("/v1/fixtures/hall/delta").json, json!({}));
    // an old one that comes late
    firmware.say("reported", &json!({"rev": 1, "patch": {"fade": 1}}));
    firmware.say("event", &json!({"event": "motion", "n": 1}));
    firmware.say("event", &json!({"event": "motion", "n": 1}));
    firmware.say("event", &json!({"event": "motion", "n": 2}));
    firmware.wait_acknowledged(7);
    eventually("both events", || (daemon.sql("SELECT group_concat(n) FROM event").trim() == "1,2").then_some(()));
    assert_eq!(standing(&daemon, "hall"), "in-step");
    assert_eq!(http.get("/v1/fixtures/hall/reported").json, json!({"fade": 2}));
    // a newer desired revision with the same content as reported is still not applied: no false "in step"
    assert_eq!(http.patch("/v1/fixtures/hall/desired", &json!({"fade": 3})).revision(), 3);
    assert_eq!(http.patch("/v1/fixtures/hall/desired", &json!({"fade": 2})).revision(), 4);
    assert_eq!(http.get("/v1/fixtures/hall/delta").json, json!({}));
    assert_eq!(standing(&daemon, "hall"), "behind");
}

#[test]
fn a_wish_is_an_edit_by_the_fixture_and_counts_once() {
    let daemon = daemon();
    daemon.add("hall");
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    let looks = json!({"looks": {"greet": {"colours": ["gold"], "intensity": 60}}});
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks).status, 200);
    firmware.say("wish", &json!({"n": 1, "override": {"look": "greet"}}));
    firmware.say("wish", &json!({"n": 2, "lit": false}));
    firmware.say("wish", &json!({"n": 2, "lit": true}));
    firmware.say("wish", &json!({"n": 1, "override": null}));
    let _ = firmware.wait("desired", |heard| heard.json["document"]["lit"] == json!(false));
    firmware.wait_acknowledged(4);
    let desired = daemon.http().get("/v1/fixtures/hall/desired");
    assert_eq!(
        (desired.revision(), &desired.json["lit"], &desired.json["override"]),
        (3, &json!(false), &json!({"look": "greet"}))
    );
    let history = daemon.http().get("/v1/fixtures/hall/history?document=desired&via=mqtt").json;
    let changes = history["changes"].as_array().unwrap();
    assert_eq!(changes.len(), 2);
    assert!(changes.iter().all(|change| change["by"] == json!("fixture:hall")));
    // a wish for a look that there is not is said to be wrong, and changes nothing
    firmware.say("wish", &json!({"n": 3, "override": {"look": "nowhere"}}));
    let problem = firmware.wait("problem", |_| true);
    assert_eq!(problem.json["pointer"], json!("/override/look"));
    assert_eq!(daemon.http().get("/v1/fixtures/hall/desired").revision(), 3);
}
