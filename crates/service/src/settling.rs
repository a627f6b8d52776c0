//! One after the other for each fixture: what makes, enrols or takes away a fixture waits until the broker was told of
//! what came before it.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use kernel::FixtureId;
use tokio::sync::OwnedMutexGuard;

type Lock = Arc<tokio::sync::Mutex<()>>;

/// The fixtures about which something is under way or waits for its turn.
#[derive(Debug, Default)]
pub(crate) struct Settling(Mutex<HashMap<FixtureId, Lock>>);

/// A turn; it ends when this is dropped.
#[derive(Debug)]
pub(crate) struct Turn<'a> {
    // in this order: the place is given up when nobody holds the lock through this turn any more
    _held: OwnedMutexGuard<()>,
    _place: Place<'a>,
}

/// A place in the line of a fixture, with a turn or without one yet.
#[derive(Debug)]
struct Place<'a> {
    of: &'a Settling,
    id: FixtureId,
    lock: Option<Lock>,
}

impl Settling {
    fn lines(&self) -> MutexGuard<'_, HashMap<FixtureId, Lock>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for the turn of this fixture. Other fixtures' turns are their own.
    pub(crate) async fn turn(&self, id: &FixtureId) -> Turn<'_> {
        let lock = Arc::clone(self.lines().entry(id.clone()).or_default());
        let place = Place { of: self, id: id.clone(), lock: Some(Arc::clone(&lock)) };
        Turn { _held: lock.lock_owned().await, _place: place }
    }
}

impl Drop for Place<'_> {
    fn drop(&mut self) {
        let mut lines = self.of.lines();
        self.lock = None;
        // a line in which nobody stands any more
        if lines.get(&self.id).is_some_and(|lock| Arc::strong_count(lock) == 1) {
            lines.remove(&self.id);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(text: &str) -> FixtureId {
        text.parse().unwrap()
    }

    #[tokio::test]
    async fn turns_of_one_fixture_come_one_after_the_other_and_those_of_others_at_once() {
        let (settling, hall) = (Settling::default(), id("hall"));
        let first = settling.turn(&hall).await;
        let mut second = Box::pin(settling.turn(&hall));
        assert!(if_ready(&mut second).await.is_none(), "the first has not ended");
        drop(settling.turn(&id("stairs")).await);
        drop(first);
        assert!(if_ready(&mut second).await.is_some());
    }

    #[tokio::test]
    async fn nothing_is_kept_of_turns_that_ended_or_were_never_taken() {
        let (settling, hall) = (Settling::default(), id("hall"));
        let first = settling.turn(&hall).await;
        let mut left = Box::pin(settling.turn(&hall));
        assert!(if_ready(&mut left).await.is_none());
        drop(left);
        assert_eq!(settling.lines().len(), 1);
        drop(first);
        assert_eq!(settling.lines().len(), 0);
    }

    /// What a future gives if it is ready now.
    async fn if_ready<F: Future + Unpin>(future: &mut F) -> Option<F::Output> {
        tokio::select! {
            biased;
            output = future => Some(output),
            () = std::future::ready(()) => None,
        }
    }
}
