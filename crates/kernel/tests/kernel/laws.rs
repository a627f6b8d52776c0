//! Laws of every history: random operations upon one fixture, checked against what they must add up to.

use std::collections::BTreeMap;

use document::Value;
use kernel::{Command, Edit, Message, Outlook, Paper, Precondition, Rejection, Standing};
use proptest::prelude::*;
use serde_json::{Map, json};

use crate::rig::{Rig, canal, id, loaded, revision};

/// Something that is asked of the fixture.
#[derive(Debug, Clone)]
enum Operation {
    Merge(Value),
    Replace(Value),
    Operations(Value),
    Record(Value),
    Undo(u64),
    Report(i64, Option<Value>),
    Boot(u64),
    Wish(u64, Option<bool>, Option<Option<Value>>),
    Event(u64),
    Alive(bool),
    Tick,
    Delete,
    Create(&'static str),
    Later(i64),
}

fn name() -> impl Strategy<Value = String> {
    prop::sample::select(vec![
        "lit",
        "fade",
        "default",
        "looks",
        "override",
        "timetable",
        "floor",
        "rssi",
        "wifi",
        "a",
        "b",
    ])
    .prop_map(Into::into)
}

/// Values that now and then make sense for a strip, and now and then break a rule.
fn value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        (-3_i32..8).prop_map(Value::from),
        (0_i32..4).prop_map(|n| Value::from(f64::from(n))),
        Just(json!("dark")),
        Just(json!({"look": "dark", "until": "2026-11-25T18:01:00Z"})),
        Just(json!({"look": "dark", "until": "next-change"})),
        Just(json!({"x": {"kelvin": 2400}})),
        Just(json!([{"start": "18:30", "look": "dark"}])),
        Just(json!([{"start": "sunset", "look": "dark"}, {"start": "19:02", "look": "dark"}])),
    ];
    leaf.prop_recursive(3, 12, 3, |inner| {
        prop_oneof![
            prop::collection::btree_map(name(), inner.clone(), 0..3).prop_map(object),
            prop::collection::vec(inner, 0..3).prop_map(Value::from),
        ]
    })
}

fn object(members: BTreeMap<String, Value>) -> Value {
    Value::Object(members.into_iter().collect::<Map<_, _>>())
}

fn document() -> impl Strategy<Value = Value> {
    prop::collection::btree_map(name(), value(), 0..4).prop_map(object)
}

fn operations() -> impl Strategy<Value = Value> {
    let one = (prop::sample::select(vec!["add", "remove", "replace", "test"]), name(), value())
        .prop_map(|(op, name, value)| json!({"op": op, "path": format!("/{name}"), "value": value}));
    prop::collection::vec(one, 0..3).prop_map(Value::from)
}

fn operation() -> impl Strategy<Value = Operation> {
    let volatile = prop::sample::subsequence(vec!["/rssi", "/a", "/wifi/rssi"], 0..=3);
    prop_oneof![
        5 => document().prop_map(Operation::Merge),
        2 => document().prop_map(Operation::Replace),
        2 => operations().prop_map(Operation::Operations),
        1 => volatile.prop_map(|list| Operation::Record(json!({"volatile": list}))),
        1 => prop::sample::select(vec!["strip", "free", "none"]).prop_map(|kind| Operation::Record(json!({"kind": kind}))),
        3 => (0_u64..12).prop_map(Operation::Undo),
        4 => (-2_i64..=1, prop::option::of(document())).prop_map(|(offset, patch)| Operation::Report(offset, patch)),
        1 => (0_u64..12).prop_map(Operation::Boot),
        1 => (0_u64..6, prop::option::of(any::<bool>()), prop::option::of(prop::option::of(document())))
            .prop_map(|(n, lit, held)| Operation::Wish(n, lit, held)),
        1 => (0_u64..6).prop_map(Operation::Event),
        1 => any::<bool>().prop_map(Operation::Alive),
        1 => Just(Operation::Tick),
        1 => Just(Operation::Delete),
        2 => prop::sample::select(vec!["strip", "free"]).prop_map(Operation::Create),
        2 => (0_i64..90).prop_map(Operation::Later),
    ]
}

/// The documents at every revision of one fixture, by paper, as the entries alone tell them.
type Told = BTreeMap<Paper, Vec<Value>>;

