//! Stepping the agenda.
#![allow(unsafe_code)]

use device::AGENDA_CHANGES;

use crate::SconcedStatus;
use crate::memory::{list, place};
use crate::status::answer;

/// The most changes that one agenda carries.
pub const SCONCED_AGENDA_CHANGES: usize = 32;
const _: () = assert!(SCONCED_AGENDA_CHANGES == AGENDA_CHANGES, "the header says another number");

/// A change of the agenda.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct SconcedChange {
    /// The Unix second from which on it holds.
    pub at_s: u64,
    /// Which look then shows, by a number of the caller's.
    pub look: u32,
}

/// The changes as `device` takes them.
struct Changes([(u64, u32); AGENDA_CHANGES], usize);

impl Changes {
    fn of(changes: &[SconcedChange]) -> Result<Self, SconcedStatus> {
        let mut kept = [(0, 0); AGENDA_CHANGES];
        if changes.len() > kept.len() {
            return Err(SconcedStatus::ErrorRange);
        }
        for (kept, change) in kept.iter_mut().zip(changes) {
            *kept = (change.at_s, change.look);
        }
        Ok(Self(kept, changes.len()))
    }

    fn all(&self) -> &[(u64, u32)] {
        self.0.get(..self.1).unwrap_or_default()
    }
}

/// # Safety
/// The pointers are as the head of this crate asks.
unsafe fn tell<T>(
    changes: *const SconcedChange,
    count: usize,
    at: *mut T,
    ask: impl FnOnce(&[(u64, u32)]) -> Option<T>,
) -> SconcedStatus {
    answer(|| {
        if count > AGENDA_CHANGES {
            return Err(SconcedStatus::ErrorRange);
        }
        // SAFETY: the caller's promise.
        let changes = Changes::of(unsafe { list(changes, count)? })?;
        // SAFETY: the caller's promise.
        let place = unsafe { place(at)? };
        place.write(ask(changes.all()).ok_or(SconcedStatus::Nothing)?);
        Ok(())
    })
}

/// The look that holds at Unix second `now_s`, into `*look`: that of the latest change not after it, and the last named
/// of several at one second. The changes need no order.
///
/// NOTHING when the agenda is empty or begins later. Errors: POINTER; RANGE for more than 32 changes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_agenda_step(
    changes: *const SconcedChange,
    count: usize,
    now_s: u64,
    look: *mut u32,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(changes, count, look, |agenda| device::step(agenda, now_s)) }
}

/// The best guess without a clock, into `*look`: the earliest change, which held when the agenda was written.
///
/// NOTHING when the agenda is empty. Errors: POINTER; RANGE for more than 32 changes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_agenda_step_without_clock(
    changes: *const SconcedChange,
    count: usize,
    look: *mut u32,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(changes, count, look, device::step_without_clock) }
}

/// The Unix second of the next change after `now_s`, into `*at_s`.
///
/// NOTHING when no further change is known. Errors: POINTER; RANGE for more than 32 changes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_agenda_next(
    changes: *const SconcedChange,
    count: usize,
    now_s: u64,
    at_s: *mut u64,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(changes, count, at_s, |agenda| device::next_change(agenda, now_s)) }
}
