//! One fixture and everything that was decided about it.

use std::sync::Arc;

use almanac::Place;
use document::{Revision, Value};
use jiff::{SignedDuration, Timestamp};
use kernel::{
    Actor, Command, Decision, Edit, Entry, Finding, Fixture, FixtureId, FixtureKey, Kinds, Message, Paper,
    Precondition, Rejection, Rules, SecretHash, ShownLook, Timing, Way, decide,
};
use serde_json::json;

/// A schema of the owner's: an object with a `glow` from 0 to 9.
pub(crate) const KETTLE: &str =
    r#"{"type":"object","properties":{"glow":{"type":"integer","maximum":9}},"required":["glow"]}"#;

/// One fixture, a clock that the test moves, and all entries so far.
#[derive(Debug)]
pub(crate) struct Rig {
    pub(crate) rules: Rules,
    pub(crate) fixture: Option<Fixture>,
    pub(crate) now: Timestamp,
    pub(crate) entries: Vec<Entry>,
    keys: i64,
}

pub(crate) fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// A place in the Netherlands.
pub(crate) fn canal() -> Place {
    Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap()
}

pub(crate) fn id() -> FixtureId {
    "hall".parse().unwrap()
}

impl Rig {
    /// A house without the fixture.
    pub(crate) fn empty() -> Self {
        let mut kinds = Kinds::default();
        kinds.describe("kettle-lamp", KETTLE.as_bytes()).unwrap();
        Self {
            rules: Rules { kinds, site: None },
            fixture: None,
            now: time("2026-11-25T18:00:00Z"),
            entries: Vec::new(),
            keys: 0,
        }
    }

    /// A house with a fixture of that kind.
    pub(crate) fn of(kind: &str) -> Self {
        let mut rig = Self::empty();
        rig.tell(Command::Create { id: id(), record: json!({"kind": kind}) }).unwrap();
        rig
    }

    /// A strip with two looks, at revision 1.
    pub(crate) fn strip() -> Self {
        let mut rig = Self::of("strip");
        rig.merge(
            json!({"default": "evening", "looks": {"evening": {"kelvin": 2400}, "greet": {"colours": ["gold"]}}}),
        )
        .unwrap();
        rig
    }

    /// Has a command decided, and lets it be true if it is accepted.
    pub(crate) fn tell(&mut self, command: Command) -> Result<Decision, Rejection> {
        let decision = decide(self.fixture.as_ref(), command, FixtureKey(self.keys + 1), &self.rules, self.now)?;
        self.fixture.clone_from(&decision.fixture);
        self.keys = self.keys.max(self.fixture.as_ref().map_or(0, |fixture| fixture.key.0));
        self.entries.extend(decision.entries.iter().cloned());
        Ok(decision)
    }

    pub(crate) fn edit(&mut self, paper: Paper, edit: Edit) -> Result<Decision, Rejection> {
        self.tell(Command::Edit { id: id(), paper, edit, precondition: Precondition::None })
    }

    /// A merge patch of the desired document.
    pub(crate) fn merge(&mut self, patch: Value) -> Result<Decision, Rejection> {
        self.edit(Paper::Desired, Edit::Merge(patch))
    }

    pub(crate) fn hear(&mut self, message: Message) -> Result<Decision, Rejection> {
        self.tell(Command::Hear { id: id(), message })
    }

    pub(crate) fn report(&mut self, rev: u64, patch: Option<Value>) -> Result<Decision, Rejection> {
        self.hear(Message::Report { rev, patch })
    }

    pub(crate) fn boot(&mut self, have: u64) -> Decision {
        let bytes = format!("{{\"have\":{have}}}");
        self.hear(Message::boot(bytes.as_bytes()).unwrap()).unwrap()
    }

    pub(crate) fn tick(&mut self) -> Decision {
        self.tell(Command::Tick { id: id() }).unwrap()
    }

    pub(crate) fn enrol(&mut self, secret: &[u8]) -> Decision {
        let secret = SecretHash::of(&[7; 32], secret);
        self.tell(Command::Enrol { id: id(), secret, broker_line: None }).unwrap()
    }

    pub(crate) fn fixture(&self) -> &Fixture {
        self.fixture.as_ref().expect("the fixture is there")
    }

    pub(crate) fn desired(&self) -> Value {
        self.fixture().desired.value()
    }

    pub(crate) fn reported(&self) -> Value {
        self.fixture().reported.value()
    }

    pub(crate) fn rev(&self) -> u64 {
        self.fixture().desired.revision.get()
    }

    /// Where the house stands, from now on.
    pub(crate) fn stands_at(&mut self, place: Place) {
        self.rules.site = Some(Arc::new(place));
    }

    pub(crate) fn shown(&self) -> ShownLook {
        let fixture = self.fixture();
        fixture.outlook().shown(fixture.place(self.rules.site.as_deref()), &[], self.now).expect("it has looks")
    }

    pub(crate) fn timing(&self) -> Option<Timing> {
        self.fixture().timing(self.rules.site.as_deref(), &[], self.now)
    }

    /// When time alone next changes something.
    pub(crate) fn next(&self) -> Option<Timestamp> {
        self.timing().and_then(|timing| timing.next)
    }

    pub(crate) fn override_has_ended(&self) -> bool {
        self.fixture().override_has_ended(self.rules.site.as_deref(), &[], self.now)
    }

    pub(crate) fn later(&mut self, seconds: i64) {
        self.now = self.now.checked_add(SignedDuration::from_secs(seconds)).unwrap();
    }
}

/// The fixture as it is after a start: nothing was read for showing yet.
pub(crate) fn loaded(fixture: &Fixture) -> Fixture {
    let mut loaded = fixture.clone();
    loaded.outlook = Arc::default();
    loaded
}

/// Nothing is to be made durable by it.
pub(crate) fn assert_nothing_changes(decision: &Decision) {
    assert!(decision.is_empty(), "{decision:?}");
    assert!(decision.answer.changed.is_empty());
    assert_eq!(decision.publish, kernel::Publish::Nothing);
}

/// The findings of a rejection.
pub(crate) fn findings(result: Result<Decision, Rejection>) -> Vec<Finding> {
    match result {
        Err(Rejection::Invalid(findings)) => findings,
        other => panic!("not refused as invalid: {other:?}"),
    }
}

pub(crate) fn pointer_of(result: Result<Decision, Rejection>) -> String {
    findings(result).first().expect("a finding").pointer.to_string()
}

/// A rejection tells the reader something.
pub(crate) fn assert_speaks(rejection: &Rejection) {
    assert!(rejection.to_string().len() > 10, "{rejection:?}");
}

pub(crate) fn revision(n: u64) -> Revision {
    Revision::new(n)
}

#[test]
fn the_words_of_history_are_read_back_as_they_are_written() {
    for way in Way::ALL {
        assert_eq!(Way::read(way.as_str()), Some(way));
        assert_eq!(serde_json::to_value(way).unwrap(), way.as_str());
    }
    for paper in Paper::ALL {
        assert_eq!(Paper::read(paper.as_str()), Some(paper));
        assert_eq!(serde_json::to_value(paper).unwrap(), paper.as_str());
    }
    assert_eq!((Way::read("pigeon"), Paper::read("papyrus")), (None, None));
    assert_eq!(&*Actor::fixture("hall").by, "fixture:hall");
    assert_eq!((&*Actor::daemon().by, Actor::daemon().via), ("sconced", Way::Daemon));
}
