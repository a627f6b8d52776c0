//! The strip's document held against the example and the rules of the contract.

use serde_json::json;

use super::*;

/// The example of the contract's section on documents.
fn example() -> Value {
    json!({
        "lit": true, "default": "evening", "fade": 2.0, "floor": 8,
        "looks": {
            "evening": {"colours": ["#3fb6a8"], "intensity": 70},
            "late": {"kelvin": 2400, "intensity": 22, "span": [0.0, 0.2]},
            "greet": {"colours": ["wheat", "gold"], "intensity": 60, "motif": {"name": "unroll", "seconds": 1.5, "toward": "start"}},
            "frost": {"colours": ["#cfe8ff"]}
        },
        "timetable": [
            {"start": "sunset", "shift": "-PT30M", "look": "evening"},
            {"start": "22:45", "days": ["mon", "tue", "wed", "thu", "sun"], "look": "late"},
            {"start": "23:45", "days": ["fri", "sat"], "look": "late"},
            {"start": "dawn", "look": "dark"},
            {"start": "sunset", "look": "frost", "dates": ["12-01", "01-06"], "not_before": "16:30"}
        ],
        "override": {"look": "greet", "until": "2026-11-25T22:00:00Z"}
    })
}

#[test]
fn the_example_of_the_contract_is_accepted_and_nothing_is_to_be_said_of_it() {
    let (strip, advice) = Strip::read(&example()).unwrap();
    assert_eq!(advice, []);
    assert!(strip.plan().keeps_floor);
    assert_eq!(strip.looks.len(), 4);
    assert_eq!(strip.timetable.entries().len(), 5);
    assert!(Strip::read(&json!({})).is_ok());
}

/// Puts a value at a pointer of the example and reads it.
fn with(pointer: &str, value: Value) -> Result<Vec<Advice>, Vec<Finding>> {
    let mut document = example();
    // `add` would put an element in before the one that is there
    let op = if document.pointer(pointer).is_some() { "replace" } else { "add" };
    let operations = json!([{"op": op, "path": pointer, "value": value}]);
    document = document::apply(&document, &operations).unwrap();
    Strip::read(&document).map(|(_, advice)| advice)
}

