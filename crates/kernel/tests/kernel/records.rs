//! Making, changing, enrolling and taking away fixtures.

use kernel::{Command, Edit, FixtureKey, Paper, Precondition, Publish, Rejection, Standing};
use serde_json::{Value, json};

use crate::rig::{Rig, assert_nothing_changes, assert_speaks, findings, id, pointer_of, revision};

fn create(record: Value) -> Command {
    Command::Create { id: id(), record }
}

#[test]
fn a_new_fixture_has_a_whole_record_and_empty_documents() {
    let mut rig = Rig::empty();
    let decision = rig.tell(create(json!({"groups": ["indoors"]}))).unwrap();
    assert_eq!(decision.answer.revision, revision(1));
    assert_eq!(decision.publish, Publish::State);
    let fixture = rig.fixture();
    assert_eq!((fixture.key, fixture.created), (FixtureKey(1), rig.now));
    assert_eq!(
        fixture.record_held.value(),
        json!({"title": "hall", "kind": "strip", "groups": ["indoors"], "switched": false})
    );
    assert_eq!((fixture.desired.revision.get(), fixture.reported.revision.get()), (0, 0));
    assert!(fixture.secret.is_none());
    assert_eq!(Standing::of(fixture), Standing::NeverHeard);
}

#[test]
fn an_id_is_given_once() {
    let mut rig = Rig::of("strip");
    let rejection = rig.tell(create(json!({}))).unwrap_err();
    assert_eq!(rejection, Rejection::Exists(id()));
    assert_speaks(&rejection);
}

#[test]
fn a_bad_record_names_every_place() {
    let mut rig = Rig::empty();
    let found = findings(rig.tell(create(json!({
        "title": "", "kind": "Strip!", "groups": ["a", "a", "B"], "switched": 1, "notes": 3,
        "place": {"latitude": 91, "longitude": 4.9, "zone": "Europe/Amsterdam"}, "volatile": ["rssi", ""], "colour": "red"
    }))));
    let mut places: Vec<String> = found.iter().map(|finding| finding.pointer.to_string()).collect();
    places.sort();
    assert_eq!(
        places,
        [
            "/colour",
            "/groups/1",
            "/groups/2",
            "/kind",
            "/notes",
            "/place",
            "/switched",
            "/title",
            "/volatile/0",
            "/volatile/1"
        ]
    );
    assert!(found.iter().all(|finding| !finding.text.is_empty() && !finding.advice.is_empty()));
    assert_eq!(pointer_of(rig.tell(create(json!("strip")))), "");
    assert_eq!(pointer_of(rig.tell(create(json!({"place": {"latitude": 1, "longitude": 1}})))), "/place/zone");
    assert_eq!(
        pointer_of(rig.tell(create(json!({"place": {"latitude": 1, "longitude": 1, "zone": "Moon/Sea"}})))),
        "/place"
    );
    assert!(rig.fixture.is_none());
}

#[test]
fn the_parts_of_a_record_have_bounds() {
    let long = |n| "x".repeat(n);
    let names = |n| (0..n).map(|i| format!("g{i}")).collect::<Vec<_>>();
    let pointers = |n| (0..n).map(|i| format!("/m{i}")).collect::<Vec<_>>();
    for (good, bad, place) in [
        (json!({"title": long(200)}), json!({"title": long(201)}), "/title"),
        (json!({"title": "a"}), json!({"title": "a\u{7}"}), "/title"),
        (json!({"notes": long(4000)}), json!({"notes": long(4001)}), "/notes"),
        (json!({"groups": names(64)}), json!({"groups": names(65)}), "/groups"),
        (json!({"groups": [long(64)]}), json!({"groups": [long(65)]}), "/groups/0"),
        (json!({"volatile": pointers(32)}), json!({"volatile": pointers(33)}), "/volatile"),
    ] {
        let mut rig = Rig::empty();
        assert_eq!(pointer_of(rig.tell(create(bad))), place);
        rig.tell(create(good)).unwrap();
    }
}

#[test]
fn an_unknown_kind_is_refused_with_those_there_are() {
    let mut rig = Rig::empty();
    let rejection = rig.tell(create(json!({"kind": "lava"}))).unwrap_err();
    let Rejection::UnknownKind { kind, known } = &rejection else { panic!("{rejection:?}") };
    assert_eq!((kind.as_str(), known.as_str()), ("lava", "free, kettle-lamp, strip"));
    assert_speaks(&rejection);
    // also for a fixture whose desired document was never written
    let mut rig = Rig::of("strip");
    assert!(matches!(
        rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "lava"}))),
        Err(Rejection::UnknownKind { .. })
    ));
    rig.merge(json!({"lit": true})).unwrap();
    assert!(matches!(
        rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "lava"}))),
        Err(Rejection::UnknownKind { .. })
    ));
}

