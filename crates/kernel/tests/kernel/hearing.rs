//! What fixtures say: boots, reports, events, signs of life.

use kernel::{Edit, Message, Noted, Paper, Publish, Rejection, Standing};
use serde_json::json;

use crate::rig::{Rig, assert_nothing_changes, assert_speaks, revision};

fn event(n: u64) -> Message {
    Message::Event { event: "motion".into(), n }
}

fn in_step() -> Rig {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": true, "fade": 2})).unwrap();
    rig.report(1, None).unwrap();
    assert!(rig.fixture().is_in_step());
    rig
}

#[test]
fn a_boot_takes_back_what_the_controller_has_forgotten() {
    let mut rig = in_step();
    rig.hear(event(41)).unwrap();
    rig.merge(json!({"fade": 3})).unwrap();
    rig.later(5);
    let decision = rig.boot(0);
    assert!(matches!(decision.noted, Some(Noted::Boot(_))));
    assert_eq!(decision.publish, Publish::Nothing, "the answer to a boot is given by who heard it");
    let life = &rig.fixture().life;
    assert_eq!((life.applied, life.applied_at), (revision(0), Some(rig.now)));
    assert_eq!((life.wish_n, life.event_n, life.boots_heard), (None, None, 1));
    assert_eq!(life.heard, Some(rig.now));
    // its numbers begin anew
    assert!(rig.hear(event(1)).unwrap().noted.is_some());
}

#[test]
fn a_boot_holds_what_it_says_that_it_has_but_never_what_was_not_given() {
    let mut rig = in_step();
    for (have, applied) in [(1, 1), (2, 0), ((1 << 53) - 1, 0), (1, 1), (0, 0)] {
        rig.boot(have);
        assert_eq!(rig.fixture().life.applied, revision(applied), "have {have}");
    }
    assert!(!rig.fixture().is_in_step());
    assert_eq!(rig.fixture().life.boot.as_ref().unwrap().have, 0);
    assert_eq!(rig.fixture().life.boots_heard, 5);
}

#[test]
fn a_report_is_merged_and_told_in_history() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": true})).unwrap();
    let decision = rig.report(1, Some(json!({"lit": true, "chip": "x"}))).unwrap();
    assert_eq!(decision.answer.revision, revision(1));
    assert_eq!((decision.rewritten.as_slice(), decision.publish), (&[Paper::Reported][..], Publish::Nothing));
    assert_eq!(decision.entries.len(), 1);
    rig.report(1, Some(json!({"chip": null}))).unwrap();
    assert_eq!(rig.reported(), json!({"lit": true}));
    assert_eq!(rig.fixture().reported.revision, revision(2));
    assert!(rig.fixture().is_in_step());
}

#[test]
fn a_report_without_patch_means_taken_as_given() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": true, "fade": 2})).unwrap();
    rig.report(0, Some(json!({"rssi": -61, "uptime": 5, "old": 1}))).unwrap();
    let decision = rig.report(1, None).unwrap();
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 2, "rssi": -61, "uptime": 5}), "volatile members stay");
    assert_eq!(rig.fixture().delta(), json!({}));
    assert!(rig.fixture().is_in_step());
    assert_eq!(serde_json::from_str::<serde_json::Value>(&decision.entries[0].after).unwrap(), rig.desired());
}

#[test]
fn a_report_without_patch_of_an_earlier_revision_mirrors_nothing() {
    let mut rig = in_step();
    rig.merge(json!({"fade": 3})).unwrap();
    rig.merge(json!({"fade": 4})).unwrap();
    rig.report(2, None).unwrap();
    assert_eq!(rig.fixture().life.applied, revision(2));
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 2}), "what revision 2 was is not known here");
    assert!(!rig.fixture().is_in_step());
}

#[test]
fn a_duplicate_report_changes_nothing() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": true})).unwrap();
    for patch in [Some(json!({"lit": true})), None] {
        rig.report(1, patch.clone()).unwrap();
        let count = rig.fixture().life.count;
        rig.later(1);
        assert_nothing_changes(&rig.report(1, patch).unwrap());
        assert_eq!(rig.fixture().life.count, count);
        assert_eq!(rig.fixture().life.heard, Some(rig.now), "but it was heard");
    }
}

