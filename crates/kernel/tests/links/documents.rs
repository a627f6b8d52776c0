//! The document of a link: what is read, what is refused, what is advised.

use document::Value;
use jiff::SignedDuration;
use kernel::links::{Confirm, Link, LinkId, LinkLook, Names, Party, RAISE_AT_LEAST, STORM, STORM_SPAN};
use kernel::{FixtureId, GroupName};
use proptest::prelude::*;
use serde_json::json;

use crate::rig::{fixture, members};

fn whole() -> Value {
    json!({
        "from": {"fixture": "hall"}, "event": "motion", "to": {"group": "lights"},
        "look": {"colours": ["wheat", "gold"], "intensity": 60, "motif": {"name": "unroll", "seconds": 1.5}},
        "run_on": 90, "dead_time": 5.5, "confirm": {"pulses": 2, "within": 4},
        "between": [{"start": "sunset", "shift": "-PT30M"}, "23:30"], "lit_only": true, "enabled": false,
        "title": "Hall lights the stairs", "notes": ""
    })
}

fn with(name: &str, value: Value) -> Value {
    let mut document = whole();
    document[name] = value;
    document
}

#[test]
fn a_whole_document_is_read() {
    let (link, advice) = Link::read(&whole()).unwrap();
    assert_eq!(link.from, Party::Fixture(fixture("hall")));
    assert_eq!(link.to, Party::Group("lights".parse().unwrap()));
    assert!(matches!(&*link.look, LinkLook::Own(_)));
    assert_eq!((link.run_on, link.dead_time), (SignedDuration::from_secs(90), SignedDuration::from_millis(5500)));
    assert_eq!(link.confirm, Confirm { pulses: 2, within: SignedDuration::from_secs(4) });
    assert_eq!(link.between.unwrap().from.to_string(), "sunset -PT30M");
    assert_eq!((link.lit_only, link.enabled), (true, false));
    assert_eq!(advice, []);
}

#[test]
fn what_is_left_out_is_what_the_page_says() {
    let least = json!({"from": {"fixture": "hall"}, "event": "motion", "to": {"fixture": "hall"}, "look": "greet"});
    let (link, advice) = Link::read(&least).unwrap();
    assert_eq!((link.run_on, link.dead_time), (SignedDuration::from_secs(60), SignedDuration::ZERO));
    assert_eq!((link.confirm.pulses, link.between, link.lit_only, link.enabled), (1, None, false, true));
    assert_eq!((link.title, link.notes, advice), (None, None, vec![]));
}

