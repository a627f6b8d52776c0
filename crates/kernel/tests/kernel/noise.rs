//! Whatever bytes and whatever JSON arrive: an answer or a rejection, never a panic.

use kernel::{Command, Edit, Message, MessageFault, Paper, Precondition};
use proptest::prelude::*;
use serde_json::{Map, Value};

use crate::rig::{Rig, id};

type Read = fn(&[u8]) -> Result<Message, MessageFault>;

const READERS: [Read; 6] =
    [Message::boot, Message::ask, Message::reported, Message::event, Message::wish, Message::alive];

/// Any JSON, with the names that mean something among the others.
fn json() -> impl Strategy<Value = Value> {
    let name = prop_oneof![
        4 => prop::sample::select(vec![
            "lit", "fade", "floor", "default", "looks", "timetable", "override", "look", "until", "colours", "kelvin",
            "intensity", "span", "motif", "name", "seconds", "seed", "start", "shift", "days", "dates", "not_before",
            "title", "kind", "groups", "place", "latitude", "zone", "volatile", "n", "rev", "patch", "have", "event",
            "alive", "reason", "rssi", "boots", "firmware", "op", "path", "from", "value",
        ]).prop_map(String::from),
        1 => ".{0,70}".prop_map(String::from),
    ];
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        prop::sample::select(vec![
            "dark",
            "dusk",
            "22:45",
            "-PT30M",
            "mon",
            "gold",
            "#fff",
            "rgb(1 2",
            "next-change",
            "2026-11-25T22:00:00Z",
            "-009999-01-01T00:00:00Z",
            "glint",
            "start",
            "/a",
            "add",
            "test",
            "strip",
            "free",
            "12-01",
        ])
        .prop_map(Value::from),
        ".{0,20}".prop_map(Value::from),
    ];
    leaf.prop_recursive(5, 40, 5, move |inner| {
        prop_oneof![
            3 => prop::collection::vec((name.clone(), inner.clone()), 0..5)
                .prop_map(|list| Value::Object(list.into_iter().collect::<Map<_, _>>())),
            1 => prop::collection::vec(inner, 0..5).prop_map(Value::from),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1024, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_a_message_or_a_finding(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        for read in READERS {
            if let Err(fault) = read(&bytes) {
                prop_assert!(!fault.text.is_empty() && !fault.advice.is_empty());
            }
        }
    }

    #[test]
    fn any_json_is_a_message_that_can_be_decided_on_or_a_finding(value in json()) {
        let bytes = value.to_string();
        for kind in ["strip", "free", "kettle-lamp"] {
            let mut rig = Rig::of(kind);
            for read in READERS {
                if let Ok(message) = read(bytes.as_bytes()) {
                    let _ = rig.hear(message);
                }
            }
            prop_assert!(rig.fixture().life.applied <= rig.fixture().desired.revision);
        }
    }

    #[test]
    fn any_json_is_an_edit_or_a_rejection(value in json()) {
        for kind in ["strip", "free", "kettle-lamp"] {
            for paper in Paper::ALL {
                for edit in [
                    Edit::Merge(value.clone()),
                    Edit::Operations(value.clone()),
                    Edit::Replace(value.clone()),
                    Edit::Member("override", Some(value.clone())),
                ] {
                    let mut rig = Rig::of(kind);
                    let told = rig.tell(Command::Edit { id: id(), paper, edit, precondition: Precondition::None });
                    if let Err(rejection) = told {
                        prop_assert!(!rejection.to_string().is_empty());
                    } else {
                        rig.later(86_400);
                        let _ = rig.fixture().outlook().shown(None, &[], rig.now);
                        let _ = rig.tick();
                    }
                }
            }
            let mut rig = Rig::empty();
            let _ = rig.tell(Command::Create { id: id(), record: value.clone() });
        }
    }

    #[test]
    fn any_schema_is_a_kind_or_an_error(value in json()) {
        let mut kinds = kernel::Kinds::default();
        if let Err(error) = kinds.describe("own", value.to_string().as_bytes()) {
            prop_assert!(!error.to_string().is_empty());
        }
    }
}
