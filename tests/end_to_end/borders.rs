//! A fixture can neither hear nor speak for another, nor come in without its secret.

use serde_json::json;
use testkit::{Firmware, Login};

use crate::daemon;

#[test]
fn nobody_comes_in_without_a_secret_of_their_own() {
    let daemon = daemon();
    daemon.add("hall");
    daemon.add("stairs");
    let hall = daemon.enrol("hall");
    for (username, secret) in [
        ("hall", "wrong"),
        ("hall", ""),
        ("stairs", &*hall),
        ("nobody", &*hall),
        ("", ""),
        ("@sconced", "x"),
        ("+", &*hall),
    ] {
        let mut login = Login::of(&daemon.mqtt, username, secret);
        login.client_id = "some-controller".into();
        assert!(Firmware::connect(&login).is_err(), "{username} came in with {secret:?}");
    }
    assert!(Firmware::connect(&Login::of(&daemon.mqtt, "hall", &hall)).is_ok());
}

#[test]
fn a_fixture_cannot_speak_for_another() {
    let daemon = daemon();
    for id in ["hall", "stairs"] {
        daemon.add(id);
    }
    let hall = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    let stairs = Firmware::start(&daemon.mqtt, "stairs", &daemon.enrol("stairs"));
    for (topic, payload) in [
        ("fixtures/stairs/boot", json!({"reason": "brownout", "have": 0})),
        ("fixtures/stairs/reported", json!({"rev": 0, "patch": {"forged": true}})),
        ("fixtures/stairs/wish", json!({"n": 1, "lit": false})),
        ("fixtures/stairs/desired", json!({"rev": 99, "document": {"lit": false}})),
        ("fixtures/hall/desired", json!({"rev": 99, "document": {"lit": false}})),
        ("$SYS/broker/uptime", json!(1)),
    ] {
        hall.say_raw(topic, payload.to_string().as_bytes(), false);
    }
    // it is told what the broker refused, since MQTT 3.1.1 cannot say it
    let problem = hall.wait("problem", |_| true);
    assert!(problem.json["detail"].as_str().unwrap().contains("may not publish"), "{}", problem.json);
    // what it says for itself goes through on the same connection, after all of the above
    hall.say("wish", &json!({"n": 1, "lit": false}));
    let _ =
        hall.wait("desired", |heard| heard.json["document"]["lit"] == json!(false) && heard.json["rev"] == json!(1));
    let fixture = daemon.http().get("/v1/fixtures/stairs").json;
    assert_eq!(fixture["standing"], json!("never-heard"), "{fixture}");
    assert_eq!(daemon.http().get("/v1/fixtures/stairs/desired").json, json!({}));
    assert_eq!(daemon.http().get("/v1/fixtures/stairs/reported").json, json!({}));
    assert!(stairs.heard().iter().all(|heard| heard.json["rev"] != json!(99)), "{:?}", stairs.heard());
}

#[test]
fn a_fixture_cannot_hear_another() {
    let daemon = daemon();
    for id in ["hall", "stairs"] {
        daemon.add(id);
    }
    let hall = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    for filter in [
        "fixtures/stairs/desired",
        "fixtures/+/desired",
        "fixtures/#",
        "#",
        "$SYS/#",
        "$share/a/fixtures/stairs/desired",
    ] {
        hall.subscribe(filter);
    }
    let answer = daemon.http().patch("/v1/fixtures/stairs/desired", &json!({"lit": false}));
    assert_eq!(answer.status, 200);
    daemon.wait_for_empty_outbox();
    // an edit of its own, published after that of the other, has arrived: the other's would have too
    let answer = daemon.http().patch("/v1/fixtures/hall/desired", &json!({"lit": false}));
    assert_eq!(answer.status, 200);
    let _ = hall.wait("desired", |heard| heard.json["rev"] == json!(1));
    assert!(hall.heard().iter().all(|heard| heard.topic.starts_with("fixtures/hall/")), "{:?}", hall.heard());
}

#[test]
fn a_will_for_another_fixtures_topic_is_refused() {
    let daemon = daemon();
    daemon.add("hall");
    daemon.add("stairs");
    let secret = daemon.enrol("hall");
    let mut login = Login::of(&daemon.mqtt, "hall", &secret);
    login.will = Some(("fixtures/stairs/alive".into(), "{\"alive\":false}".into()));
    assert!(Firmware::connect(&login).is_err());
    login.will = Some(("fixtures/hall/alive".into(), "{\"alive\":false}".into()));
    assert!(Firmware::connect(&login).is_ok());
}

#[test]
fn a_new_enrolment_ends_the_old_secret_and_its_open_connection() {
    let daemon = daemon();
    daemon.add("hall");
    let old = daemon.enrol("hall");
    let first = Firmware::start(&daemon.mqtt, "hall", &old);
    let new = daemon.enrol("hall");
    assert_ne!(old, new);
    let _ = first.wait_ended();
    assert!(Firmware::connect(&Login::of(&daemon.mqtt, "hall", &old)).is_err());
    let second = Firmware::start(&daemon.mqtt, "hall", &new);
    second.say("boot", &json!({"reason": "power-on", "have": 0}));
    let _ = second.wait("desired", |heard| !heard.retained);
}

#[test]
fn a_fixture_that_is_taken_away_is_out_and_its_retained_state_is_gone() {
    let daemon = daemon();
    daemon.add("hall");
    let secret = daemon.enrol("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &json!({"lit": false})).status, 200);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &secret);
    let _ = firmware.wait("desired", |heard| heard.json["rev"] == json!(1));
    assert!(daemon.http().delete("/v1/fixtures/hall").is_ok());
    let _ = firmware.wait_ended();
    assert!(Firmware::connect(&Login::of(&daemon.mqtt, "hall", &secret)).is_err());
    daemon.wait_for_empty_outbox();
    // made anew under the same id, it begins with nothing
    daemon.add("hall");
    let again = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    again.say("boot", &json!({"reason": "power-on", "have": 0}));
    let answer = again.wait("desired", |heard| !heard.retained);
    assert_eq!((&answer.json["rev"], &answer.json["document"]), (&json!(0), &json!({})));
    assert!(again.heard().iter().all(|heard| heard.json["rev"] != json!(1)), "{:?}", again.heard());
}

#[test]
fn a_fixture_that_is_refused_again_and_again_is_told_ten_times_and_no_more() {
    let daemon = daemon();
    daemon.add("hall");
    let hall = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    for _ in 0..40 {
        hall.say_raw("fixtures/stairs/boot", b"{}", false);
    }
    hall.say("wish", &json!({"n": 1, "lit": false}));
    let _ = hall.wait("desired", |heard| heard.json["document"]["lit"] == json!(false));
    let told = hall.heard().iter().filter(|heard| heard.topic.ends_with("/problem")).count();
    assert!((1..=10).contains(&told), "{told}");
}