#[test]
fn every_bound_is_kept_at_its_edge() {
    for (name, good) in [
        ("run_on", json!(1)),
        ("run_on", json!(86_400.0)),
        ("dead_time", json!(0)),
        ("dead_time", json!(86_400)),
        ("confirm", json!({"pulses": 1.0, "within": 0.1})),
        ("confirm", json!({"pulses": 10, "within": 60})),
        ("confirm", json!({"pulses": 2})),
        ("event", json!("x".repeat(64))),
        ("look", json!("dark")),
        ("title", json!("x".repeat(200))),
        ("notes", json!("x".repeat(4000))),
        ("between", json!(["22:00", {"start": "22:00", "shift": "PT1H"}])),
    ] {
        assert!(Link::read(&with(name, good.clone())).is_ok(), "{name} {good}");
    }
    for (name, bad, place) in [
        ("run_on", json!(0.9), "/run_on"),
        ("run_on", json!(86_401), "/run_on"),
        ("run_on", json!("60"), "/run_on"),
        ("dead_time", json!(-1), "/dead_time"),
        ("dead_time", json!(86_400.5), "/dead_time"),
        ("confirm", json!(2), "/confirm"),
        ("confirm", json!({}), "/confirm/pulses"),
        ("confirm", json!({"pulses": 0}), "/confirm/pulses"),
        ("confirm", json!({"pulses": 11}), "/confirm/pulses"),
        ("confirm", json!({"pulses": 1.5}), "/confirm/pulses"),
        ("confirm", json!({"pulses": 2, "within": 0.09}), "/confirm/within"),
        ("confirm", json!({"pulses": 2, "within": 60.1}), "/confirm/within"),
        ("confirm", json!({"pulses": 2, "in": 4}), "/confirm/in"),
        ("event", json!(""), "/event"),
        ("event", json!("a\u{0}b"), "/event"),
        ("event", json!("x".repeat(65)), "/event"),
        ("from", json!("hall"), "/from"),
        ("from", json!({}), "/from"),
        ("from", json!({"fixture": "hall", "group": "eyes"}), "/from"),
        ("from", json!({"fixture": "Hall"}), "/from/fixture"),
        ("to", json!({"group": 7}), "/to/group"),
        ("to", json!({"room": "attic", "fixture": "hall"}), "/to/room"),
        ("look", json!(7), "/look"),
        ("look", json!(""), "/look"),
        ("look", json!({"intensity": 40}), "/look"),
        ("look", json!({"kelvin": 2400, "intensity": 101}), "/look/intensity"),
        ("look", json!({"colours": ["gold", "no colour"]}), "/look/colours/1"),
        ("between", json!("night"), "/between"),
        ("between", json!(["dusk"]), "/between"),
        ("between", json!(["dusk", "dusk"]), "/between"),
        ("between", json!(["noon", "23:30"]), "/between/0"),
        ("between", json!(["dusk", "24:00"]), "/between/1"),
        ("between", json!(["dusk", {"shift": "PT1H"}]), "/between/1/start"),
        ("between", json!(["dusk", {"start": "dawn", "shift": "PT13H"}]), "/between/1/shift"),
        ("lit_only", json!(1), "/lit_only"),
        ("enabled", json!("yes"), "/enabled"),
        ("title", json!(""), "/title"),
        ("notes", json!("x".repeat(4001)), "/notes"),
        ("colour", json!("gold"), "/colour"),
        ("title", json!(null), "/title"),
    ] {
        let findings = Link::read(&with(name, bad.clone())).unwrap_err();
        assert!(findings.iter().any(|found| found.pointer.as_str() == place), "{name} {bad}: {findings:?}");
        assert!(findings.iter().all(|found| !found.text.is_empty() && !found.advice.is_empty()), "{name} {bad}");
    }
}

#[test]
fn all_faults_are_told_at_once() {
    let bad = json!({"from": {"fixture": "-"}, "run_on": 0, "confirm": {"pulses": 99, "within": 99}, "between": [1, 2], "x": 1});
    let findings = Link::read(&bad).unwrap_err();
    let places: Vec<_> = findings.iter().map(|found| found.pointer.to_string()).collect();
    for place in [
        "/event",
        "/to",
        "/look",
        "/from/fixture",
        "/run_on",
        "/confirm/pulses",
        "/confirm/within",
        "/between/0",
        "/between/1",
        "/x",
    ] {
        assert!(places.iter().any(|found| found == place), "{place} is not in {places:?}");
    }
}

/// Sellers' and makers' pages for small motion sensors, gathered in tests/check-values/pir-facts.csv: ranges, since they
/// contradict each other.
#[test]
fn the_figures_for_sensors_are_those_of_their_pages() {
    let table = include_str!("../../../../tests/check-values/pir-facts.csv");
    let row = |part: &str, item: &str| {
        let row = table.lines().find_map(|line| line.strip_prefix(part)?.strip_prefix(',')?.strip_prefix(item));
        row.unwrap_or_else(|| panic!("{part}, {item} is not in the table")).trim_start_matches([',', '"']).to_owned()
    };
    // the least time of output and the blocking after it make the soonest second report that the advice names
    let (on, blocked) = (row("HC-SR501", "on time"), row("HC-SR501", "block time after the output falls"));
    assert!(on.starts_with("0.3 to") && blocked.starts_with("2.5,"), "{on} {blocked}");
    // about 2 seconds of output, then 2 to 3 of blocking: what a raise lasts, and five times twelve is a minute
    assert!(row("BS412", "on time").starts_with("2 to"));
    assert!(row("any", "block time class for a test").starts_with("2 to 3,s"));
    assert_eq!(RAISE_AT_LEAST, SignedDuration::from_secs(2 + 3));
    assert_eq!(STORM_SPAN, RAISE_AT_LEAST * i32::try_from(STORM).unwrap());
}

