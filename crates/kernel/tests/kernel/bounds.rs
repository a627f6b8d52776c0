//! The bounds of a document: 8 KiB, 16 levels, 512 members, names of 1 to 64 bytes; at the bound and one over.

use kernel::{Command, Edit, Paper};
use serde_json::{Map, Value, json};

use crate::rig::{Rig, findings, id, pointer_of};

fn nested(levels: usize) -> Value {
    (1..levels).fold(json!({}), |inner, _| json!({ "a": inner }))
}

fn of_size(bytes: usize) -> Value {
    let empty = json!({"t": ""}).to_string().len();
    json!({"t": "x".repeat(bytes - empty)})
}

fn members(count: usize) -> Value {
    Value::Object((0..count).map(|n| (format!("m{n:04}"), json!(0))).collect::<Map<_, _>>())
}

fn named(name: &str) -> Value {
    json!({"in": {name: 1}})
}

#[test]
fn each_bound_is_taken_and_one_more_is_refused_with_its_place() {
    let long = "n".repeat(65);
    let deep = "/a".repeat(16);
    for (good, bad, place) in [
        (of_size(8192), of_size(8193), String::new()),
        (nested(16), nested(17), deep),
        (members(512), members(513), "/m0512".into()),
        (named(&"n".repeat(64)), named(&long), format!("/in/{long}")),
        (named("n"), named(""), "/in/".into()),
        (named("ä ~/"), named("a\tb"), "/in/a\tb".into()),
        (json!({"in": [null]}), json!({"in": {"n": null}}), "/in/n".into()),
        (json!({}), json!([]), String::new()),
    ] {
        let mut rig = Rig::of("free");
        let found = findings(rig.edit(Paper::Desired, Edit::Replace(bad)));
        assert_eq!(found[0].pointer.to_string(), place);
        assert!(!found[0].advice.is_empty());
        assert_eq!((rig.rev(), rig.desired()), (0, json!({})), "it is refused whole");
        rig.edit(Paper::Desired, Edit::Replace(good.clone())).unwrap();
        assert_eq!(rig.desired(), good);
    }
}

#[test]
fn what_counts_is_the_document_that_results_not_the_patch() {
    let mut rig = Rig::of("free");
    rig.merge(members(512)).unwrap();
    assert_eq!(pointer_of(rig.merge(json!({"one": 1}))), "/one");
    rig.merge(json!({"one": 1, "m0000": null})).unwrap();
    let mut rig = Rig::of("free");
    rig.merge(json!({"one": nested(15)})).unwrap();
    assert_eq!(pointer_of(rig.merge(json!({"one": nested(16)}))), format!("/one{}", "/a".repeat(15)));
}

#[test]
fn every_kind_keeps_the_bounds() {
    for kind in ["strip", "free", "kettle-lamp"] {
        let mut rig = Rig::of(kind);
        assert_eq!(pointer_of(rig.merge(json!({"glow": 1, "": 1}))), "/", "{kind}");
    }
}

#[test]
fn a_record_keeps_the_bounds() {
    let mut rig = Rig::empty();
    let record = json!({"place": nested(17)});
    let place = format!("/place{}", "/a".repeat(15));
    assert_eq!(pointer_of(rig.tell(Command::Create { id: id(), record: record.clone() })), place);
    rig.tell(Command::Create { id: id(), record: json!({}) }).unwrap();
    assert_eq!(pointer_of(rig.edit(Paper::Fixture, Edit::Merge(record))), place);
}