#[test]
fn an_old_report_that_arrives_late_changes_nothing() {
    let mut rig = in_step();
    rig.merge(json!({"fade": 3})).unwrap();
    rig.report(2, Some(json!({"fade": 3}))).unwrap();
    assert_nothing_changes(&rig.report(1, Some(json!({"fade": 2, "stray": 1}))).unwrap());
    assert_nothing_changes(&rig.report(1, None).unwrap());
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 3}));
    assert!(rig.fixture().is_in_step());
}

#[test]
fn a_revision_that_was_never_given_is_refused_and_never_in_step() {
    let mut rig = in_step();
    rig.boot(0);
    let rejection = rig.report(2, Some(json!({"lit": true, "fade": 2}))).unwrap_err();
    assert_eq!(rejection, Rejection::NeverGiven { rev: revision(2), current: revision(1) });
    assert_speaks(&rejection);
    assert_eq!(rig.fixture().life.applied, revision(0));
    assert!(rig.report(u64::MAX, None).is_err());
    // nor does it come true by the revision being given later
    rig.merge(json!({"fade": 3})).unwrap();
    assert!(!rig.fixture().is_in_step());
}

#[test]
fn a_report_that_would_break_a_bound_names_its_place_in_the_message() {
    let mut rig = in_step();
    let rejection = rig.report(1, Some(json!({"a": {"": 1}}))).unwrap_err();
    let Rejection::Message(finding) = &rejection else { panic!("{rejection:?}") };
    assert_eq!(finding.pointer.to_string(), "/patch/a/");
    assert_speaks(&rejection);
    assert!(rig.fixture().is_in_step(), "nothing of it was taken");
}

#[test]
fn volatile_members_change_without_a_row_of_history() {
    let mut rig = in_step();
    rig.report(1, Some(json!({"rssi": -60}))).unwrap();
    let entries = rig.entries.len();
    let held = rig.fixture().reported.clone();
    let decision = rig.report(1, Some(json!({"rssi": -61, "uptime": 9}))).unwrap();
    assert_eq!(decision.rewritten, [Paper::Reported]);
    assert!(!decision.is_empty(), "but the document is written");
    assert_eq!(rig.entries.len(), entries);
    let now = &rig.fixture().reported;
    assert_eq!((now.revision, now.drift), (held.revision, held.drift + 1));
    assert_eq!(rig.reported()["rssi"], -61);
    // with something steady beside it there is one row, without them
    let decision = rig.report(1, Some(json!({"rssi": -70, "chip": "x"}))).unwrap();
    assert_eq!(&*decision.entries[0].patch, r#"{"chip":"x"}"#);
    assert!(!decision.entries[0].after.contains("rssi"));
    assert_eq!(rig.fixture().reported.drift, 0);
}

#[test]
fn volatile_members_do_not_count_for_the_delta_on_neither_side() {
    let mut rig = Rig::of("free");
    rig.edit(Paper::Fixture, Edit::Merge(json!({"volatile": ["/wifi/rssi", "/heat"]}))).unwrap();
    rig.merge(json!({"lit": true, "heat": 20})).unwrap();
    rig.report(1, Some(json!({"lit": true, "wifi": {"rssi": -61}, "heat": 31}))).unwrap();
    assert_eq!(rig.fixture().delta(), json!({}), "neither a volatile member nor the object that held nothing else");
    assert!(rig.fixture().is_in_step());
    rig.report(1, Some(json!({"wifi": {"channel": 6}}))).unwrap();
    assert_eq!(rig.fixture().delta(), json!({"wifi": null}));
    // taken as given, all the same
    rig.report(1, Some(json!({"wifi": {"channel": null}}))).unwrap();
    rig.report(1, None).unwrap();
    assert!(rig.fixture().is_in_step());
    assert_eq!(rig.reported(), json!({"lit": true, "wifi": {"rssi": -61}, "heat": 31}));
}

#[test]
fn naming_other_members_as_volatile_is_told_in_the_history_of_reported() {
    let mut rig = in_step();
    rig.report(1, Some(json!({"rssi": -60, "heat": 30}))).unwrap();
    let revision_before = rig.fixture().reported.revision;
    let decision = rig.edit(Paper::Fixture, Edit::Merge(json!({"volatile": ["/heat"]}))).unwrap();
    assert_eq!(decision.answer.revision, rig.fixture().record_held.revision);
    let entry = decision.entries.iter().find(|entry| entry.paper == Paper::Reported).unwrap();
    assert_eq!((&*entry.patch, &*entry.inverse), (r#"{"heat":null,"rssi":-60}"#, r#"{"heat":30,"rssi":null}"#));
    assert_eq!(rig.fixture().reported.revision, revision_before.next());
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 2, "rssi": -60, "heat": 30}), "the document itself stays");
}