struct Model {
    rig: Rig,
    told: Told,
}

impl Model {
    fn carry_out(&mut self, operation: Operation) -> Result<(), TestCaseError> {
        let desired = |edit| Command::Edit { id: id(), paper: Paper::Desired, edit, precondition: Precondition::None };
        let current = self.rig.fixture.as_ref().map_or(0, |fixture| fixture.desired.revision.get());
        let command = match operation {
            Operation::Merge(patch) => desired(Edit::Merge(patch)),
            Operation::Replace(whole) => desired(Edit::Replace(whole)),
            Operation::Operations(list) => desired(Edit::Operations(list)),
            Operation::Record(patch) => Command::Edit {
                id: id(),
                paper: Paper::Fixture,
                edit: Edit::Merge(patch),
                precondition: Precondition::None,
            },
            Operation::Undo(to) => {
                let Some(target) =
                    self.told.get(&Paper::Desired).and_then(|list| list.get(usize::try_from(to).unwrap()))
                else {
                    return Ok(());
                };
                Command::Undo { id: id(), from: revision(current), target: target.clone() }
            }
            Operation::Report(offset, patch) => Command::Hear {
                id: id(),
                message: Message::Report { rev: current.saturating_add_signed(offset), patch },
            },
            Operation::Boot(have) => {
                Command::Hear { id: id(), message: Message::boot(format!("{{\"have\":{have}}}").as_bytes()).unwrap() }
            }
            Operation::Wish(n, lit, owners_override) => {
                Command::Hear { id: id(), message: Message::Wish { n, lit, owners_override } }
            }
            Operation::Event(n) => Command::Hear { id: id(), message: Message::Event { event: "motion".into(), n } },
            Operation::Alive(alive) => Command::Hear { id: id(), message: Message::Alive { alive } },
            Operation::Tick => Command::Tick { id: id() },
            Operation::Delete => Command::Delete { id: id(), precondition: Precondition::None },
            Operation::Create(kind) => {
                if self.rig.fixture.is_none() {
                    self.told = Paper::ALL.into_iter().map(|paper| (paper, vec![json!({})])).collect();
                }
                Command::Create { id: id(), record: json!({"kind": kind}) }
            }
            Operation::Later(seconds) => {
                self.rig.later(seconds);
                return Ok(());
            }
        };
        self.told_of(command)
    }

    /// Has it decided, and checks what is decided against the entries that tell of it.
    fn told_of(&mut self, command: Command) -> Result<(), TestCaseError> {
        let before = self.rig.fixture.clone();
        let Ok(decision) = self.rig.tell(command) else {
            prop_assert_eq!(format!("{:?}", self.rig.fixture), format!("{before:?}"), "a rejection changes nothing");
            return Ok(());
        };
        for entry in &decision.entries {
            let told = self.told.get_mut(&entry.paper).unwrap();
            // revisions go up by exactly one with each entry
            prop_assert_eq!(usize::try_from(entry.revision.get()).unwrap(), told.len());
            let read = |text: &str| serde_json::from_str::<Value>(text).unwrap();
            let last = told.last().unwrap();
            let next = match read(&entry.patch) {
                Value::Null => json!({}),
                patch => document::merged(last, &patch),
            };
            prop_assert!(document::equal(&next, &read(&entry.after)), "the patch leads there");
            prop_assert!(
                document::equal(&document::merged(&next, &read(&entry.inverse)), last),
                "the inverse leads back"
            );
            prop_assert!(!document::equal(&next, last), "an entry tells of a change");
            if let Some(after) = &decision.fixture {
                prop_assert_eq!(after.held(entry.paper).step.as_ref(), Some(&entry.patch), "the step is at hand");
            }
            told.push(next);
        }
        self.agree()
    }

