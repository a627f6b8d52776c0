//! What has to be published: the mirror of the outbox table in memory, and the word that something came.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, MutexGuard, PoisonError};

use kernel::{FixtureId, FixtureKey};
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
    fresh: BTreeSet<FixtureKey>,
}

/// What was committed to be published and is not acknowledged yet.
#[derive(Debug, Default)]
pub struct Outbox {
    mirror: Mutex<Mirror>,
    came: Notify,
}

impl Outbox {
    fn mirror(&self) -> MutexGuard<'_, Mirror> {
        self.mirror.lock().unwrap_or_else(PoisonError::into_inner)
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
            if let Some((id, ticket)) = mirror.rows.get(&key) {
                due.push(Due { key, id: id.clone(), ticket: *ticket });
            }
        }
        due
    }

    /// Makes everything due again that is not acknowledged: after a connection was lost.
    pub fn again(&self) {
        let mut mirror = self.mirror();
        mirror.fresh = mirror.rows.keys().copied().collect();
        drop(mirror);
        self.came.notify_one();
    }

    /// The fixtures that wait.
    #[must_use]
    pub fn keys(&self) -> BTreeSet<FixtureKey> {
        self.mirror().rows.keys().copied().collect()
    }

    /// How many rows wait.
    #[must_use]
    pub fn len(&self) -> usize {
        self.mirror().rows.len()
    }

    /// Whether nothing waits.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

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
                    mirror.fresh.insert(key);
                    fresh = true;
                }
                None => {
                    mirror.rows.remove(&key);
                    mirror.fresh.remove(&key);
                }
            }
        }
        drop(mirror);
        if fresh {
            self.came.notify_one();
        }
    }
}
