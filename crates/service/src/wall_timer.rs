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

/// Waits until the system's clock shows `when`, or until it was set. `is_to_come` reads the clock, and gives what it
/// shows unless there is nothing to wait for; it is asked once the timer hears of the clock being set.
pub(crate) async fn until(when: Timestamp, is_to_come: impl Fn() -> Option<Timestamp>) {
    if let Err(error) = by_the_system(when, &is_to_come).await {
        tracing::debug!(%error, "no timer by the wall clock; it is looked at now and then instead");
        let Some(now) = is_to_come() else { return };
        let left = Duration::try_from(when.duration_since(now)).unwrap_or(Duration::ZERO);
        tokio::time::sleep(left.min(LOOK_AGAIN)).await;
    }
}

#[cfg(target_os = "linux")]
async fn by_the_system(when: Timestamp, is_to_come: impl Fn() -> Option<Timestamp>) -> io::Result<()> {
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
    if is_to_come().is_none() {
        return Ok(());
    }
    // readable when it fires and when the clock is set; what it was is seen by looking at the clock
    #[expect(deprecated, reason = "its fault is with owners that exchange their descriptor; an `OwnedFd` never does")]
    let timer = AsyncFd::with_interest(timer, Interest::READABLE)?;
    timer.readable().await.map(|_| ())
}

#[cfg(not(target_os = "linux"))]
async fn by_the_system(_: Timestamp, _: impl Fn() -> Option<Timestamp>) -> io::Result<()> {
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
        clock.until(when, clock.now()).await;
        assert!(clock.now() >= when, "unless somebody set the clock of the machine just now");
    }

    #[tokio::test]
    async fn an_instant_that_has_passed_is_not_waited_for() {
        let (clock, now) = (Clock::System, Clock::System.now());
        for when in [now - jiff::SignedDuration::from_hours(1), Timestamp::UNIX_EPOCH, Timestamp::MIN] {
            clock.until(when, now).await;
        }
    }

    #[tokio::test]
    async fn a_clock_that_was_set_back_before_the_sleep_began_is_not_waited_for() {
        let clock = Clock::System;
        let hours = |n| clock.now() + jiff::SignedDuration::from_hours(n);
        clock.until(hours(2), hours(1)).await;
        let manual = Clock::manual(Timestamp::UNIX_EPOCH);
        manual.until(hours(2), hours(1)).await;
    }
}
