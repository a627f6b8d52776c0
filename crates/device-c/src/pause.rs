//! Growing pauses between attempts.
#![allow(unsafe_code)]

use device::Pause;

use crate::SconcedStatus;
use crate::kept::{self, Kept};
use crate::memory::place;
use crate::status::answer;

/// Pauses that double from a first length to a longest one, each drawn from the upper half of its length. Hold it, begin
/// it, and do not look into it.
#[repr(C)]
#[derive(Debug)]
pub struct SconcedPause {
    /// What it holds.
    pub held: [u64; 3],
}

impl Kept for Pause {
    type Room = SconcedPause;
    const TAG: u64 = 0x7363_6f6e_7061_7573;
}

/// Pauses from `first_ms` to `most_ms` milliseconds; a longest one below the first counts as the first.
/// 1000 and 60000 are usual.
///
/// Error: POINTER.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_pause_begin(pause: *mut SconcedPause, first_ms: u32, most_ms: u32) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    answer(|| unsafe { kept::begin(pause, Pause::new(first_ms, most_ms)) })
}

/// The next pause in milliseconds, into `*ms`. `random` is any number, all 32 bits of it.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_pause_next(pause: *mut SconcedPause, random: u32, ms: *mut u64) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (place, pause) = unsafe { (place(ms)?, kept::exclusive::<Pause>(pause)?) };
        place.write(pause.next(random));
        Ok(())
    })
}

/// Starts again from the first length, after a success.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_pause_reset(pause: *mut SconcedPause) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointer is as the head of this crate asks.
        unsafe { kept::exclusive::<Pause>(pause)? }.reset();
        Ok(())
    })
}