#[test]
fn an_event_is_taken_once_and_in_order() {
    let mut rig = Rig::of("strip");
    assert!(matches!(rig.hear(event(5)).unwrap().noted, Some(Noted::Event { n: 5, .. })));
    for old in [5, 4, 0] {
        rig.later(1);
        assert_nothing_changes(&rig.hear(event(old)).unwrap());
        assert_eq!(rig.fixture().life.event_n, Some(5));
    }
    assert!(rig.hear(event(9)).unwrap().noted.is_some(), "numbers may be left out: messages get lost");
    assert_eq!(rig.rev(), 0, "an event is no edit");
}

#[test]
fn an_ask_is_a_sign_of_life_and_nothing_else() {
    let mut rig = in_step();
    rig.later(1);
    assert_nothing_changes(&rig.hear(Message::Ask { have: 1 }).unwrap());
    assert_eq!(rig.fixture().life.heard, Some(rig.now));
    assert!(rig.fixture().is_in_step(), "who asks has not booted");
}

#[test]
fn who_asks_and_holds_nothing_has_applied_nothing() {
    let mut rig = in_step();
    assert!(rig.hear(Message::Ask { have: 0 }).unwrap().lived);
    assert!(!rig.fixture().is_in_step());
    assert_nothing_changes(&rig.hear(Message::Ask { have: 0 }).unwrap());
}

#[test]
fn who_asks_and_holds_what_was_never_given_is_told() {
    let mut rig = in_step();
    let rejection = rig.hear(Message::Ask { have: 2 }).unwrap_err();
    assert_eq!(rejection, Rejection::NeverGiven { rev: revision(2), current: revision(1) });
}

#[test]
fn the_first_report_after_a_boot_with_nothing_begins_from_nothing() {
    let mut rig = in_step();
    rig.report(1, Some(json!({"chip": "old"}))).unwrap();
    rig.boot(0);
    rig.report(1, Some(json!({"lit": true}))).unwrap();
    assert_eq!(rig.reported(), json!({"lit": true}), "what it does not name, it does not have");
    rig.report(1, Some(json!({"fade": 2}))).unwrap();
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 2}), "from then on patches add up");
    // one that kept its state adds to it
    rig.boot(1);
    rig.report(1, Some(json!({"chip": "new"}))).unwrap();
    assert_eq!(rig.reported(), json!({"lit": true, "fade": 2, "chip": "new"}));
}

#[test]
fn the_first_message_ever_is_worth_writing_and_counts() {
    let mut rig = Rig::of("strip");
    let count = rig.fixture().life.count;
    let decision = rig.hear(Message::Ask { have: 0 }).unwrap();
    assert!(decision.lived);
    assert_ne!(rig.fixture().life.count, count, "its standing changed, so must its entity tag");
    assert!(!rig.hear(Message::Ask { have: 0 }).unwrap().lived);
}

#[test]
fn alive_and_its_will_are_told_once_each() {
    let mut rig = in_step();
    assert!(rig.hear(Message::Alive { alive: true }).unwrap().lived);
    rig.later(1);
    let since = rig.fixture().life.alive_at;
    assert_nothing_changes(&rig.hear(Message::Alive { alive: true }).unwrap());
    assert_eq!(rig.fixture().life.alive_at, since);
    let heard = rig.fixture().life.heard;
    rig.later(60);
    assert!(rig.hear(Message::Alive { alive: false }).unwrap().lived);
    assert_eq!(Standing::of(rig.fixture()), Standing::Silent);
    assert_eq!(rig.fixture().life.heard, heard, "a will is the broker's word, not the fixture's");
    assert_nothing_changes(&rig.hear(Message::Alive { alive: false }).unwrap());
    rig.hear(Message::Alive { alive: true }).unwrap();
    assert_eq!(Standing::of(rig.fixture()), Standing::InStep);
}

