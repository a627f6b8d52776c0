//! The house in memory: every fixture as of the last commit.

use std::collections::{BTreeMap, HashMap};
use std::ops::Bound;
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard};

use kernel::{Fixture, FixtureId, FixtureKey, Held};

use crate::batch::Changed;

#[derive(Debug, Default)]
struct Rooms {
    by_id: BTreeMap<FixtureId, Arc<Fixture>>,
    by_key: HashMap<FixtureKey, Arc<Fixture>>,
}

/// Every fixture as of the last commit. Reading never waits for the disk.
#[derive(Debug, Default)]
pub struct House(RwLock<Rooms>);

impl House {
    // A panic while the lock was held cannot leave it half changed: each change is one insert or remove.
    fn read(&self) -> RwLockReadGuard<'_, Rooms> {
        self.0.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// A house of these fixtures, laid close together.
    pub(crate) fn of(fixtures: Vec<(FixtureId, Arc<Fixture>)>) -> Self {
        let by_key = fixtures.iter().map(|(_, fixture)| (fixture.key, Arc::clone(fixture))).collect();
        Self(RwLock::new(Rooms { by_id: fixtures.into_iter().collect(), by_key }))
    }

    /// The fixture of that id.
    #[must_use]
    pub fn get(&self, id: &str) -> Option<Arc<Fixture>> {
        self.read().by_id.get(id).cloned()
    }

    /// The fixture of that key.
    #[must_use]
    pub fn by_key(&self, key: FixtureKey) -> Option<Arc<Fixture>> {
        self.read().by_key.get(&key).cloned()
    }

    /// All fixtures, by id.
    #[must_use]
    pub fn all(&self) -> Vec<Arc<Fixture>> {
        self.read().by_id.values().cloned().collect()
    }

    /// At most `most` fixtures after an id, by id, that satisfy a condition.
    #[must_use]
    pub fn after(&self, id: Option<&str>, most: usize, wanted: impl Fn(&Fixture) -> bool) -> Vec<Arc<Fixture>> {
        let rooms = self.read();
        let from = id.map_or(Bound::Unbounded, Bound::Excluded);
        rooms
            .by_id
            .range::<str, _>((from, Bound::Unbounded))
            .map(|(_, fixture)| fixture)
            .filter(|fixture| wanted(fixture))
            .take(most)
            .cloned()
            .collect()
    }

    /// How many fixtures there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.read().by_id.len()
    }

    /// Takes over what a house that was read from the file has and this one has not, and gives what changed. Signs of
    /// life are in memory alone until something else is worth a write, so a fixture that is the same is kept as it is.
    pub(crate) fn adopt(&self, truth: &Self) -> Vec<Changed> {
        let mut gone = Vec::new();
        let mut changes: Vec<Changed> = Vec::new();
        for held in self.all() {
            let now = truth.get(held.id.as_str());
            if now.as_ref().is_none_or(|now| now.key != held.key) {
                gone.push(held.key);
            }
            if now.is_none() {
                changes.push((held.id.clone(), None));
            }
        }
        for fixture in truth.all() {
            if self.get(fixture.id.as_str()).is_none_or(|held| !same(&held, &fixture)) {
                changes.push((fixture.id.clone(), Some(fixture)));
            }
        }
        self.swap(gone, changes.iter().cloned());
        changes
    }

    /// Lets committed changes be true: the keys that are gone first, then every fixture as it now stands.
    pub(crate) fn swap(
        &self,
        gone: impl IntoIterator<Item = FixtureKey>,
        changes: impl IntoIterator<Item = (FixtureId, Option<Arc<Fixture>>)>,
    ) {
        let mut rooms = self.0.write().unwrap_or_else(PoisonError::into_inner);
        for key in gone {
            rooms.by_key.remove(&key);
        }
        for (id, after) in changes {
            match after {
                Some(fixture) => {
                    rooms.by_key.insert(fixture.key, Arc::clone(&fixture));
                    rooms.by_id.insert(id, fixture);
                }
                None => {
                    rooms.by_id.remove(&id);
                }
            }
        }
    }
}

/// Whether two are the same but for signs of life.
fn same(one: &Fixture, other: &Fixture) -> bool {
    let held =
        |one: &Held, other: &Held| (one.revision, one.drift, one.head) == (other.revision, other.drift, other.head);
    (one.key, one.created, one.enrolled_at) == (other.key, other.created, other.enrolled_at)
        && one.secret.as_ref().map(|hash| hash.0) == other.secret.as_ref().map(|hash| hash.0)
        && held(&one.record_held, &other.record_held)
        && held(&one.desired, &other.desired)
        && held(&one.reported, &other.reported)
}