/// The figures are those of the test above.
#[test]
fn what_the_usual_sensors_cannot_do_is_said() {
    let advised = |name, value| {
        let (_, advice) = Link::read(&with(name, value)).unwrap();
        advice.into_iter().map(|advice| advice.pointer.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(advised("confirm", json!({"pulses": 2, "within": 2.7})), ["/confirm/within"]);
    assert_eq!(advised("confirm", json!({"pulses": 2, "within": 2.8})), [""; 0]);
    assert_eq!(advised("confirm", json!({"pulses": 1, "within": 0.1})), [""; 0]);
    assert_eq!(advised("run_on", json!(4.9)), ["/run_on"]);
    assert_eq!(advised("look", json!({"kelvin": 2400, "glow": 1})), ["/look/glow"]);
}

#[test]
fn what_a_link_names_must_be_there() {
    let exists = |id: &FixtureId| id.as_str() != "jetty";
    let has_look = |id: &FixtureId, look: &str| look == "greet" || (look == "late" && id.as_str() == "shelf");
    let names = Names { fixture: &exists, members: &|group: &GroupName| members(group), has_look: &has_look };
    let check = |from: Value, to: Value, look: &str| {
        let document = json!({"from": from, "event": "motion", "to": to, "look": look});
        let places = |list: Vec<String>| list.join(" ");
        match Link::read(&document).unwrap().0.check_names(&names) {
            Ok(advice) => Ok(places(advice.iter().map(|one| one.pointer.to_string()).collect())),
            Err(findings) => Err(places(findings.iter().map(|one| one.pointer.to_string()).collect())),
        }
    };
    let (hall, jetty, lights) = (json!({"fixture": "hall"}), json!({"fixture": "jetty"}), json!({"group": "lights"}));
    assert_eq!(check(hall.clone(), lights.clone(), "greet"), Ok(String::new()));
    assert_eq!(check(hall.clone(), lights.clone(), "dark"), Ok(String::new()));
    assert_eq!(check(hall.clone(), lights.clone(), "late"), Ok("/look".into()));
    assert_eq!(check(hall.clone(), lights, "unheard-of"), Err("/look".into()));
    assert_eq!(check(jetty.clone(), jetty, "greet"), Err("/from/fixture /to/fixture".into()));
    assert_eq!(check(json!({"group": "nobody"}), hall, "greet"), Ok("/from/group".into()));
}

#[test]
fn the_id_of_a_link_has_the_form_of_a_fixtures() {
    assert!("hall-to-stairs".parse::<LinkId>().is_ok());
    for bad in ["", "-a", "A", "a/b", &"x".repeat(65)] {
        assert!(bad.parse::<LinkId>().unwrap_err().to_string().contains("write 1 to 64"), "{bad}");
    }
    assert_eq!(serde_json::from_str::<LinkId>("\"a-1\"").unwrap().as_str(), "a-1");
    assert!(serde_json::from_str::<LinkId>("\"a 1\"").is_err());
}

proptest! {
    #[test]
    fn no_document_is_too_strange_to_be_answered(
        name in prop::sample::select(vec!["from", "event", "to", "look", "run_on", "dead_time", "confirm", "between", "title", "odd"]),
        value in strange(),
    ) {
        for document in [with(name, value.clone()), value] {
            if let Err(findings) = Link::read(&document) {
                prop_assert!(!findings.is_empty());
            }
        }
    }
}

fn strange() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        prop::sample::select(vec!["hall", "23:30", "dusk", "", "\u{0}", "gold"]).prop_map(Value::from),
    ];
    let key = prop::sample::select(vec!["fixture", "group", "pulses", "within", "start", "shift", "colours", "a/b"]);
    leaf.prop_recursive(3, 16, 4, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            prop::collection::btree_map(key.clone(), inner, 0..4)
                .prop_map(|map| Value::Object(map.into_iter().map(|(k, v)| (k.to_owned(), v)).collect())),
        ]
    })
}