#[test]
fn whatever_a_silent_fixture_says_it_is_back() {
    for message in [
        Message::boot(b"{\"have\":1}").unwrap(),
        Message::Ask { have: 1 },
        Message::Report { rev: 1, patch: None },
        Message::Report { rev: 0, patch: None },
        event(1),
        Message::Wish { n: 1, lit: Some(false), owners_override: None },
        Message::Wish { n: 2, lit: None, owners_override: Some(None) },
    ] {
        let mut rig = Rig::strip();
        rig.report(1, None).unwrap();
        rig.hear(Message::Alive { alive: false }).unwrap();
        rig.later(1);
        let decision = rig.hear(message.clone()).unwrap();
        assert!(decision.lived, "{message:?}");
        assert_eq!(rig.fixture().life.alive, Some(true), "{message:?}");
        assert_eq!(rig.fixture().life.alive_at, Some(rig.now), "{message:?}");
    }
}

/// A fixture whose house was restored from a backup of before what it holds.
fn doubted() -> Rig {
    let mut rig = in_step();
    let fixture = rig.fixture.as_mut().unwrap();
    (fixture.life.applied, fixture.life.fresh, fixture.life.doubted) = (revision(0), true, true);
    rig
}

#[test]
fn after_a_restore_no_revision_is_believed_until_the_fixture_holds_nothing() {
    let mut rig = doubted();
    assert!(matches!(rig.report(1, None), Err(Rejection::NeverGiven { .. })));
    assert!(matches!(rig.hear(Message::Ask { have: 1 }), Err(Rejection::NeverGiven { .. })));
    rig.boot(1);
    assert_eq!((rig.fixture().life.applied, rig.fixture().life.doubted), (revision(0), true));
    assert!(!rig.fixture().is_in_step());
    rig.hear(Message::Ask { have: 0 }).unwrap();
    rig.report(1, Some(json!({"lit": true, "fade": 2}))).unwrap();
    assert!(rig.fixture().is_in_step());
}

#[test]
fn after_a_restore_a_boot_with_nothing_is_enough() {
    let mut rig = doubted();
    rig.boot(0);
    rig.report(1, Some(json!({"lit": true, "fade": 2}))).unwrap();
    assert!(rig.fixture().is_in_step());
}

#[test]
fn an_older_revision_taken_as_given_says_nothing_about_what_is_reported() {
    let mut rig = in_step();
    rig.merge(json!({"fade": 3})).unwrap();
    rig.boot(0);
    rig.report(1, None).unwrap();
    assert!(rig.fixture().life.fresh, "what it has is not known yet");
    rig.report(2, Some(json!({"lit": true, "fade": 3}))).unwrap();
    assert!(rig.fixture().is_in_step());
}

#[test]
fn what_holds_a_volatile_member_comes_into_history_with_it_and_the_member_never_does() {
    let mut rig = Rig::strip();
    rig.edit(Paper::Fixture, Edit::Merge(json!({"volatile": ["/wifi/rssi"]}))).unwrap();
    let rev = rig.rev();
    let decision = rig.report(rev, Some(json!({"wifi": {"rssi": -61}}))).unwrap();
    assert_eq!((&*decision.entries[0].patch, &*decision.entries[0].inverse), (r#"{"wifi":{}}"#, r#"{"wifi":null}"#));
    assert_eq!(&*decision.entries[0].after, r#"{"wifi":{}}"#);
    let decision = rig.report(rev, Some(json!({"wifi": {"rssi": -62}}))).unwrap();
    assert!(decision.entries.is_empty(), "{:?}", decision.entries);
    let decision = rig.report(rev, Some(json!({"lit": true, "wifi": {"rssi": -63}}))).unwrap();
    assert_eq!((&*decision.entries[0].patch, &*decision.entries[0].inverse), (r#"{"lit":true}"#, r#"{"lit":null}"#));
    assert_eq!(rig.reported(), json!({"lit": true, "wifi": {"rssi": -63}}));
}
