//! The clock, injected: the system's, or one that a test sets.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use tokio::sync::Notify;

/// How long a sleep lasts at most before the clock is looked at again: wall clocks step, and a laptop sleeps.
const LOOK_AGAIN: Duration = Duration::from_secs(30);

/// Where the time comes from. Times are whole milliseconds, as the database keeps them.
#[derive(Debug, Clone, Default)]
pub enum Clock {
    /// The system's clock.
    #[default]
    System,
    /// A clock that stands still until it is set.
    Manual(ManualClock),
}

/// A clock that stands still until it is set.
#[derive(Debug, Clone)]
pub struct ManualClock(Arc<(Mutex<Timestamp>, Notify)>);

impl Clock {
    /// A clock that stands at that time.
    #[must_use]
    pub fn manual(at: Timestamp) -> Self {
        Self::Manual(ManualClock(Arc::new((Mutex::new(at), Notify::new()))))
    }

    /// The time now, in whole milliseconds.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "this is the place that all others take the time from")]
    pub fn now(&self) -> Timestamp {
        let now = match self {
            Self::System => Timestamp::now(),
            Self::Manual(clock) => *clock.0.0.lock().unwrap_or_else(PoisonError::into_inner),
        };
        Timestamp::from_millisecond(now.as_millisecond()).unwrap_or(now)
    }

    /// Sets a manual clock; the system's is left alone.
    pub fn set(&self, to: Timestamp) {
        if let Self::Manual(clock) = self {
            *clock.0.0.lock().unwrap_or_else(PoisonError::into_inner) = to;
            clock.0.1.notify_waiters();
        }
    }

    /// Waits until that time, or until the clock should be looked at again, whichever comes first.
    pub async fn until(&self, when: Timestamp) {
        match self {
            Self::System => {
                let left = when.duration_since(self.now());
                let left = Duration::try_from(left).unwrap_or(Duration::ZERO);
                tokio::time::sleep(left.min(LOOK_AGAIN)).await;
            }
            Self::Manual(clock) => {
                let notified = clock.0.1.notified();
                if self.now() < when {
                    notified.await;
                }
            }
        }
    }
}
