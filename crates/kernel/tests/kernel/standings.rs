//! How a fixture stands, by every path.

use kernel::{Message, Standing};
use serde_json::json;

use crate::rig::Rig;

#[test]
fn standings_follow_what_is_heard_and_what_is_desired() {
    let mut rig = Rig::strip();
    let standing = |rig: &Rig| Standing::of(rig.fixture());
    assert_eq!(standing(&rig), Standing::NeverHeard);
    // a will alone is not the fixture's word
    rig.hear(Message::Alive { alive: false }).unwrap();
    assert_eq!(standing(&rig), Standing::NeverHeard);
    rig.boot(0);
    assert_eq!(standing(&rig), Standing::Behind);
    rig.report(1, None).unwrap();
    assert_eq!(standing(&rig), Standing::InStep);
    rig.merge(json!({"fade": 2})).unwrap();
    assert_eq!(standing(&rig), Standing::Behind);
    // applied, but it reports something else
    rig.report(2, Some(json!({"fade": 1}))).unwrap();
    assert_eq!(standing(&rig), Standing::Behind);
    rig.report(2, Some(json!({"fade": 2}))).unwrap();
    assert_eq!(standing(&rig), Standing::InStep);
    rig.hear(Message::Alive { alive: false }).unwrap();
    assert_eq!(standing(&rig), Standing::Silent);
    // power again: it holds what it had
    rig.boot(2);
    assert_eq!(standing(&rig), Standing::InStep);
    // power again, and it has forgotten
    rig.boot(0);
    assert_eq!(standing(&rig), Standing::Behind);
    rig.report(2, None).unwrap();
    assert_eq!(standing(&rig), Standing::InStep);
}

#[test]
fn the_same_document_reported_under_an_older_revision_is_behind() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1})).unwrap();
    rig.merge(json!({"a": 2})).unwrap();
    rig.report(1, Some(json!({"a": 2}))).unwrap();
    assert_eq!(rig.fixture().delta(), json!({}));
    assert_eq!(Standing::of(rig.fixture()), Standing::Behind);
}

#[test]
fn the_words_of_standings_are_read_back() {
    for standing in Standing::ALL {
        assert_eq!(Standing::read(standing.as_str()), Some(standing));
        assert_eq!(serde_json::to_value(standing).unwrap(), standing.as_str());
        assert_eq!(standing.to_string(), standing.as_str().replace('-', " "));
    }
    assert_eq!(Standing::read("asleep"), None);
}
