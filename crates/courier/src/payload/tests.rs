//! The messages held against what the house says, and against their bounds.

use std::sync::Arc;

use almanac::{Because, Entry, Plan, Scene, Showing, Timetable};
use document::Revision;
use kernel::{Command, Compiled, Edit, FixtureKey, Paper, Precondition, Rules, decide};
use serde_json::{Value, json};

use super::*;

#[test]
fn names_are_written_and_measured_as_the_json_library_writes_them() {
    let every: String = (0..0x300_u32).chain([0x2028, 0xffff, 0x1f4a1]).filter_map(char::from_u32).collect();
    for text in ["", "evening", "\"", "\\\"", "a\u{0}b", "\u{7f}é\n", every.as_str()] {
        let whole = serde_json::to_string(text).unwrap();
        assert_eq!(format!("\"{}\"", quoted(text)), whole);
        assert_eq!(text.chars().map(escaped).sum::<usize>() + 2, whole.len());
    }
}

#[test]
fn a_name_is_cut_at_the_last_character_that_fits() {
    let name = "\"é\n💡z";
    let lengths = [0, 0, 2, 2, 4, 4, 6, 6, 6, 6, 10, 11, 11];
    for (room, bytes) in lengths.into_iter().enumerate() {
        let fits = quoted(fitting(name, room)).len();
        assert_eq!(fits, bytes, "{room}");
    }
}

fn held(revision: u64, document: &serde_json::Value, step: Option<&str>) -> Held {
    let mut held = Held::empty(Timestamp::UNIX_EPOCH);
    held.revision = Revision::new(revision);
    held.text = document.to_string().into();
    held.step = step.map(Arc::from);
    held
}