#[test]
fn a_record_is_edited_like_a_document() {
    let mut rig = Rig::of("strip");
    let decision = rig.edit(Paper::Fixture, Edit::Merge(json!({"title": "Reeds", "switched": true}))).unwrap();
    assert_eq!(decision.answer.revision, revision(2));
    assert_eq!(decision.publish, Publish::State);
    assert!(rig.fixture().record.switched);
    assert_nothing_changes(&rig.edit(Paper::Fixture, Edit::Merge(json!({"title": "Reeds"}))).unwrap());
    assert_eq!(rig.rev(), 0, "the desired document has its own revisions");
    assert_eq!(pointer_of(rig.edit(Paper::Fixture, Edit::Merge(json!({"title": 5})))), "/title");
    // what is left out falls back to its default
    rig.edit(Paper::Fixture, Edit::Merge(json!({"title": null, "kind": null}))).unwrap();
    assert_eq!((rig.fixture().record.title.as_str(), rig.fixture().record.kind.as_str()), ("hall", "strip"));
}

#[test]
fn a_change_of_kind_asks_the_new_kind_about_the_desired_document() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"lit": "sometimes", "glow": 12})).unwrap();
    for (kind, place) in [("strip", "/lit"), ("kettle-lamp", "/glow")] {
        assert_eq!(pointer_of(rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": kind})))), place);
    }
    rig.merge(json!({"lit": false, "glow": 3})).unwrap();
    rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "kettle-lamp"}))).unwrap();
    assert!(!rig.fixture().outlook().has_looks());
    let decision = rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "strip"}))).unwrap();
    assert!(rig.fixture().outlook().has_looks(), "it is read anew");
    assert_eq!(decision.answer.advice.len(), 1, "a strip does not know glow");
}

#[test]
fn a_document_that_was_never_written_is_no_obstacle_to_its_record() {
    // the schema of this kind refuses {}, with which every fixture begins
    let mut rig = Rig::of("kettle-lamp");
    rig.edit(Paper::Fixture, Edit::Merge(json!({"title": "Kettle"}))).unwrap();
    let mut rig = Rig::of("strip");
    rig.edit(Paper::Fixture, Edit::Merge(json!({"kind": "kettle-lamp"}))).unwrap();
    assert_eq!(pointer_of(rig.merge(json!({"glow": 10}))), "/glow");
    rig.merge(json!({"glow": 9})).unwrap();
}

#[test]
fn enrolling_ends_the_secret_before_and_touches_no_document() {
    let mut rig = Rig::strip();
    let before = rig.fixture().clone();
    let decision = rig.enrol(b"first");
    assert!(decision.entries.is_empty() && !decision.is_empty());
    let first = rig.fixture().secret.clone().unwrap();
    rig.later(60);
    rig.enrol(b"second");
    assert!(rig.fixture().secret.clone().unwrap() != first);
    assert_eq!(rig.fixture().enrolled_at, Some(rig.now));
    assert_eq!(rig.fixture().desired.text, before.desired.text);
    assert_eq!(rig.fixture().record_held.revision, before.record_held.revision);
    assert!(!format!("{:?}", rig.fixture()).contains(&first.0.to_hex().to_string()), "no hash is ever printed");
}

#[test]
fn a_fixture_that_was_taken_away_is_withdrawn_and_its_id_is_free() {
    let mut rig = Rig::strip();
    let decision = rig.tell(Command::Delete { id: id(), precondition: Precondition::OneOf(vec![1]) }).unwrap();
    assert!(decision.fixture.is_none());
    assert_eq!(decision.publish, Publish::Withdraw);
    let [entry] = decision.entries.as_slice() else { panic!("{decision:?}") };
    assert_eq!((&*entry.patch, entry.revision), ("null", revision(2)));
    assert_eq!(serde_json::from_str::<Value>(&entry.inverse).unwrap()["title"], "hall");
    rig.tell(create(json!({"kind": "free"}))).unwrap();
    assert_eq!(rig.fixture().key, FixtureKey(2), "it is another fixture");
    assert_eq!(rig.rev(), 0);
}

#[test]
fn nothing_can_be_asked_of_a_fixture_that_is_not_there() {
    let mut rig = Rig::empty();
    let message = kernel::Message::alive(b"{\"alive\":true}").unwrap();
    for command in [
        Command::Edit {
            id: id(),
            paper: Paper::Desired,
            edit: Edit::Merge(json!({})),
            precondition: Precondition::None,
        },
        Command::Undo { id: id(), from: revision(0), target: json!({}) },
        Command::Delete { id: id(), precondition: Precondition::None },
        Command::Enrol { id: id(), secret: kernel::SecretHash::of(&[0; 32], b""), broker_line: None },
        Command::Hear { id: id(), message },
        Command::Tick { id: id() },
    ] {
        assert_eq!(command.fixture(), &id());
        let rejection = rig.tell(command).unwrap_err();
        assert_eq!(rejection, Rejection::UnknownFixture("hall".into()));
        assert_speaks(&rejection);
    }
}