#[test]
fn each_fault_names_its_place_and_says_what_to_write() {
    for (pointer, value, place) in [
        ("/lit", json!("yes"), "/lit"),
        ("/default", json!("nowhere"), "/default"),
        ("/default", json!(3), "/default"),
        ("/fade", json!(-1), "/fade"),
        ("/fade", json!("2"), "/fade"),
        ("/floor", json!(101), "/floor"),
        ("/looks", json!([]), "/looks"),
        ("/looks/dark", json!({"colours": ["red"]}), "/looks/dark"),
        ("/looks/override", json!({"colours": ["red"]}), "/looks/override"),
        ("/looks/late", json!({}), "/looks/late"),
        ("/looks/late", json!({"colours": ["red"], "kelvin": 2000}), "/looks/late"),
        ("/looks/late/kelvin", json!(999), "/looks/late"),
        ("/looks/late/intensity", json!(100.5), "/looks/late/intensity"),
        ("/looks/late/span", json!([0.2, 0.1]), "/looks/late/span"),
        ("/looks/late/span", json!([0.2]), "/looks/late/span"),
        ("/looks/evening/colours", json!([]), "/looks/evening/colours"),
        ("/looks/evening/colours", json!(["a", "b", "c", "d", "e", "f", "g", "h", "i"]), "/looks/evening/colours"),
        ("/looks/evening/colours/0", json!("blurple-ish"), "/looks/evening/colours/0"),
        ("/looks/greet/motif/name", json!("spin"), "/looks/greet/motif/name"),
        ("/looks/greet/motif", json!({"seconds": 1}), "/looks/greet/motif/name"),
        ("/looks/greet/motif/seconds", json!(0.1), "/looks/greet/motif/seconds"),
        ("/looks/greet/motif/toward", json!("up"), "/looks/greet/motif/toward"),
        ("/looks/greet/motif/width", json!(1.5), "/looks/greet/motif/width"),
        ("/looks/greet/motif/seed", json!(-1), "/looks/greet/motif/seed"),
        ("/timetable", json!({}), "/timetable"),
        ("/timetable/0/look", json!("nowhere"), "/timetable/0/look"),
        ("/timetable/0/start", json!("24:00"), "/timetable/0/start"),
        ("/timetable/0/start", json!("noonish"), "/timetable/0/start"),
        ("/timetable/0/shift", json!("PT13H"), "/timetable/0/shift"),
        ("/timetable/1/days/0", json!("monday"), "/timetable/1/days"),
        ("/timetable/1/days", json!([]), "/timetable/1/days"),
        ("/timetable/4/dates/0", json!("13-01"), "/timetable/4/dates/0"),
        ("/timetable/4/dates", json!(["12-01"]), "/timetable/4/dates"),
        ("/timetable/4/not_before", json!("25:00"), "/timetable/4/not_before"),
        ("/timetable/4/not_after", json!("12:00"), "/timetable/4"),
        ("/timetable/0/weekday", json!("mon"), "/timetable/0/weekday"),
        ("/timetable/0", json!({"look": "late"}), "/timetable/0/start"),
        ("/override", json!("greet"), "/override"),
        ("/override/look", json!("nowhere"), "/override/look"),
        ("/override/until", json!("tomorrow"), "/override/until"),
        ("/override/since", json!("now"), "/override/since"),
    ] {
        let findings = with(pointer, value.clone()).expect_err(&format!("{pointer} {value} was accepted"));
        assert!(findings.iter().any(|f| f.pointer.to_string() == place), "{pointer} {value}: {findings:?}");
        assert!(findings.iter().all(|f| !f.text.is_empty() && !f.advice.is_empty()));
    }
}

#[test]
fn more_than_64_entries_are_refused_at_the_first_that_is_too_many() {
    let entry = json!({"start": "06:00", "look": "late"});
    assert!(with("/timetable", Value::Array(vec![entry.clone(); 64])).is_ok());
    let findings = with("/timetable", Value::Array(vec![entry; 65])).unwrap_err();
    assert_eq!(findings[0].pointer.to_string(), "/timetable/64");
}

#[test]
fn unknown_members_are_kept_and_flagged() {
    let advice = with("/sparkle", json!(7)).unwrap();
    assert!(advice.iter().any(|advice| advice.pointer.to_string() == "/sparkle"), "{advice:?}");
}

#[test]
fn all_faults_are_told_at_once() {
    let findings =
        Strip::read(&json!({"lit": 1, "fade": -1, "default": "x", "looks": {"a": {"kelvin": 1}}})).unwrap_err();
    assert_eq!(findings.len(), 4, "{findings:?}");
}

#[test]
fn an_override_of_its_own_look_is_read_and_shown() {
    let document = json!({"override": {"look": {"colours": ["white"], "intensity": 100}}});
    let (strip, _) = Strip::read(&document).unwrap();
    assert_eq!(strip.plan().owners_override.unwrap().look.as_ref(), OVERRIDE);
    assert_eq!(strip.look(OVERRIDE).compile().channels, vec![vec![65535, 65535, 65535]]);
}

#[test]
fn an_override_that_ends_in_the_past_is_refused_and_one_that_ends_later_is_not() {
    let (strip, _) = Strip::read(&example()).unwrap();
    let later: Timestamp = "2027-01-01T00:00:00Z".parse().unwrap();
    let findings = strip.check_override(later).unwrap_err();
    assert_eq!(findings[0].pointer.to_string(), "/override/until");
    let before: Timestamp = "2026-11-25T21:59:59Z".parse().unwrap();
    assert!(strip.check_override(before).is_ok());
}
