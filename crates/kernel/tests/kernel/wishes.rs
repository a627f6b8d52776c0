//! Wishes: the fixture's own button.

use kernel::{Message, Publish, Rejection};
use serde_json::{Value, json};

use crate::rig::{Rig, assert_nothing_changes, pointer_of, revision};

fn wish(n: u64, lit: Option<bool>, owners_override: Option<Option<Value>>) -> Message {
    Message::Wish { n, lit, owners_override }
}

#[test]
fn a_wish_is_an_edit_like_any_other() {
    let mut rig = Rig::strip();
    let decision = rig.hear(wish(3, Some(false), None)).unwrap();
    assert_eq!((decision.answer.revision, decision.publish), (revision(2), Publish::State));
    assert_eq!(rig.desired()["lit"], false);
    assert_eq!(rig.fixture().life.wish_n, Some(3));
    assert_eq!(rig.fixture().life.heard, Some(rig.now));
}

#[test]
fn a_wish_is_granted_once() {
    let mut rig = Rig::strip();
    rig.hear(wish(3, Some(false), None)).unwrap();
    rig.merge(json!({"lit": true})).unwrap();
    for n in [3, 2, 0] {
        rig.later(1);
        assert_nothing_changes(&rig.hear(wish(n, Some(false), None)).unwrap());
    }
    assert_eq!(rig.desired()["lit"], true, "the owner's later edit stands");
    rig.hear(wish(4, Some(false), None)).unwrap();
    assert_eq!(rig.desired()["lit"], false);
}

#[test]
fn a_wish_with_override_null_releases() {
    let mut rig = Rig::strip();
    rig.hear(wish(1, None, Some(Some(json!({"look": "greet"}))))).unwrap();
    assert_eq!(rig.desired()["override"], json!({"look": "greet"}));
    rig.hear(wish(2, Some(true), Some(None))).unwrap();
    assert_eq!((rig.desired().get("override"), &rig.desired()["lit"]), (None, &json!(true)));
    let decision = rig.hear(wish(3, None, Some(None))).unwrap();
    assert!(decision.entries.is_empty(), "there was none to release");
    assert_eq!(rig.fixture().life.wish_n, Some(3), "but the wish is taken");
    assert!(decision.lived, "and that is kept");
}

#[test]
fn until_null_holds_the_override_until_it_is_released() {
    let mut rig = Rig::strip();
    rig.hear(wish(1, None, Some(Some(json!({"look": "greet", "until": null}))))).unwrap();
    assert_eq!(rig.desired()["override"], json!({"look": "greet"}));
}

#[test]
fn a_wish_that_the_rules_refuse_changes_nothing_and_its_number_is_not_used_up() {
    let mut rig = Rig::strip();
    rig.hear(wish(1, Some(true), None)).unwrap();
    for (wished, place) in [
        (json!({"look": "nowhere"}), "/override/look"),
        (json!({"look": "greet", "until": "2020-01-01T00:00:00Z"}), "/override/until"),
        (json!({"look": "greet", "for": null}), "/override/for"),
    ] {
        assert_eq!(pointer_of(rig.hear(wish(2, Some(false), Some(Some(wished))))), place);
    }
    assert_eq!((rig.rev(), rig.fixture().life.wish_n), (2, Some(1)));
    assert_eq!(rig.desired()["lit"], true, "nor was its other half granted");
    rig.hear(wish(2, Some(false), None)).unwrap();
    assert_eq!(rig.rev(), 3);
}

#[test]
fn a_wish_for_a_kind_without_looks_is_refused() {
    for kind in ["free", "kettle-lamp"] {
        let mut rig = Rig::of(kind);
        let rejection = rig.hear(wish(1, Some(false), None)).unwrap_err();
        assert!(matches!(rejection, Rejection::NoLooks { .. }), "{rejection:?}");
        assert_eq!((rig.rev(), rig.fixture().life.wish_n), (0, None));
    }
}

#[test]
fn a_boot_lets_the_numbers_of_wishes_begin_anew() {
    let mut rig = Rig::strip();
    rig.hear(wish(70, Some(false), None)).unwrap();
    rig.boot(2);
    rig.hear(wish(1, Some(true), None)).unwrap();
    assert_eq!(rig.desired()["lit"], true);
}
