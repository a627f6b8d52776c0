//! What has to be published: the mirror of the outbox table in memory, what is renewed beside it, and the word that
//! something came.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};

use kernel::{Fixture, FixtureId, FixtureKey};
use tokio::sync::Notify;

/// One thing to publish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// The store's number for the fixture.
    pub key: FixtureKey,
    /// Its id.
    pub id: FixtureId,
    /// Under which ticket the row is to be cleared.
    pub ticket: i64,
}

#[derive(Debug, Default)]
struct Mirror {
    rows: BTreeMap<FixtureKey, (FixtureId, i64)>,
    /// What is to be published anew, though nothing durable asks for it. Where there is a row too, that row is on its
    /// way with what was true before.
    renewed: BTreeMap<FixtureKey, (FixtureId, i64)>,
    /// The last ticket of a renewal. They count down from -1: rows have those of history, which are above 0.
    last_renewal: i64,
    fresh: BTreeSet<FixtureKey>,
}

/// What is to be published and is not acknowledged yet: what was committed, and what time has changed.
#[derive(Debug, Default)]
pub struct Outbox {
    mirror: Mutex<Mirror>,
    came: Notify,
}

impl Outbox {
    fn mirror(&self) -> MutexGuard<'_, Mirror> {
        self.mirror.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Has fixtures published anew, since time has changed what is said of them. In memory alone: after a restart all
    /// that changes by time is renewed anyway. What waits already to be taken stays as it is and is made of the state
    /// of then; what is on its way is published once more after its landing.
    pub fn renew<'a>(&self, fixtures: impl IntoIterator<Item = &'a Fixture>) {
        let mut mirror = self.mirror();
        let mut fresh = false;
        for fixture in fixtures {
            if mirror.fresh.contains(&fixture.key) {
                continue;
            }
            mirror.last_renewal -= 1;
            let ticket = mirror.last_renewal;
            mirror.renewed.insert(fixture.key, (fixture.id.clone(), ticket));
            if !mirror.rows.contains_key(&fixture.key) {
                mirror.fresh.insert(fixture.key);
                fresh = true;
            }
        }
        drop(mirror);
        if fresh {
            self.came.notify_one();
        }
    }

    /// Notes that the broker has what was published under the ticket of a renewal, unless it was renewed again since.
    /// Whether the ticket is one of a renewal.
    pub(crate) fn landed(&self, key: FixtureKey, ticket: i64) -> bool {
        if ticket >= 0 {
            return false;
        }
        let mut mirror = self.mirror();
        if mirror.renewed.get(&key).is_some_and(|(_, renewed)| *renewed == ticket) {
            mirror.renewed.remove(&key);
            if !mirror.rows.contains_key(&key) {
                mirror.fresh.remove(&key);
            }
        }
        true
    }

    /// Waits until something is due that was not taken yet.
    pub async fn came(&self) {
        loop {
            let notified = self.came.notified();
            if !self.mirror().fresh.is_empty() {
                return;
            }
            notified.await;
        }
    }

    /// Takes what came since the last time, at most `most`, oldest fixtures first.
    #[must_use]
    pub fn take(&self, most: usize) -> Vec<Due> {
        let mut mirror = self.mirror();
        let keys: Vec<_> = mirror.fresh.iter().take(most).copied().collect();
        let mut due = Vec::with_capacity(keys.len());
        for key in keys {
            mirror.fresh.remove(&key);
            if let Some((id, ticket)) = mirror.rows.get(&key).or_else(|| mirror.renewed.get(&key)) {
                due.push(Due { key, id: id.clone(), ticket: *ticket });
            }
        }
        due
    }

    /// Makes everything due again that is not acknowledged: after a connection was lost.
    pub fn again(&self) {
        let mut mirror = self.mirror();
        let Mirror { rows, renewed, fresh, .. } = &mut *mirror;
        // a row that is published anew is made of the state of then
        renewed.retain(|key, _| !rows.contains_key(key));
        *fresh = rows.keys().chain(renewed.keys()).copied().collect();
        drop(mirror);
        self.came.notify_one();
    }

    /// The fixtures of which something committed waits: what was last published of them is not what they are now.
    #[must_use]
    pub fn keys(&self) -> BTreeSet<FixtureKey> {
        self.mirror().rows.keys().copied().collect()
    }

    /// How many fixtures wait, by a row or a renewal.
    #[must_use]
    pub fn len(&self) -> usize {
        let mirror = self.mirror();
        mirror.rows.len() + mirror.renewed.keys().filter(|key| !mirror.rows.contains_key(key)).count()
    }

    /// Whether nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The ticket of a fixture's row, if it has one; a renewal has none that is written.
    pub(crate) fn ticket(&self, key: FixtureKey) -> Option<i64> {
        self.mirror().rows.get(&key).map(|(_, ticket)| *ticket)
    }

    /// Takes over what the file has; all of it is due again.
    pub(crate) fn adopt(&self, truth: &Self) {
        let rows = std::mem::take(&mut truth.mirror().rows);
        self.mirror().rows = rows;
        self.again();
    }

    pub(crate) fn swap(&self, changes: impl IntoIterator<Item = (FixtureKey, Option<(FixtureId, i64)>)>) {
        let mut mirror = self.mirror();
        let mut fresh = false;
        for (key, row) in changes {
            match row {
                Some(row) => {
                    mirror.rows.insert(key, row);
                    mirror.renewed.remove(&key);
                    mirror.fresh.insert(key);
                    fresh = true;
                }
                None => {
                    mirror.rows.remove(&key);
                    if mirror.renewed.contains_key(&key) {
                        mirror.fresh.insert(key);
                        fresh = true;
                    } else {
                        mirror.fresh.remove(&key);
                    }
                }
            }
        }
        drop(mirror);
        if fresh {
            self.came.notify_one();
        }
    }
}
