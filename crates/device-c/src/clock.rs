//! Unix time from uptime.
#![allow(unsafe_code)]

use device::Clock;

use crate::SconcedStatus;
use crate::kept::{self, Kept};
use crate::memory::place;
use crate::status::answer;

/// A controller's idea of Unix time; none after power-on. Hold it, begin it, and do not look into it.
#[repr(C)]
#[derive(Debug)]
pub struct SconcedClock {
    /// What it holds.
    pub held: [u64; 4],
}

impl Kept for Clock {
    type Room = SconcedClock;
    const TAG: u64 = 0x7363_6f6e_636c_6f63;
}

/// # Safety
/// The pointers are as the head of this crate asks.
unsafe fn tell(clock: *const SconcedClock, at: *mut u64, ask: impl FnOnce(&Clock) -> Option<u64>) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's promise.
        let (clock, place) = unsafe { (kept::shared::<Clock>(clock)?, place(at)?) };
        place.write(ask(clock).ok_or(SconcedStatus::Nothing)?);
        Ok(())
    })
}

/// A clock that has not been set.
///
/// Error: POINTER.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_begin(clock: *mut SconcedClock) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    answer(|| unsafe { kept::begin(clock, Clock::unset()) })
}

/// Hears the `now_ms` of a message that came at `uptime_ms`. That of a retained message is not used: it is stored news of
/// unknown age.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_hear(
    clock: *mut SconcedClock,
    now_ms: u64,
    retained: bool,
    uptime_ms: u64,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointer is as the head of this crate asks.
        unsafe { kept::exclusive::<Clock>(clock)? }.hear(now_ms, retained, uptime_ms);
        Ok(())
    })
}

/// Sets the clock to Unix time `now_ms` as it is at `uptime_ms`, as a time server does.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_set(clock: *mut SconcedClock, now_ms: u64, uptime_ms: u64) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointer is as the head of this crate asks.
        unsafe { kept::exclusive::<Clock>(clock)? }.set(now_ms, uptime_ms);
        Ok(())
    })
}

/// Unix time in milliseconds at `uptime_ms`, into `*unix_ms`.
///
/// NOTHING while the clock is not set. Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_unix_ms(
    clock: *const SconcedClock,
    uptime_ms: u64,
    unix_ms: *mut u64,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(clock, unix_ms, |clock| clock.unix_ms(uptime_ms)) }
}

/// Unix time in whole seconds at `uptime_ms`, as an agenda counts it, into `*unix_s`.
///
/// NOTHING while the clock is not set. Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_unix_seconds(
    clock: *const SconcedClock,
    uptime_ms: u64,
    unix_s: *mut u64,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(clock, unix_s, |clock| clock.unix_seconds(uptime_ms)) }
}

/// The uptime in milliseconds at which Unix second `at_s` begins, into `*uptime_ms`; for a second before the clock was
/// set, the uptime of its setting.
///
/// NOTHING while the clock is not set. Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_clock_uptime_of(
    clock: *const SconcedClock,
    at_s: u64,
    uptime_ms: *mut u64,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(clock, uptime_ms, |clock| clock.uptime_of(at_s)) }
}
