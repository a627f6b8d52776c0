//! Every topic of the messages page, for clients with QoS 1 and with QoS 0 only.

use serde_json::{Value, json};
use testkit::{Firmware, Login, eventually};

use crate::{daemon, impatient_daemon};

fn looks() -> Value {
    json!({
        "default": "evening", "fade": 2.0,
        "looks": {
            "evening": {"colours": ["white"], "intensity": 100},
            "greet": {"colours": ["red", "#00f"], "intensity": 50, "motif": {"name": "unroll", "seconds": 1.5, "toward": "start"}, "span": [0.0, 0.5]}
        }
    })
}

#[test]
fn a_boot_is_answered_with_the_whole_and_with_what_shows() {
    let daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    firmware.say("boot", &json!({"reason": "brownout", "have": 0, "firmware": "2.1.0", "boots": 40, "rssi": -61}));
    let desired = firmware.wait("desired", |heard| !heard.retained).json;
    assert_eq!((&desired["rev"], &desired["document"]), (&json!(1), &looks()));
    assert!(desired["now_ms"].as_u64().unwrap() > 1_700_000_000_000);
    assert_eq!(desired["agenda"][0][1], json!("evening"));
    let showing = firmware.wait("showing", |heard| !heard.retained).json;
    // white at full intensity is full duty on every channel
    assert_eq!(showing["channels"], json!([[65535, 65535, 65535]]));
    assert_eq!(
        (
            &showing["rev"],
            &showing["look"],
            &showing["because"],
            &showing["span"],
            &showing["motif"],
            &showing["fade_ms"]
        ),
        (&json!(1), &json!("evening"), &json!("default"), &json!([0, 65535]), &json!(["steady"]), &json!(2000))
    );
    let fixture = eventually("the boot to be known", || {
        let fixture = daemon.http().get("/v1/fixtures/hall").json;
        fixture.to_string().contains("brownout").then_some(fixture)
    });
    assert!(fixture.to_string().contains("2.1.0") && fixture.to_string().contains("-61"), "{fixture}");
    assert_eq!(fixture["standing"], json!("behind"));
}

#[test]
fn an_edit_goes_out_as_patch_as_whole_and_as_showing() {
    let daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    let _ = firmware.wait("desired", |heard| heard.retained);
    let patch = json!({"override": {"look": "greet"}, "fade": null});
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &patch).revision(), 2);
    let heard = firmware.wait("patch", |_| true).json;
    assert_eq!(heard, json!({"from": 1, "rev": 2, "patch": patch}));
    let showing = firmware.wait("showing", |heard| heard.json["rev"] == json!(2)).json;
    assert_eq!((&showing["look"], &showing["because"]), (&json!("greet"), &json!("override")));
    assert_eq!(showing["motif"][0], json!("unroll"));
    assert_eq!(showing["channels"].as_array().unwrap().len(), 2);
    // CIE 15: L* 50 is 18.4187 percent of the luminance; red keeps its one channel
    assert_eq!(showing["channels"][0], json!([(0.184_187 * 65535.0_f64).round() as u64, 0, 0]));
    let desired = firmware.wait("desired", |heard| heard.json["rev"] == json!(2)).json;
    assert_eq!(desired["document"]["override"], json!({"look": "greet"}));
    assert!(desired["document"].get("fade").is_none());
}

#[test]
fn an_ask_is_answered_like_a_boot_and_counts_as_none() {
    let daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    firmware.say("ask", &json!({"have": 0}));
    let desired = firmware.wait("desired", |heard| !heard.retained).json;
    assert_eq!(desired["rev"], json!(1));
    assert_eq!(daemon.sql("SELECT count(*) FROM boot").trim(), "0");
}

#[test]
fn a_fixture_that_only_says_which_revision_it_took_is_in_step() {
    let daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    firmware.say("boot", &json!({"have": 0}));
    firmware.say("reported", &json!({"rev": 1}));
    eventually("in step", || {
        (daemon.http().get("/v1/fixtures/hall").json["standing"] == json!("in-step")).then_some(())
    });
    assert_eq!(daemon.http().get("/v1/fixtures/hall/reported").json, looks());
}

#[test]
fn a_will_makes_a_fixture_silent_and_its_return_makes_it_heard() {
    let daemon = daemon();
    daemon.add("hall");
    let secret = daemon.enrol("hall");
    let firmware = Firmware::start(&daemon.mqtt, "hall", &secret);
    firmware.say("alive", &json!({"alive": true}));
    firmware.say("boot", &json!({"have": 0}));
    let standing = || daemon.http().get("/v1/fixtures/hall").json["standing"].clone();
    eventually("in step", || (standing() == json!("in-step")).then_some(()));
    // another connection of the same controller takes the session over, as when a socket was dropped unseen
    let again = Firmware::start(&daemon.mqtt, "hall", &secret);
    let _ = firmware.wait_ended();
    eventually("silent", || (standing() == json!("silent")).then_some(()));
    again.say("alive", &json!({"alive": true}));
    eventually("in step", || (standing() == json!("in-step")).then_some(()));
}

