//! The messages `showing` and `problem`, as far as firmware needs them.
#![allow(unsafe_code)]

use core::ffi::c_char;

use crate::memory::{list, place};
use crate::status::answer;
use crate::{SconcedLook, SconcedStatus, message};

/// The bytes of a look's name, with the zero at its end.
pub const SCONCED_NAME_BYTES: usize = 65;

/// Why something shows.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedBecause {
    /// For a reason that this version does not know.
    Other = 0,
    /// The light is off.
    Unlit = 1,
    /// The owner's override.
    Override = 2,
    /// Another fixture's event.
    Link = 3,
    /// The timetable.
    Timetable = 4,
    /// The look for all other times.
    Default = 5,
    /// Nothing was wanted.
    Dark = 6,
}

/// A `showing` message.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SconcedShowing {
    /// The revision of the desired document that it was made from.
    pub rev: u64,
    /// The daemon's Unix time in milliseconds when it wrote this.
    pub now_ms: u64,
    /// The Unix second at which something else will show; 0 when no change is foreseen.
    pub until_s: u64,
    /// How long the change to it takes, in milliseconds.
    pub fade_ms: u32,
    /// The most that the fixture may draw; says something only when `has_ceiling`.
    pub ceiling_milliamps: u32,
    /// Whether the message names a ceiling.
    pub has_ceiling: bool,
    /// One of SconcedBecause.
    pub because: u8,
    /// What to show.
    pub look: SconcedLook,
    /// The look's name, for people: UTF-8 with a zero at its end; cut where it is longer.
    pub name: [c_char; SCONCED_NAME_BYTES],
}

/// Reads a `showing` message.
///
/// `text` has `length` bytes, without a zero at its end. Members that are not known are passed over, and so is what a
/// motif carries beyond its six parts. A motif that is not known shows as steady, and one with parts missing with what is
/// usual; colours beyond eight are left out. `rev`, `now_ms` and at least one colour must be there. No more than
/// eight levels of arrays and objects are read.
/// Errors: POINTER; MESSAGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_showing_read(
    text: *const c_char,
    length: usize,
    showing: *mut SconcedShowing,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (text, place) = unsafe { (list(text.cast::<u8>(), length)?, place(showing)?) };
        place.write(message::showing(text)?);
        Ok(())
    })
}

/// Whether a `problem` message says that the revision held was never given out, into `*is`: then the keeper has to hear
/// of it (`sconced_keeper_never_given`).
///
/// `text` has `length` bytes, without a zero at its end. Errors: POINTER; MESSAGE.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_problem_is_never_given(
    text: *const c_char,
    length: usize,
    is: *mut bool,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (text, place) = unsafe { (list(text.cast::<u8>(), length)?, place(is)?) };
        place.write(message::is_never_given(text)?);
        Ok(())
    })
}
