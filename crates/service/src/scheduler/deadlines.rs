//! When each fixture that time changes is to be looked at next.

use std::collections::{BTreeSet, HashMap};

use document::Revision;
use jiff::{SignedDuration, Timestamp};
use kernel::{Fixture, FixtureKey};

/// An agenda is published anew at the latest when it is this old. It reaches twice as far.
pub(crate) const RENEWED_WITHIN: SignedDuration = SignedDuration::from_hours(24);

/// What is known of a fixture that time changes.
#[derive(Debug, Clone, Copy)]
struct Entry {
    /// What was last published of it was right at this instant, and is until `due`.
    from: Timestamp,
    due: Timestamp,
    revisions: Revisions,
}

/// The revisions of what decides about its showing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Revisions {
    desired: Revision,
    record: Revision,
}

impl Revisions {
    fn of(fixture: &Fixture) -> Self {
        Self { desired: fixture.desired.revision, record: fixture.record_held.revision }
    }
}

/// Deadlines in order, one a fixture; of fixtures that time does not change there is nothing here.
#[derive(Debug, Default)]
pub(crate) struct Deadlines {
    order: BTreeSet<(Timestamp, FixtureKey)>,
    of: HashMap<FixtureKey, Entry>,
}

impl Deadlines {
    /// Notes that what was published of a fixture is right from an instant on, until `next` if that is known. It is
    /// due then, and anyhow before its agenda runs short.
    pub(crate) fn set(&mut self, fixture: &Fixture, from: Timestamp, next: Option<Timestamp>) {
        let renewal = from.checked_add(RENEWED_WITHIN).unwrap_or(Timestamp::MAX);
        let due = next.map_or(renewal, |next| next.min(renewal));
        let entry = Entry { from, due, revisions: Revisions::of(fixture) };
        if let Some(old) = self.of.insert(fixture.key, entry) {
            self.order.remove(&(old.due, fixture.key));
        }
        self.order.insert((due, fixture.key));
    }

    pub(crate) fn forget(&mut self, key: FixtureKey) {
        if let Some(old) = self.of.remove(&key) {
            self.order.remove(&(old.due, key));
        }
    }

    /// Whether nothing that decides about its showing has changed since it was noted.
    pub(crate) fn knows(&self, fixture: &Fixture) -> bool {
        self.of.get(&fixture.key).is_some_and(|entry| entry.revisions == Revisions::of(fixture))
    }

    pub(crate) fn first(&self) -> Option<Timestamp> {
        self.order.first().map(|(due, _)| *due)
    }

    /// Takes out those that are due, the earliest first. They are known until they are looked at.
    pub(crate) fn due(&mut self, now: Timestamp) -> Vec<FixtureKey> {
        let mut due = Vec::new();
        while let Some((_, key)) = self.order.first().copied().filter(|(when, _)| *when <= now) {
            self.order.pop_first();
            due.push(key);
        }
        due
    }

    /// Those of which it is not known that what was published is right at an instant before.
    pub(crate) fn later_than(&self, now: Timestamp) -> Vec<FixtureKey> {
        self.of.iter().filter(|(_, entry)| now < entry.from).map(|(key, _)| *key).collect()
    }
}
