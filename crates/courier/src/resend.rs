//! Sending again what was not reported as applied, with growing pauses: many small firmwares know QoS 0 only.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use service::FixtureKey;
use tokio::sync::Notify;
use tokio::time::Instant;

#[derive(Default)]
struct Waiting {
    order: BTreeSet<(Instant, FixtureKey)>,
    of: HashMap<FixtureKey, (Instant, Duration)>,
}

/// Who may have to be sent its state again, and when.
#[derive(Default)]
pub(crate) struct Resends {
    waiting: Mutex<Waiting>,
    sooner: Notify,
}

impl Resends {
    fn waiting(&self) -> MutexGuard<'_, Waiting> {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Something new was sent to a fixture: begin with the shortest pause.
    pub(crate) fn begin(&self, key: FixtureKey, pause: Duration) {
        self.set(key, pause);
    }

    /// It was sent again: wait twice as long, up to the longest.
    pub(crate) fn again(&self, key: FixtureKey, before: Duration, longest: Duration) {
        self.set(key, before.saturating_mul(2).min(longest));
    }

    fn set(&self, key: FixtureKey, pause: Duration) {
        let at = Instant::now() + pause;
        let mut waiting = self.waiting();
        if let Some((old, _)) = waiting.of.insert(key, (at, pause)) {
            waiting.order.remove(&(old, key));
        }
        waiting.order.insert((at, key));
        let first = waiting.order.first().is_some_and(|(first, _)| *first == at);
        drop(waiting);
        if first {
            self.sooner.notify_one();
        }
    }

    /// Waits for the next one that is due, and takes it with the pause that it waited.
    pub(crate) async fn due(&self) -> (FixtureKey, Duration) {
        loop {
            let next = {
                let mut waiting = self.waiting();
                match waiting.order.first().copied() {
                    Some((at, key)) if at <= Instant::now() => {
                        waiting.order.remove(&(at, key));
                        let pause = waiting.of.remove(&key).map_or(Duration::ZERO, |(_, pause)| pause);
                        return (key, pause);
                    }
                    first => first.map(|(at, _)| at),
                }
            };
            match next {
                Some(at) => tokio::select! {
                    () = tokio::time::sleep_until(at) => {}
                    () = self.sooner.notified() => {}
                },
                None => self.sooner.notified().await,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn pauses_double_up_to_the_longest() {
        let resends = Resends::default();
        let key = FixtureKey(1);
        let start = Instant::now();
        resends.begin(key, Duration::from_secs(5));
        let mut pauses = Vec::new();
        for _ in 0..5 {
            let (due, pause) = resends.due().await;
            assert_eq!(due, key);
            pauses.push(pause.as_secs());
            resends.again(key, pause, Duration::from_secs(30));
        }
        assert_eq!(pauses, [5, 10, 20, 30, 30]);
        assert_eq!(start.elapsed().as_secs(), 95);
    }

    #[tokio::test(start_paused = true)]
    async fn something_new_begins_with_the_shortest_pause_again() {
        let resends = Resends::default();
        resends.begin(FixtureKey(1), Duration::from_secs(60));
        resends.begin(FixtureKey(1), Duration::from_secs(5));
        assert_eq!(resends.due().await, (FixtureKey(1), Duration::from_secs(5)));
    }
}
