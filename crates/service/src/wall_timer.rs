//! A sleep by the wall clock: until an instant, or until somebody sets the clock.
//!
//! A sleep of the runtime counts by a clock that is never set and that stands still while the machine is suspended: an
//! instant would be missed by as much as the clock was put forward, or by the length of the suspension.

use std::io;
use std::time::Duration;

use jiff::Timestamp;

/// Where the system has no such timer, and where it has none left: how long a sleep lasts at most before the clock is
/// looked at again.
const LOOK_AGAIN: Duration = Duration::from_secs(30);

/// Waits until the system's clock shows `when`, or until it was set; `now` is what it shows.
pub(crate) async fn until(when: Timestamp, now: Timestamp) {
    if let Err(error) = by_the_system(when).await {
        tracing::debug!(%error, "no timer by the wall clock; it is looked at now and then instead");
        let left = Duration::try_from(when.duration_since(now)).unwrap_or(Duration::ZERO);
        tokio::time::sleep(left.min(LOOK_AGAIN)).await;
    }
}

#[cfg(target_os = "linux")]
async fn by_the_system(when: Timestamp) -> io::Result<()> {
    use rustix::time::{
        Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, timerfd_create, timerfd_settime,
    };
    use tokio::io::Interest;
    use tokio::io::unix::AsyncFd;

    let timer = timerfd_create(TimerfdClockId::Realtime, TimerfdFlags::CLOEXEC | TimerfdFlags::NONBLOCK)?;
    // all zero would disarm it; an instant that has passed already fires at once
    let at = Timespec { tv_sec: when.as_second().max(1), tv_nsec: i64::from(when.subsec_nanosecond().max(0)) };
    let once = Itimerspec { it_interval: Timespec { tv_sec: 0, tv_nsec: 0 }, it_value: at };
    timerfd_settime(&timer, TimerfdTimerFlags::ABSTIME | TimerfdTimerFlags::CANCEL_ON_SET, &once)?;
    // readable when it fires and when the clock is set; what it was is seen by looking at the clock
    #[expect(deprecated, reason = "its fault is with owners that exchange their descriptor; an `OwnedFd` never does")]
    let timer = AsyncFd::with_interest(timer, Interest::READABLE)?;
    timer.readable().await.map(|_| ())
}

#[cfg(not(target_os = "linux"))]
async fn by_the_system(_: Timestamp) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;

    #[tokio::test]
    async fn a_sleep_ends_when_the_clock_shows_its_instant_and_not_before() {
        let clock = Clock::System;
        let when = clock.now() + jiff::SignedDuration::from_millis(120);
        until(when, clock.now()).await;
        assert!(clock.now() >= when, "unless somebody set the clock of the machine just now");
    }

    #[tokio::test]
    async fn an_instant_that_has_passed_is_not_waited_for() {
        let now = Clock::System.now();
        until(now - jiff::SignedDuration::from_hours(1), now).await;
        until(Timestamp::UNIX_EPOCH, now).await;
        until(Timestamp::MIN, now).await;
    }
}
