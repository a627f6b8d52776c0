//! Edits of the desired document: their forms, conditions, and what makes a revision.

use kernel::{Command, Edit, Paper, Precondition, Publish, Rejection};
use serde_json::{Value, json};

use crate::rig::{Rig, assert_nothing_changes, assert_speaks, findings, id, pointer_of, revision};

#[test]
fn each_change_makes_one_revision_with_the_way_there_and_back() {
    let mut rig = Rig::of("free");
    assert_eq!(rig.rev(), 0);
    let decision = rig.merge(json!({"a": 1, "b": {"c": 2}})).unwrap();
    assert_eq!(decision.answer.revision, revision(1));
    assert_eq!(decision.publish, Publish::State);
    assert_eq!(decision.rewritten, [Paper::Desired]);
    let decision = rig.merge(json!({"a": null, "b": {"d": 3}})).unwrap();
    let [entry] = decision.entries.as_slice() else { panic!("{decision:?}") };
    assert_eq!((entry.paper, entry.revision), (Paper::Desired, revision(2)));
    let read = |text: &str| serde_json::from_str::<Value>(text).unwrap();
    assert_eq!(read(&entry.patch), json!({"a": null, "b": {"d": 3}}));
    assert_eq!(read(&entry.inverse), json!({"a": 1, "b": {"d": null}}));
    assert_eq!(read(&entry.after), json!({"b": {"c": 2, "d": 3}}));
    let places: Vec<String> = decision.answer.changed.iter().map(ToString::to_string).collect();
    assert_eq!(places, ["/a", "/b/d"]);
    assert_eq!(rig.fixture().desired.at, rig.now);
}

#[test]
fn an_edit_that_changes_nothing_makes_no_revision() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1, "b": {"c": [1, 2], "d": "x"}})).unwrap();
    for same in [
        Edit::Merge(json!({})),
        Edit::Merge(json!({"a": 1.0})),
        Edit::Merge(json!({"missing": null})),
        Edit::Merge(json!({"b": {"c": [1.0, 2]}})),
        Edit::Operations(json!([])),
        Edit::Operations(json!([{"op": "replace", "path": "/a", "value": 1e0}])),
        Edit::Operations(json!([{"op": "add", "path": "/z", "value": 1}, {"op": "remove", "path": "/z"}])),
        Edit::Replace(serde_json::from_str(r#"{"b":{"d":"x","c":[1,2]},"a":1.0}"#).unwrap()),
    ] {
        rig.later(1);
        let decision = rig.edit(Paper::Desired, same).unwrap();
        assert_nothing_changes(&decision);
        assert_eq!(decision.answer.revision, revision(1));
    }
    assert_eq!(rig.desired()["a"].to_string(), "1", "the spelling is kept, too");
}

#[test]
fn a_number_that_is_another_number_is_a_change() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1})).unwrap();
    rig.merge(json!({"a": 1.000_000_000_000_000_2})).unwrap();
    rig.merge(json!({"a": true})).unwrap();
    assert_eq!(rig.rev(), 3);
}

#[test]
fn every_form_of_an_edit_is_carried_out() {
    let mut rig = Rig::strip();
    rig.edit(Paper::Desired, Edit::Operations(json!([{"op": "add", "path": "/fade", "value": 2}]))).unwrap();
    assert_eq!(rig.desired()["fade"], 2);
    rig.edit(Paper::Desired, Edit::Member("lit", Some(json!(false)))).unwrap();
    assert_eq!(rig.desired()["lit"], false);
    rig.edit(Paper::Desired, Edit::Member("lit", None)).unwrap();
    assert_eq!(rig.desired().get("lit"), None);
    // a member is put in place whole, not merged
    rig.edit(Paper::Desired, Edit::Member("override", Some(json!({"look": "greet", "until": "next-change"})))).unwrap();
    rig.edit(Paper::Desired, Edit::Member("override", Some(json!({"look": "evening"})))).unwrap();
    assert_eq!(rig.desired()["override"], json!({"look": "evening"}));
    rig.edit(Paper::Desired, Edit::Replace(json!({"fade": 1}))).unwrap();
    assert_eq!(rig.desired(), json!({"fade": 1}));
    assert_eq!(rig.rev(), 7);
}

#[test]
fn a_patch_that_cannot_be_carried_out_is_told_apart_from_one_that_is_none() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1})).unwrap();
    assert_eq!(pointer_of(rig.merge(json!([1]))), "");
    assert_eq!(pointer_of(rig.merge(json!(null))), "");
    let Err(Rejection::Malformed(finding)) = rig.edit(Paper::Desired, Edit::Operations(json!([{"op": "paint"}])))
    else {
        panic!("not malformed")
    };
    assert_eq!(finding.pointer.to_string(), "/0/op");
    // RFC 6902, section 4.2: what is removed must exist
    let gone = json!([{"op": "remove", "path": "/b"}]);
    assert_eq!(pointer_of(rig.edit(Paper::Desired, Edit::Operations(gone))), "/0/path");
    // RFC 6902, section 4.6, and section 5: nothing of a patch is kept when one operation fails
    let tested = json!([{"op": "add", "path": "/b", "value": 1}, {"op": "test", "path": "/a", "value": 2}]);
    let rejection = rig.edit(Paper::Desired, Edit::Operations(tested)).unwrap_err();
    assert!(
        matches!(&rejection, Rejection::TestFailed { pointer, .. } if pointer.to_string() == "/a"),
        "{rejection:?}"
    );
    assert_speaks(&rejection);
    assert_eq!((rig.rev(), rig.desired()), (1, json!({"a": 1})));
    // operations may build what no document may be
    assert_eq!(
        pointer_of(rig.edit(Paper::Desired, Edit::Operations(json!([{"op": "add", "path": "", "value": 3}])))),
        ""
    );
    let null = json!([{"op": "add", "path": "/n", "value": null}]);
    assert_eq!(pointer_of(rig.edit(Paper::Desired, Edit::Operations(null))), "/n");
}

