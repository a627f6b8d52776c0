//! The forms that programs rely on.

use serde_json::{Value, from_value, json, to_value};

use super::*;

#[test]
fn a_problem_has_the_members_of_rfc_9457_and_leaves_out_what_it_has_not() {
    let problem = Problem {
        kind: "/problems/stale".into(),
        title: "t".into(),
        status: 412,
        detail: "d".into(),
        pointer: None,
        advice: None,
        errors: Vec::new(),
    };
    let written = json!({"type":"/problems/stale","title":"t","status":412,"detail":"d"});
    assert_eq!(to_value(&problem).unwrap(), written);
    assert_eq!(from_value::<Problem>(written).unwrap(), problem);
}

#[test]
fn words_are_written_as_the_contract_has_them() {
    let words = |value: Value| value.as_str().unwrap().to_owned();
    assert_eq!(words(to_value(Standing::InStep).unwrap()), "in-step");
    assert_eq!(words(to_value(Standing::NeverHeard).unwrap()), "never-heard");
    assert_eq!(words(to_value(BootReason::PowerOn).unwrap()), "power-on");
    assert_eq!(words(to_value(Because::Timetable).unwrap()), "timetable");
    assert_eq!(words(to_value(Scope::Admin).unwrap()), "admin");
    assert_eq!(words(to_value(Way::Mqtt).unwrap()), "mqtt");
    assert_eq!(words(to_value(Paper::Desired).unwrap()), "desired");
}

#[test]
fn an_answers_document_is_handed_on_byte_for_byte() {
    let text = r#"{"rev":2,"changed":[],"advice":[],"document":{"b":1.0,"a":"é"}}"#;
    let answer: EditAnswer = serde_json::from_str(text).unwrap();
    assert_eq!(answer.document.get(), r#"{"b":1.0,"a":"é"}"#);
    assert_eq!(serde_json::to_string(&answer).unwrap(), text);
}

#[test]
fn an_override_takes_a_name_or_a_look_and_null_or_no_end() {
    let read = |value: Value| from_value::<OverrideRequest>(value).unwrap();
    assert_eq!(read(json!({"look":"greet"})).look, InlineOrNamedLook::Named("greet".into()));
    let own = read(json!({"look":{"kelvin":2400.0},"until":null}));
    assert!(matches!(own.look, InlineOrNamedLook::Inline(look) if look.kelvin == Some(2400.0)));
    assert_eq!(own.until, None);
}

#[test]
fn the_example_of_a_strip_is_read_as_it_is_described() {
    let example = json!({
        "lit": true, "default": "evening", "fade": 2.0, "floor": 8.0,
        "looks": {"greet": {"colours": ["wheat", "gold"], "intensity": 60.0,
            "motif": {"name": "unroll", "seconds": 1.5, "toward": "start"}}},
        "timetable": [{"start": "sunset", "look": "frost", "dates": ["12-01", "01-06"], "not_before": "16:30"}],
        "override": {"look": "greet", "until": "2026-11-25T22:00:00Z"}
    });
    let strip: StripDocument = from_value(example.clone()).unwrap();
    assert_eq!(to_value(strip).unwrap(), example);
}
