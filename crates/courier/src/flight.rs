//! What is in flight: publications of the outbox until the broker has acknowledged every part of them.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use service::{Due, FixtureKey};
use tokio::sync::{OwnedSemaphorePermit, mpsc};

/// A row of the outbox on its way; when its last part is acknowledged, the row may be cleared.
pub(crate) struct Flight {
    key: FixtureKey,
    ticket: i64,
    parts: AtomicUsize,
    landed: mpsc::UnboundedSender<(FixtureKey, i64)>,
    _room: OwnedSemaphorePermit,
}

impl Flight {
    pub(crate) fn new(
        key: FixtureKey,
        ticket: i64,
        parts: usize,
        landed: mpsc::UnboundedSender<(FixtureKey, i64)>,
        room: OwnedSemaphorePermit,
    ) -> Arc<Self> {
        Arc::new(Self { key, ticket, parts: AtomicUsize::new(parts), landed, _room: room })
    }

    pub(crate) fn part_landed(&self) {
        if self.parts.fetch_sub(1, Ordering::AcqRel) == 1 {
            let _ = self.landed.send((self.key, self.ticket));
        }
    }
}

/// The fixtures that are in flight, each with what came for it meanwhile: while one is, the next waits for its landing,
/// and the latest state wins. So a storm of edits costs no more messages than the broker acknowledges.
#[derive(Default)]
pub(crate) struct Aloft(HashMap<FixtureKey, Option<Due>>);

impl Aloft {
    /// Lets a publication go if its fixture is not in flight; else keeps it in place of what was kept before.
    pub(crate) fn start(&mut self, due: Due) -> Option<Due> {
        match self.0.get_mut(&due.key) {
            Some(kept) => {
                *kept = Some(due);
                None
            }
            None => {
                self.0.insert(due.key, None);
                Some(due)
            }
        }
    }

    /// How many fixtures are in flight.
    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// A fixture has landed; gives what is to go next.
    pub(crate) fn landed(&mut self, key: FixtureKey) -> Option<Due> {
        self.0.remove(&key)?
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn due(key: i64, ticket: i64) -> Due {
        Due { key: FixtureKey(key), id: "hall".parse().unwrap(), ticket }
    }

    #[test]
    fn a_fixture_in_flight_keeps_the_latest_for_its_landing() {
        let mut aloft = Aloft::default();
        assert_eq!(aloft.start(due(1, 10)), Some(due(1, 10)));
        assert_eq!(aloft.start(due(2, 11)), Some(due(2, 11)), "another fixture does not wait");
        for ticket in 12..20 {
            assert_eq!(aloft.start(due(1, ticket)), None);
        }
        assert_eq!(aloft.landed(FixtureKey(1)), Some(due(1, 19)));
        assert_eq!(aloft.landed(FixtureKey(2)), None);
        assert_eq!(aloft.start(due(1, 19)), Some(due(1, 19)), "it may go now");
        assert_eq!(aloft.landed(FixtureKey(1)), None);
        assert!(aloft.0.is_empty());
    }
}