#[test]
fn the_patch_is_that_of_the_edit_where_nothing_lies_between_and_else_the_difference() {
    let (one, two, three) = (json!({"a": 1}), json!({"a": 1, "b": {"c": 2}}), json!({"b": {"c": 3}}));
    let (first, second) = (held(1, &one, None), held(2, &two, Some(r#"{"b":{"c":2}}"#)));
    let third = held(3, &three, Some(r#"{"a":null,"b":{"c":3}}"#));
    assert_eq!(patch_message(&first, &second), r#"{"from":1,"rev":2,"patch":{"b":{"c":2}}}"#);
    assert_eq!(patch_message(&second, &third), r#"{"from":2,"rev":3,"patch":{"a":null,"b":{"c":3}}}"#);
    // over a revision that was never published, the last edit alone would not lead there
    assert_eq!(patch_message(&first, &third), r#"{"from":1,"rev":3,"patch":{"a":null,"b":{"c":3}}}"#);
    let fourth = held(4, &one, Some(r#"{"a":1}"#));
    assert_eq!(patch_message(&second, &fourth), r#"{"from":2,"rev":4,"patch":{"b":null}}"#);
    // a document that was loaded has no step
    let loaded = held(2, &two, None);
    assert_eq!(patch_message(&first, &loaded), patch_message(&first, &second));
}

const DAY: i64 = 86_400;

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn later(at: Timestamp, seconds: i64) -> Timestamp {
    at + SignedDuration::from_secs(seconds)
}

fn canal() -> Place {
    Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap()
}

/// A fixture of that id with a desired document, which was edited at noon of a day in November.
fn fixture(id: &str, kind: &str, desired: Value) -> Fixture {
    let rules = Rules { site: Some(Arc::new(canal())), ..Rules::default() };
    let (id, now) = (id.parse::<kernel::FixtureId>().unwrap(), time("2026-11-25T12:00:00Z"));
    let create = Command::Create { id: id.clone(), record: json!({"kind": kind}) };
    let made = decide(None, create, FixtureKey(1), &rules, now).unwrap().fixture.unwrap();
    let (paper, edit) = (Paper::Desired, Edit::Replace(desired));
    let edit = Command::Edit { id, paper, edit, precondition: Precondition::None };
    decide(Some(&made), edit, FixtureKey(2), &rules, now).unwrap().fixture.unwrap()
}

/// Lines of a timetable, both as a document has them and as the almanac takes them.
fn lines(list: &[(&str, &str)]) -> (Value, Timetable) {
    let document = list.iter().map(|(start, look)| json!({"start": start, "look": look})).collect();
    let entries = list.iter().map(|(start, look)| Entry::new(start.parse().unwrap(), *look)).collect();
    (document, Timetable::new(entries).unwrap())
}

fn looks() -> Value {
    json!({"evening": {"kelvin": 2400}, "late": {"colours": ["gold"], "intensity": 20}})
}

fn desired(fixture: &Fixture, place: Option<&Place>, now: Timestamp) -> Value {
    serde_json::from_str(&desired_message(fixture, &Circumstances { place, running: &[], now })).unwrap()
}

fn showing(fixture: &Fixture, place: Option<&Place>, now: Timestamp) -> Value {
    let circumstances = Circumstances { place, running: &[], now };
    serde_json::from_str(&showing_message(fixture, &circumstances, 20).unwrap()).unwrap()
}

/// What holds at a second by the agenda of a message, as a controller steps it.
fn stepped(message: &Value, second: i64) -> &str {
    let changes = message["agenda"].as_array().unwrap();
    let held = changes.iter().rev().find(|change| change[0].as_i64().unwrap() <= second).expect("it covers the second");
    held[1].as_str().unwrap()
}

fn is_dark(message: &Value, second: i64) -> bool {
    let covers = |hours: &Value| hours[0].as_i64().unwrap() <= second && second < hours[1].as_i64().unwrap();
    message["dark"].as_array().unwrap().iter().any(covers)
}

#[test]
fn agenda_and_dark_hours_are_those_of_the_almanac_at_every_minute_of_two_days() {
    let list = [("sunset", "evening"), ("22:45", "late"), ("dawn", "dark"), ("02:30", "late"), ("sunrise", "dark")];
    let (document, timetable) = lines(&list);
    let hall = fixture("hall", "strip", json!({"floor": 8, "looks": looks(), "timetable": document}));
    let plan = Plan { timetable, keeps_floor: true, ..Plan::default() };
    let place = canal();
    let scene = Scene { plan: &plan, place: Some(&place), edited_at: hall.desired.at, running: &[] };
    // a plain day, both nights of a change of clocks, and an instant between two seconds
    for now in ["2026-12-01T12:00:00Z", "2027-03-27T18:00:00Z", "2027-10-30T18:00:00Z", "2026-12-24T21:44:59.500Z"] {
        let now = time(now);
        let message = desired(&hall, Some(&place), now);
        let then = almanac::showing(&scene, now);
        assert_eq!(message["because"], then.because.as_str());
        assert_eq!(message["until"].as_i64(), then.until.map(seconds_up));
        assert_eq!(message["now_ms"], now.as_millisecond());
        for second in (0..2 * DAY).step_by(60).chain([1, 2 * DAY - 1]) {
            let second = now.as_second() + second;
            let at = Timestamp::from_second(second).unwrap();
            let expected = almanac::showing(&scene, at.max(now));
            assert_eq!(stepped(&message, second), expected.look, "{at}");
            assert_eq!(is_dark(&message, second), expected.floored, "{at}");
        }
    }
}

#[test]
fn an_agenda_has_no_steps_that_change_nothing_and_at_most_32() {
    // two entries of one look, and nights that begin and end: none of them is a change to who steps from look to look
    let (document, _) = lines(&[("14:00", "late"), ("20:00", "late"), ("23:00", "evening")]);
    let hall = fixture("hall", "strip", json!({"floor": 8, "looks": looks(), "timetable": document}));
    let place = canal();
    let message = desired(&hall, Some(&place), time("2026-12-01T12:30:00Z"));
    let names: Vec<_> = message["agenda"].as_array().unwrap().iter().map(|change| change[1].clone()).collect();
    assert_eq!(names, ["evening", "late", "evening", "late", "evening"]);

    let starts: Vec<String> = (0..64).map(|n| format!("{:02}:{:02}", n / 3, n % 3 * 20)).collect();
    let list: Vec<_> =
        starts.iter().enumerate().map(|(n, start)| (start.as_str(), ["late", "evening"][n % 2])).collect();
    let (document, timetable) = lines(&list);
    let hall = fixture("hall", "strip", json!({"looks": looks(), "timetable": document}));
    let now = time("2026-12-01T05:00:00Z");
    let message = desired(&hall, Some(&place), now);
    assert_eq!(message["agenda"].as_array().unwrap().len(), 32);
    // the first of them is what holds, and the others come without a gap
    let plan = Plan { timetable, ..Plan::default() };
    let scene = Scene { plan: &plan, place: Some(&place), edited_at: hall.desired.at, running: &[] };
    let last = message["agenda"][31][0].as_i64().unwrap();
    for second in (now.as_second()..last).step_by(60) {
        assert_eq!(stepped(&message, second), almanac::showing(&scene, Timestamp::from_second(second).unwrap()).look);
    }
}

#[test]
fn dark_hours_are_told_for_a_floor_alone() {
    let hall = fixture("hall", "strip", json!({"looks": looks(), "default": "late"}));
    let place = canal();
    assert_eq!(desired(&hall, Some(&place), hall.desired.at).get("dark"), None);
    let hall = fixture("hall", "strip", json!({"floor": 1}));
    let (now, end) = (hall.desired.at, later(hall.desired.at, 2 * DAY));
    // without a place every hour counts as dark
    assert_eq!(desired(&hall, None, now)["dark"], json!([[now.as_second(), end.as_second()]]));
    let north = Place::new(78.2, 15.6, "Arctic/Longyearbyen").unwrap();
    assert_eq!(desired(&hall, Some(&north), now)["dark"], json!([[now.as_second(), end.as_second()]]), "polar night");
    assert_eq!(desired(&hall, Some(&north), time("2026-06-21T12:00:00Z"))["dark"], json!([]), "polar day");
}

#[test]
fn a_floor_is_told_while_it_is_kept() {
    let hall =
        fixture("hall", "strip", json!({"floor": 50, "default": "late", "looks": {"late": {"colours": ["lime"]}}}));
    let place = canal();
    let night = showing(&hall, Some(&place), time("2026-11-25T20:00:00Z"));
    // Source: CIE 15: L* 50 is 12071 of 65535
    assert_eq!(night["floor"], json!([0, 12_071, 0]));
    assert_eq!((&night["look"], &night["because"]), (&json!("late"), &json!("default")));
    let sunrise = night["until"].as_i64().unwrap();
    let at = |second| showing(&hall, Some(&place), Timestamp::from_second(second).unwrap());
    assert!(at(sunrise - 1).get("floor").is_some());
    assert_eq!(at(sunrise).get("floor"), None);
}

#[test]
fn a_kind_without_looks_has_neither_showing_nor_changes() {
    let lamp = fixture("lamp", "free", json!({"floor": 8, "timetable": 3}));
    let now = lamp.desired.at;
    let circumstances = Circumstances { place: None, running: &[], now };
    assert_eq!(showing_message(&lamp, &circumstances, 20), None);
    let message = desired(&lamp, None, now);
    let members: Vec<&str> = message.as_object().unwrap().keys().map(String::as_str).collect();
    assert_eq!((members, &message["agenda"]), (vec!["agenda", "document", "now_ms", "rev"], &json!([])));
}

#[test]
fn a_running_link_is_told_as_the_reason() {
    let hall = fixture("hall", "strip", json!({"looks": looks(), "default": "late"}));
    let now = hall.desired.at;
    let until = Some(later(now, 60));
    let running = [Running { link: "stairs".into(), look: "evening".into(), since: now, until }];
    let circumstances = Circumstances { place: None, running: &running, now };
    let message: Value = serde_json::from_str(&desired_message(&hall, &circumstances)).unwrap();
    let second = now.as_second();
    assert_eq!(message["agenda"], json!([[second, "evening"], [second + 60, "late"]]));
    assert_eq!((&message["because"], &message["until"]), (&json!("link"), &json!(second + 60)));
    let shown: Value = serde_json::from_str(&showing_message(&hall, &circumstances, 20).unwrap()).unwrap();
    assert_eq!((&shown["because"], &shown["look"]), (&json!("link"), &json!("evening")));
}

/// The longest topic: a prefix of 24 bytes, an id of 63.
const LONGEST_TOPIC: usize = 24 + 1 + 63 + "/showing".len();

#[test]
fn the_longest_showing_of_a_strip_keeps_its_bound_with_all_its_colours() {
    let white = ["white"; 8];
    let motif = json!({"name": "unroll", "seconds": 3600, "width": 1, "softness": 1, "toward": "start", "seed": 65535});
    let name = "\"".repeat(64);
    let look = json!({"colours": white, "motif": motif, "span": [0.99, 1]});
    let (document, _) = lines(&[("22:45", &name), ("23:00", "dark")]);
    let desired =
        json!({"floor": 100, "fade": 3600, "default": name, "looks": {(name.clone()): look}, "timetable": document});
    let id = "x".repeat(63);
    let mut fixture = fixture(&id, "strip", desired);
    let place = canal();
    let now = time("2026-11-25T21:50:00Z");
    let circumstances = Circumstances { place: Some(&place), running: &[], now };
    let told = |fixture: &Fixture, topic: usize| -> (usize, Value) {
        let text = showing_message(fixture, &circumstances, topic).unwrap();
        (text.len() + topic, serde_json::from_str(&text).unwrap())
    };
    let usual = "fixtures/hall/showing".len();
    let (bytes, message) = told(&fixture, usual);
    assert!(bytes <= SHOWING_MAX && message["look"] != "" && message["because"] == "timetable", "{bytes} {message}");
    // a billion revisions, and the longest topic
    Arc::make_mut(&mut fixture.desired).revision = Revision::new(9_999_999_999);
    let (bytes, message) = told(&fixture, LONGEST_TOPIC);
    assert!(bytes <= SHOWING_MAX, "{bytes}");
    assert_eq!(message["channels"], json!(vec![[65_535, 65_535, 65_535]; 8]), "no colour is given up for it");
    assert_eq!(message["floor"], json!([65_535, 65_535, 65_535]));
    assert_eq!((message.get("because"), message["until"].is_i64()), (None, true));
}

#[test]
fn what_does_not_fit_is_left_out_in_its_order_and_colours_last() {
    let motif = light_motif();
    let channels: Vec<Vec<u16>> = (0..8).map(|n| vec![60_000 + n * 700; 4]).collect();
    let compiled = Compiled { channels, span: [10_000, 65_535], motif, floor: Some(vec![65_535; 4]) };
    let showing = Showing {
        look: "evening".into(),
        because: Because::Timetable,
        since: None,
        until: Some(time("2026-11-25T22:00:00Z")),
        floored: true,
        link: None,
        entry: Some(0),
    };
    let shown = ShownLook { showing, compiled, fade_ms: 3_600_000 };
    let beginning = "{\"rev\":9999999999,\"now_ms\":1795600000000,\"look\":\"";
    let mut seen = Vec::new();
    for most in (150..=500).rev() {
        let text = fitted(beginning, shown.clone(), most);
        let message: Value = serde_json::from_str(&text).unwrap();
        assert!(text.len() <= most || message["channels"].as_array().unwrap().len() == 1, "{most}: {text}");
        assert_eq!(message["floor"], json!([65_535, 65_535, 65_535, 65_535]), "never the floor");
        let [first, .., last] = message["channels"].as_array().unwrap().as_slice() else { continue };
        assert_eq!((first, last), (&json!([60_000, 60_000, 60_000, 60_000]), &json!([64_900, 64_900, 64_900, 64_900])));
        let has = |name: &str| message.get(name).is_some();
        let kept = (has("because"), has("until"), message["channels"].as_array().unwrap().len());
        if seen.last() != Some(&kept) {
            seen.push(kept);
        }
    }
    let bare = (2..=8).rev().map(|colours| (false, false, colours));
    assert_eq!(seen, [(true, true, 8), (false, true, 8)].into_iter().chain(bare).collect::<Vec<_>>());
    // in four channels, with the longest topic
    let text = fitted(beginning, shown, SHOWING_MAX - LONGEST_TOPIC);
    assert!(text.len() + LONGEST_TOPIC <= SHOWING_MAX);
    let message: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(message["channels"].as_array().unwrap().len(), 7);
}

/// The motif that is longest to write.
fn light_motif() -> light::CompiledMotif {
    light::CompiledMotif {
        name: light::MotifName::Unroll,
        period_ms: 3_600_000,
        width: 65_535,
        softness: 65_535,
        toward: light::Toward::Start,
        seed: 65_535,
    }
}