#[test]
fn what_was_not_reported_as_applied_is_sent_again_also_with_qos_0() {
    let daemon = impatient_daemon();
    daemon.add("hall");
    let secret = daemon.enrol("hall");
    let mut login = Login::of(&daemon.mqtt, "hall", &secret);
    login.qos = 0;
    let firmware = Firmware::connect(&login).unwrap();
    for what in ["desired", "showing", "patch"] {
        firmware.subscribe(&format!("fixtures/hall/{what}"));
    }
    firmware.say("boot", &json!({"have": 0}));
    eventually("the boot", || (daemon.sql("SELECT count(*) FROM boot").trim() == "1").then_some(()));
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let count = |what: &str| {
        firmware.heard().iter().filter(|heard| heard.topic.ends_with(what) && heard.json["rev"] == json!(1)).count()
    };
    eventually("the whole, three times", || (count("/desired") >= 3).then_some(()));
    eventually("what shows, three times", || (count("/showing") >= 3).then_some(()));
    firmware.say("reported", &json!({"rev": 1}));
    eventually("in step", || {
        (daemon.http().get("/v1/fixtures/hall").json["standing"] == json!("in-step")).then_some(())
    });
}

#[test]
fn bad_messages_are_told_and_change_nothing() {
    let daemon = daemon();
    daemon.add("hall");
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    let before = daemon.sql("SELECT count(*) FROM history").trim().to_owned();
    let bad: Vec<(&str, Vec<u8>, &str)> = vec![
        ("boot", b"{\"have\":-1}".to_vec(), "/have"),
        ("ask", b"{\"have\":1e999}".to_vec(), "/have"),
        ("reported", b"{\"patch\":{}}".to_vec(), "/rev"),
        ("reported", b"{\"rev\":0,\"patch\":{\"a\":1,\"a\":2}}".to_vec(), "/patch/a"),
        ("event", b"{\"event\":\"motion\"}".to_vec(), "/n"),
        ("wish", b"{\"n\":1,\"looks\":{}}".to_vec(), "/looks"),
        ("alive", b"not json".to_vec(), ""),
        ("boot", vec![0xff, 0xfe], ""),
        ("reported", format!("{{\"rev\":0,\"patch\":{{\"big\":\"{}\"}}}}", "x".repeat(9000)).into_bytes(), "/patch"),
        ("reported", [b"{\"rev\":0,\"patch\":".to_vec(), b"[".repeat(2000)].concat(), ""),
    ];
    for (what, payload, pointer) in &bad {
        let told = || {
            firmware
                .heard()
                .iter()
                .filter(|heard| {
                    heard.topic.ends_with("/problem") && heard.json["topic"] == json!(format!("fixtures/hall/{what}"))
                })
                .filter(|heard| heard.json["pointer"].as_str().is_some_and(|p| p.starts_with(pointer)))
                .count()
        };
        let before = told();
        firmware.say_raw(&format!("fixtures/hall/{what}"), payload, false);
        eventually(&format!("a problem about {what} at {pointer:?}"), || (told() > before).then_some(()));
    }
    assert_eq!(daemon.sql("SELECT count(*) FROM history").trim(), before);
    assert_eq!(daemon.sql("SELECT count(*) FROM boot").trim(), "0");
    assert_eq!(daemon.http().get("/v1/fixtures/hall/desired").json, json!({}));
}

#[test]
fn the_longest_showing_stays_within_480_bytes_with_its_topic() {
    let daemon = daemon();
    let id = "r".repeat(64);
    daemon.add(&id);
    let name = "ö".repeat(32);
    let look = json!({
        "colours": ["#fefefe", "#fdfdfd", "#fcfcfc", "#fbfbfb", "#fafafa", "#f9f9f9", "#f8f8f8", "#f7f7f7"],
        "span": [0.9, 1.0], "intensity": 99.9,
        "motif": {"name": "unroll", "seconds": 3600, "width": 1, "softness": 1, "toward": "start", "seed": 65535}
    });
    let document = json!({
        "fade": 3600, "looks": {&name: look}, "override": {"look": name, "until": "2037-12-31T23:59:59.999Z"}
    });
    let answer = daemon.http().patch(&format!("/v1/fixtures/{id}/desired"), &document);
    assert_eq!(answer.status, 200, "{answer:?}");
    let firmware = Firmware::start(&daemon.mqtt, &id, &daemon.enrol(&id));
    let showing = firmware.wait("showing", |heard| heard.json["rev"] == json!(1));
    assert!(showing.topic.len() + showing.payload.len() <= 480, "{}", showing.topic.len() + showing.payload.len());
    assert_eq!(showing.json["channels"].as_array().unwrap().len(), 8);
    // only the name, which is for people, is cut, and not within a character
    assert!(name.starts_with(showing.json["look"].as_str().unwrap()));
}

#[test]
fn an_override_ends_by_itself_as_a_new_revision_by_the_daemon() {
    let daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &looks()).revision(), 1);
    let firmware = Firmware::start(&daemon.mqtt, "hall", &daemon.enrol("hall"));
    let until = daemon.sql("SELECT strftime('%Y-%m-%dT%H:%M:%SZ', 'now', '+2 seconds')").trim().to_owned();
    let answer = daemon.http().put("/v1/fixtures/hall/override", &json!({"look": "greet", "until": until}));
    assert_eq!(answer.revision(), 2, "{answer:?}");
    let _ = firmware.wait("showing", |heard| heard.json["because"] == json!("override"));
    let showing = firmware.wait("showing", |heard| heard.json["rev"] == json!(3)).json;
    assert_eq!((&showing["look"], &showing["because"]), (&json!("evening"), &json!("default")));
    let change = &daemon.http().get("/v1/fixtures/hall/history?document=desired&limit=1").json["changes"][0];
    assert_eq!(
        (&change["by"], &change["via"], &change["patch"]),
        (&json!("sconced"), &json!("daemon"), &json!({"override": null}))
    );
}
