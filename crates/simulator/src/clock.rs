//! The controller's sense of passing time, injected: the system's, or one that a test moves.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::Instant;

/// By what a controller counts its time since power-on. Its clock, its agenda, its fades and its asking go by it; its
/// network does not.
#[derive(Debug, Clone, Default)]
pub enum Clock {
    /// As time passes.
    #[default]
    System,
    /// Time stands still until it is moved.
    Manual(ManualClock),
}

/// A time that stands still until it is moved. Clones are one and the same.
#[derive(Debug, Clone, Default)]
pub struct ManualClock(Arc<Moved>);

#[derive(Debug, Default)]
pub(crate) struct Moved {
    ms: AtomicU64,
    on: Notify,
}

impl Clock {
    /// A time that stands still until [`Clock::advance`] moves it. Clones move together, so one can serve a whole fleet.
    #[must_use]
    pub fn manual() -> Self {
        Self::Manual(ManualClock::default())
    }

    /// Moves a manual time on, by whole milliseconds; the system's is left alone. It never goes back, as no
    /// controller's count does; to set a controller's idea of Unix time, back or forth, is
    /// [`Fixture::set_clock`](crate::Fixture::set_clock).
    pub fn advance(&self, by: Duration) {
        if let Self::Manual(ManualClock(moved)) = self {
            let by = u64::try_from(by.as_millis()).unwrap_or(u64::MAX);
            moved.ms.update(Ordering::SeqCst, Ordering::SeqCst, |ms| ms.saturating_add(by));
            moved.on.notify_waiters();
        }
    }

    /// Begins to count, as at power-on.
    pub(crate) fn start(&self) -> Uptime {
        match self {
            Self::System => Uptime::System(Instant::now()),
            Self::Manual(ManualClock(moved)) => {
                Uptime::Manual { began: moved.ms.load(Ordering::SeqCst), moved: Arc::clone(moved) }
            }
        }
    }
}

/// Two manual clocks are equal when they are one and the same.
impl PartialEq for Clock {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::System, Self::System) => true,
            (Self::Manual(one), Self::Manual(two)) => Arc::ptr_eq(&one.0, &two.0),
            _ => false,
        }
    }
}

impl Eq for Clock {}

/// The time since power-on.
#[derive(Debug)]
pub(crate) enum Uptime {
    System(Instant),
    Manual { began: u64, moved: Arc<Moved> },
}

impl Uptime {
    /// In milliseconds.
    pub(crate) fn ms(&self) -> u64 {
        match self {
            Self::System(powered) => u64::try_from(powered.elapsed().as_millis()).unwrap_or(u64::MAX),
            Self::Manual { began, moved } => moved.ms.load(Ordering::SeqCst).saturating_sub(*began),
        }
    }

    /// Waits until the uptime `due`, or for a while, or until a manual time was moved: look at it again. Without `due`
    /// for ever.
    pub(crate) async fn until(&self, due: Option<u64>) {
        // A timer cannot be set further ahead than some years, and an agenda from outside may name any second.
        const FAR: Duration = Duration::from_secs(86_400);
        let Some(due) = due else { return std::future::pending().await };
        match self {
            Self::System(powered) => {
                let wait = Duration::from_millis(due).saturating_sub(powered.elapsed());
                tokio::time::sleep(wait.min(FAR)).await;
            }
            Self::Manual { moved, .. } => {
                // made before the look at the time, so that no move is missed in between
                let on = moved.on.notified();
                if self.ms() < due {
                    on.await;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_manual_time_stands_still_until_it_is_moved_and_moves_for_all_who_have_it() {
        let clock = Clock::manual();
        clock.advance(Duration::from_secs(5));
        let first = clock.start();
        clock.clone().advance(Duration::from_millis(1_500));
        let second = clock.start();
        assert_eq!((first.ms(), second.ms()), (1_500, 0));
        clock.advance(Duration::from_secs(3_600));
        assert_eq!((first.ms(), second.ms()), (3_601_500, 3_600_000));
        assert_eq!(clock, clock.clone());
        assert!(clock != Clock::manual() && clock != Clock::System);
    }

    #[tokio::test]
    async fn whoever_waits_for_a_manual_time_is_woken_when_it_is_moved() {
        let clock = Clock::manual();
        let uptime = clock.start();
        uptime.until(Some(0)).await;
        let waits = async {
            while uptime.ms() < 60_000 {
                uptime.until(Some(60_000)).await;
            }
        };
        let moves = async {
            for _ in 0..60 {
                tokio::task::yield_now().await;
                clock.advance(Duration::from_secs(1));
            }
        };
        // generous: only a clock that wakes nobody ever waits for it
        let woken = tokio::time::timeout(Duration::from_secs(60), async { tokio::join!(waits, moves) }).await;
        assert!(woken.is_ok(), "nobody was woken");
        assert_eq!(uptime.ms(), 60_000);
    }
}