    /// What the entries add up to is what the fixture holds.
    fn agree(&self) -> Result<(), TestCaseError> {
        let Some(fixture) = &self.rig.fixture else { return Ok(()) };
        for paper in Paper::ALL {
            let told = self.told.get(&paper).unwrap();
            let held = fixture.held(paper);
            prop_assert_eq!(usize::try_from(held.revision.get()).unwrap() + 1, told.len());
            let value = if paper == Paper::Reported { fixture.reported_steady() } else { held.value() };
            prop_assert!(
                document::equal(told.last().unwrap(), &value),
                "{:?}: {:?} is not {}",
                paper,
                told.last(),
                value
            );
            prop_assert!(document::check_document(&held.value()).is_ok());
        }
        if let Some(outlook) = fixture.outlook.get() {
            let read = Outlook::read(&fixture.record.kind, &fixture.desired.value(), fixture.desired.at);
            prop_assert_eq!(outlook, &read, "what was read to decide is what the document says");
        }
        let (fresh, now) = (loaded(fixture), self.rig.now);
        let site = self.rig.rules.site.as_deref();
        prop_assert_eq!(fresh.timing(site, &[], now), fixture.timing(site, &[], now));
        let ended = fixture.outlook().override_has_ended(fixture.place(site), &[], now);
        prop_assert_eq!(fresh.override_has_ended(site, &[], now), ended);
        prop_assert!(!ended || fresh.timing(site, &[], now).is_some_and(|timing| timing.override_has_ended));
        prop_assert!(fresh.outlook.get().is_none(), "a glance keeps nothing");
        let accepted = self.rig.rules.kinds.accept(
            &fixture.record.kind,
            &fixture.desired.value(),
            &fixture.desired.value(),
            self.rig.now,
        );
        prop_assert!(accepted.is_ok(), "its kind accepts what it holds: {:?}", accepted);
        prop_assert!(fixture.life.applied <= fixture.desired.revision);
        if fixture.is_in_step() {
            prop_assert_eq!(fixture.delta(), json!({}));
            prop_assert_eq!(fixture.life.applied, fixture.desired.revision);
        }
        prop_assert_eq!(Standing::of(fixture) == Standing::NeverHeard, fixture.life.heard.is_none());
        Ok(())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn history_adds_up_to_what_is_held_whatever_is_asked(
        kind in prop::sample::select(vec!["strip", "free"]),
        placed in any::<bool>(),
        list in prop::collection::vec(operation(), 1..60),
    ) {
        let mut model = Model { rig: Rig::empty(), told: Told::new() };
        if placed {
            model.rig.stands_at(canal());
        }
        model.carry_out(Operation::Create(kind))?;
        for operation in list {
            model.carry_out(operation)?;
        }
    }

    #[test]
    fn undo_and_undo_of_the_undo_is_identity(first in document(), second in document()) {
        let mut rig = Rig::of("free");
        let _ = rig.edit(Paper::Desired, Edit::Replace(first));
        let before = rig.desired();
        if let Ok(decision) = rig.edit(Paper::Desired, Edit::Replace(second)) {
            let after = rig.desired();
            for target in [&before, &after] {
                let undo = Command::Undo { id: id(), from: revision(rig.rev()), target: target.clone() };
                rig.tell(undo).unwrap();
                prop_assert!(document::equal(&rig.desired(), target));
            }
            let step = if decision.entries.is_empty() { 0 } else { 3 };
            prop_assert!(rig.rev() == step || rig.rev() == step + 1, "each undo is a revision of its own");
        }
    }

    #[test]
    fn a_fixture_that_takes_what_it_is_given_is_in_step(
        volatile in prop::sample::subsequence(vec!["/rssi", "/a", "/wifi/rssi"], 0..=3),
        earlier in document(),
        wanted in document(),
    ) {
        let mut rig = Rig::of("free");
        rig.edit(Paper::Fixture, Edit::Merge(json!({"volatile": volatile}))).unwrap();
        let _ = rig.report(0, Some(earlier));
        let _ = rig.edit(Paper::Desired, Edit::Replace(wanted));
        match rig.report(rig.rev(), None) {
            Ok(_) => prop_assert!(rig.fixture().is_in_step(), "{} {}", rig.reported(), rig.desired()),
            Err(rejection) => prop_assert!(matches!(rejection, Rejection::Message(_))),
        }
    }

    #[test]
    fn the_delta_brings_reported_to_desired(desired in document(), reported in document()) {
        let mut rig = Rig::of("free");
        rig.edit(Paper::Fixture, Edit::Merge(json!({"volatile": []}))).unwrap();
        if rig.edit(Paper::Desired, Edit::Replace(desired)).is_ok() && rig.report(rig.rev(), Some(reported)).is_ok() {
            let delta = rig.fixture().delta();
            prop_assert!(document::equal(&document::merged(&rig.reported(), &delta), &rig.desired()));
        }
    }
}