#[test]
fn a_stale_condition_is_refused_whatever_the_command() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1})).unwrap();
    rig.merge(json!({"a": 2})).unwrap();
    let edit = |precondition| Command::Edit {
        id: id(),
        paper: Paper::Desired,
        edit: Edit::Merge(json!({"a": 3})),
        precondition,
    };
    for stale in [Precondition::OneOf(vec![1]), Precondition::OneOf(vec![]), Precondition::OneOf(vec![0, 1, 3])] {
        let rejection = rig.tell(edit(stale)).unwrap_err();
        assert_eq!(rejection, Rejection::Stale { current: revision(2) });
        assert_speaks(&rejection);
    }
    let stale = Precondition::OneOf(vec![9]);
    let record =
        Command::Edit { id: id(), paper: Paper::Fixture, edit: Edit::Merge(json!({})), precondition: stale.clone() };
    assert_eq!(rig.tell(record).unwrap_err(), Rejection::Stale { current: revision(1) });
    assert_eq!(
        rig.tell(Command::Delete { id: id(), precondition: stale }).unwrap_err(),
        Rejection::Stale { current: revision(1) }
    );
    let undo = Command::Undo { id: id(), from: revision(1), target: json!({}) };
    assert_eq!(rig.tell(undo).unwrap_err(), Rejection::Stale { current: revision(2) });
    // the condition is asked first: an edit that would be refused anyway is stale before it is anything else
    let bad = Command::Edit {
        id: id(),
        paper: Paper::Desired,
        edit: Edit::Merge(json!(1)),
        precondition: Precondition::OneOf(vec![1]),
    };
    assert!(matches!(rig.tell(bad), Err(Rejection::Stale { .. })));
    for holds in [Precondition::OneOf(vec![7, 2]), Precondition::Exists] {
        rig.tell(edit(holds)).unwrap();
    }
    assert_eq!(rig.rev(), 3, "the second changed nothing");
}

#[test]
fn what_is_reported_is_nobody_elses_to_edit() {
    let mut rig = Rig::of("free");
    assert_eq!(pointer_of(rig.edit(Paper::Reported, Edit::Merge(json!({"a": 1})))), "");
    assert_eq!((rig.rev(), rig.reported()), (0, json!({})));
}

#[test]
fn a_strip_tells_all_faults_and_advises_on_unknown_members() {
    let mut rig = Rig::strip();
    let found = findings(rig.merge(json!({"lit": 3, "fade": "long", "default": "nowhere"})));
    let places: Vec<String> = found.iter().map(|finding| finding.pointer.to_string()).collect();
    assert_eq!(places, ["/default", "/fade", "/lit"]);
    let decision = rig.merge(json!({"sparkle": 3, "looks": {"evening": {"dither": true}}})).unwrap();
    let places: Vec<String> = decision.answer.advice.iter().map(|advice| advice.pointer.to_string()).collect();
    assert_eq!(places, ["/looks/evening/dither", "/sparkle"]);
    assert_eq!(rig.desired()["sparkle"], 3, "it is kept for the firmware");
}

#[test]
fn a_look_in_use_cannot_be_taken_away() {
    let mut rig = Rig::strip();
    assert_eq!(pointer_of(rig.merge(json!({"looks": {"evening": null}}))), "/default");
    rig.merge(json!({"looks": {"evening": null}, "default": null})).unwrap();
}

#[test]
fn a_whole_number_may_be_spelled_in_any_way() {
    let mut rig = Rig::strip();
    rig.merge(json!({"looks": {"evening": {"motif": {"name": "glint", "seed": 3.0}}}})).unwrap();
    assert_eq!(
        pointer_of(rig.merge(json!({"looks": {"evening": {"motif": {"seed": 3.5}}}}))),
        "/looks/evening/motif/seed"
    );
}

#[test]
fn undo_puts_a_state_back_as_a_new_revision() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"a": 1})).unwrap();
    rig.merge(json!({"b": 2})).unwrap();
    let undo = |from, target| Command::Undo { id: id(), from: revision(from), target };
    let decision = rig.tell(undo(2, json!({"a": 1}))).unwrap();
    assert_eq!(decision.answer.revision, revision(3));
    assert_eq!(rig.desired(), json!({"a": 1}));
    rig.tell(undo(3, json!({"a": 1, "b": 2}))).unwrap();
    assert_eq!((rig.rev(), rig.desired()), (4, json!({"a": 1, "b": 2})));
    assert_nothing_changes(&rig.tell(undo(4, json!({"b": 2, "a": 1.0}))).unwrap());
}

#[test]
fn undo_to_a_state_that_the_kind_now_refuses_is_refused() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": "perhaps"})).unwrap();
    rig.merge(json!({"lit": true})).unwrap();
    rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "strip"}))).unwrap();
    let undo = Command::Undo { id: id(), from: revision(2), target: json!({"lit": "perhaps"}) };
    assert_eq!(pointer_of(rig.tell(undo)), "/lit");
}
