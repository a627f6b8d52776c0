//! The clock, injected: the system's, or one that a test sets.

use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use tokio::sync::Notify;

use crate::wall_timer;

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

    /// Waits until that time, or until the clock was set, whichever comes first: look at it again. A clock that shows
    /// less than `seen`, which the caller has read from it before, was set already, and is not waited for.
    pub async fn until(&self, when: Timestamp, seen: Timestamp) {
        let is_to_come = || {
            let now = self.now();
            (seen <= now && now < when).then_some(now)
        };
        match self {
            Self::System => wall_timer::until(when, is_to_come).await,
            Self::Manual(clock) => {
                // from here on it hears of the clock being set
                let notified = clock.0.1.notified();
                if is_to_come().is_some() {
                    notified.await;
                }
            }
        }
    }
}
