//! Overrides: set, ended, cleared.

use kernel::{Command, Edit, Paper, Rejection};
use serde_json::{Value, json};

use crate::rig::{Rig, assert_nothing_changes, id, loaded, pointer_of, revision, time};

const END: &str = "2026-11-25T22:00:00Z";

fn overridden() -> Rig {
    let mut rig = Rig::strip();
    rig.edit(Paper::Desired, Edit::Member("override", Some(json!({"look": "greet", "until": END})))).unwrap();
    rig
}

fn look_shown(rig: &Rig) -> String {
    rig.shown().showing.look
}

#[test]
fn an_override_shows_until_its_end_and_is_cleared_by_a_tick_from_then_on() {
    let mut rig = overridden();
    assert_eq!(rig.next(), Some(time(END)));
    rig.now = time("2026-11-25T21:59:59.999Z");
    assert_eq!(look_shown(&rig), "greet");
    assert!(!rig.override_has_ended());
    assert_nothing_changes(&rig.tick());
    rig.now = time(END);
    assert_eq!(look_shown(&rig), "evening");
    let decision = rig.tick();
    assert_eq!(decision.answer.revision, revision(3));
    assert_eq!(decision.answer.changed.len(), 2, "look and until");
    assert_eq!(rig.desired().get("override"), None);
    assert_eq!(rig.next(), None);
    assert_nothing_changes(&rig.tick());
}

#[test]
fn an_override_that_ended_before_the_start_is_cleared_and_a_glance_at_time_keeps_nothing() {
    let mut rig = overridden();
    assert!(rig.fixture().outlook.get().is_some(), "what was read to decide is kept for showing");
    rig.now = time("2026-11-25T21:00:00Z");
    rig.fixture = rig.fixture.as_ref().map(loaded);
    assert_eq!(rig.next(), Some(time(END)));
    assert_nothing_changes(&rig.tick());
    assert!(rig.fixture().outlook.get().is_none());
    rig.now = time(END);
    assert!(rig.override_has_ended());
    assert_eq!(rig.tick().answer.revision, revision(3));
}

#[test]
fn an_override_without_end_is_never_cleared_by_a_tick() {
    for held in [json!({"look": "greet"}), json!({"look": "greet", "until": "next-change"})] {
        let mut rig = Rig::strip();
        rig.edit(Paper::Desired, Edit::Member("override", Some(held))).unwrap();
        rig.later(400 * 86_400);
        assert_nothing_changes(&rig.tick());
    }
}

#[test]
fn a_tick_on_a_kind_without_looks_changes_nothing() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"override": {"look": "x", "until": "2001-01-01T00:00:00Z"}})).unwrap();
    assert_nothing_changes(&rig.tick());
}

#[test]
fn an_override_that_would_end_in_the_past_is_refused_at_the_very_instant_too() {
    let mut rig = Rig::strip();
    rig.now = time(END);
    for until in ["2026-11-25T22:00:00Z", "2026-11-25T21:59:59Z", "2026-11-25T23:00:00+01:00"] {
        let result = rig.edit(Paper::Desired, Edit::Member("override", Some(json!({"look": "greet", "until": until}))));
        assert_eq!(pointer_of(result), "/override/until");
    }
    rig.edit(
        Paper::Desired,
        Edit::Member("override", Some(json!({"look": "greet", "until": "2026-11-25T22:00:00.001Z"}))),
    )
    .unwrap();
}

#[test]
fn an_override_that_has_ended_but_is_not_cleared_yet_stands_in_nobodys_way() {
    let mut rig = overridden();
    rig.now = time("2026-11-26T08:00:00Z");
    rig.merge(json!({"fade": 3})).unwrap();
    // the same override sent again, as someone does who puts back the whole document read before
    let whole = rig.desired();
    rig.edit(Paper::Desired, Edit::Replace(whole)).unwrap();
    rig.merge(json!({"override": {"look": "evening"}})).expect_err("it is another override, set to end in the past");
    assert_eq!(rig.tick().answer.revision, revision(4));
}

#[test]
fn the_same_ended_override_in_another_spelling_is_not_news() {
    let mut rig = Rig::strip();
    let held = |intensity: Value| json!({"look": {"colours": ["gold"], "intensity": intensity}, "until": END});
    rig.edit(Paper::Desired, Edit::Member("override", Some(held(json!(60))))).unwrap();
    rig.now = time("2026-11-26T08:00:00Z");
    assert_nothing_changes(&rig.edit(Paper::Desired, Edit::Member("override", Some(held(json!(60.0))))).unwrap());
}

#[test]
fn undo_leaves_out_an_override_that_has_ended_since() {
    let mut rig = overridden();
    let with_override = rig.desired();
    rig.merge(json!({"override": null, "fade": 3})).unwrap();
    let undo = |from, target: &Value| Command::Undo { id: id(), from: revision(from), target: target.clone() };
    // while it still holds, it comes back
    let mut before = Rig::empty();
    before.fixture.clone_from(&rig.fixture);
    before.now = time("2026-11-25T21:00:00Z");
    before.tell(undo(3, &with_override)).unwrap();
    assert_eq!(before.desired(), with_override);
    // afterwards, the rest of that state does
    rig.now = time(END);
    rig.tell(undo(3, &with_override)).unwrap();
    assert_eq!((rig.desired().get("override"), rig.desired().get("fade")), (None, None));
    assert_eq!(rig.desired()["default"], "evening");
}

#[test]
fn only_a_strip_has_overrides() {
    let mut rig = Rig::of("kettle-lamp");
    rig.merge(json!({"glow": 1})).unwrap();
    for value in [Some(json!({"look": "greet"})), None] {
        let rejection = rig.edit(Paper::Desired, Edit::Member("override", value)).unwrap_err();
        let Rejection::NoLooks { kind, .. } = rejection else { panic!("{rejection:?}") };
        assert_eq!(kind.as_str(), "kettle-lamp");
    }
    assert!(rig.fixture().outlook().shown(None, &[], rig.now).is_none());
    assert!(rig.fixture().outlook().agenda(None, &[], rig.now, rig.now).is_empty());
}

#[test]
fn an_override_of_its_own_look_shows_that_look() {
    let mut rig = Rig::strip();
    let own = json!({"look": {"colours": ["white"], "intensity": 100}, "until": END});
    rig.edit(Paper::Desired, Edit::Member("override", Some(own))).unwrap();
    let shown = rig.shown();
    assert_eq!(shown.showing.look, "override");
    assert_eq!(shown.showing.until, Some(time(END)));
    assert_eq!(shown.compiled.channels, [vec![65535, 65535, 65535]]);
}
