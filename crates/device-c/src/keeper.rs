//! Which message to take, and when to boot and to ask.
#![allow(unsafe_code)]

use device::{Firmware, Keeper, PatchTaking, Taking};

use crate::SconcedStatus;
use crate::kept::{self, Kept};
use crate::memory::place;
use crate::status::answer;

/// How much of its state a fixture keeps for itself.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedFirmware {
    /// Takes `showing` alone.
    Showing = 0,
    /// Keeps `desired` and follows its agenda by its own clock.
    Agenda = 1,
    /// Keeps the document by `patch` alone, and shows what `showing` says.
    Patch = 2,
}

/// What to do with a `desired` or a `showing` message.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedTaking {
    /// Old, or stored and no newer than what is held: do nothing, say nothing.
    Ignore = 0,
    /// A newer revision: take the whole message and report it.
    Take = 1,
    /// The revision held, with newer surroundings: take agenda, resolved look and ceiling, leave the document. Report
    /// again when it came live.
    Renew = 2,
    /// A live repetition of what is held: change nothing, but report again.
    Again = 3,
}

/// What to do with a `patch` message.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedPatchTaking {
    /// Held already, or older: change nothing.
    Ignore = 0,
    /// It fits what is held: merge it and report.
    Apply = 1,
    /// It is newer but does not fit: the whole is needed, and an ask becomes due.
    Ask = 2,
}

/// The rules of one controller, from power-on to power-off. Hold it, begin it, and do not look into it.
///
/// `uptime_ms` below is milliseconds since power-on. `random` is any number from a source of randomness, all 32 bits of
/// it: it spreads pauses, so that a house full of fixtures does not speak at one instant.
#[repr(C)]
#[derive(Debug)]
pub struct SconcedKeeper {
    /// What it holds.
    pub held: [u64; 16],
}

impl Kept for Keeper {
    type Room = SconcedKeeper;
    const TAG: u64 = 0x7363_6f6e_6b65_6570;
}

impl From<Taking> for SconcedTaking {
    fn from(taking: Taking) -> Self {
        match taking {
            Taking::Take => Self::Take,
            Taking::Renew => Self::Renew,
            Taking::Again => Self::Again,
            Taking::Ignore => Self::Ignore,
        }
    }
}

impl From<PatchTaking> for SconcedPatchTaking {
    fn from(taking: PatchTaking) -> Self {
        match taking {
            PatchTaking::Apply => Self::Apply,
            PatchTaking::Ask => Self::Ask,
            PatchTaking::Ignore => Self::Ignore,
        }
    }
}

/// # Safety
/// The pointer is as the head of this crate asks.
unsafe fn change(keeper: *mut SconcedKeeper, change: impl FnOnce(&mut Keeper)) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's promise.
        change(unsafe { kept::exclusive::<Keeper>(keeper)? });
        Ok(())
    })
}

/// # Safety
/// The pointers are as the head of this crate asks.
unsafe fn tell<T>(keeper: *const SconcedKeeper, at: *mut T, ask: impl FnOnce(&Keeper) -> T) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's promise.
        let (keeper, place) = unsafe { (kept::shared::<Keeper>(keeper)?, place(at)?) };
        place.write(ask(keeper));
        Ok(())
    })
}

/// # Safety
/// The pointers are as the head of this crate asks.
unsafe fn hear<T>(keeper: *mut SconcedKeeper, at: *mut T, hear: impl FnOnce(&mut Keeper) -> T) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's promise. The place is checked first, so that an error changes nothing.
        let (place, keeper) = unsafe { (place(at)?, kept::exclusive::<Keeper>(keeper)?) };
        place.write(hear(keeper));
        Ok(())
    })
}

/// A controller that was just powered: it holds nothing, and its boot message is due. `firmware` is one of
/// SconcedFirmware.
///
/// Errors: POINTER; RANGE for another firmware.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_begin(keeper: *mut SconcedKeeper, firmware: u8) -> SconcedStatus {
    answer(|| {
        let firmware = match firmware {
            number if number == SconcedFirmware::Showing as u8 => Firmware::Showing,
            number if number == SconcedFirmware::Agenda as u8 => Firmware::Agenda,
            number if number == SconcedFirmware::Patch as u8 => Firmware::Patch,
            _ => return Err(SconcedStatus::ErrorRange),
        };
        // SAFETY: the caller's pointer is as the head of this crate asks.
        unsafe { kept::begin(keeper, Keeper::new(firmware)) }
    })
}

/// The revision held, into `*rev`, 0 for none: what `have` says in `boot` and `ask`.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_have(keeper: *const SconcedKeeper, rev: *mut u64) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(keeper, rev, Keeper::have) }
}

/// A `desired` message of revision `rev`, sent at Unix time `now_ms`; into `*taking` goes what to do with it. `retained`
/// is the retain flag that it came with.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_on_desired(
    keeper: *mut SconcedKeeper,
    rev: u64,
    now_ms: u64,
    retained: bool,
    taking: *mut SconcedTaking,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { hear(keeper, taking, |keeper| keeper.on_desired(rev, now_ms, retained).into()) }
}

/// A `showing` message of revision `rev`, sent at Unix time `now_ms`; into `*taking` goes what to do with it. `retained`
/// is the retain flag that it came with.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_on_showing(
    keeper: *mut SconcedKeeper,
    rev: u64,
    now_ms: u64,
    retained: bool,
    taking: *mut SconcedTaking,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { hear(keeper, taking, |keeper| keeper.on_showing(rev, now_ms, retained).into()) }
}

/// A `patch` message from revision `from` to `rev`, heard at `uptime_ms`; into `*taking` goes what to do with it.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_on_patch(
    keeper: *mut SconcedKeeper,
    from: u64,
    rev: u64,
    uptime_ms: u64,
    taking: *mut SconcedPatchTaking,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { hear(keeper, taking, |keeper| keeper.on_patch(from, rev, uptime_ms).into()) }
}

/// A `problem` said that the revision held was never given out: what is held is forgotten, and an ask is due at once.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_never_given(keeper: *mut SconcedKeeper, uptime_ms: u64) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    unsafe { change(keeper, |keeper| keeper.never_given(uptime_ms)) }
}

/// Whether the boot message is due, into `*due`.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_boot_due(keeper: *const SconcedKeeper, due: *mut bool) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(keeper, due, Keeper::boot_message_due) }
}

/// The boot message went out. When no answer comes in a pause, an ask is due.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_boot_sent(
    keeper: *mut SconcedKeeper,
    uptime_ms: u64,
    random: u32,
) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    unsafe { change(keeper, |keeper| keeper.boot_sent(uptime_ms, random)) }
}

/// The connection broke before the boot message was acknowledged: it is due again.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_boot_lost(keeper: *mut SconcedKeeper) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    unsafe { change(keeper, Keeper::boot_lost) }
}

/// Whether an `ask` is due, into `*due`.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_ask_due(
    keeper: *const SconcedKeeper,
    uptime_ms: u64,
    due: *mut bool,
) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(keeper, due, |keeper| keeper.ask_due(uptime_ms)) }
}

/// The uptime in milliseconds at which the next `ask` is due unless an answer comes first, into `*at_ms`.
///
/// NOTHING when none is to come. Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_next_ask(keeper: *const SconcedKeeper, at_ms: *mut u64) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (keeper, place) = unsafe { (kept::shared::<Keeper>(keeper)?, place(at_ms)?) };
        place.write(keeper.next_ask().ok_or(SconcedStatus::Nothing)?);
        Ok(())
    })
}

/// An `ask` went out. When no answer comes in a growing pause, the next is due.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_ask_sent(
    keeper: *mut SconcedKeeper,
    uptime_ms: u64,
    random: u32,
) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    unsafe { change(keeper, |keeper| keeper.ask_sent(uptime_ms, random)) }
}

/// Connected again without having lost power: something may have been missed, so an `ask` is due at once.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_reconnected(keeper: *mut SconcedKeeper, uptime_ms: u64) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    unsafe { change(keeper, |keeper| keeper.reconnected(uptime_ms)) }
}

/// Whether an answer to a boot or an ask is awaited, into `*waits`.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_keeper_is_waiting(keeper: *const SconcedKeeper, waits: *mut bool) -> SconcedStatus {
    // SAFETY: the caller's pointers are as the head of this crate asks.
    unsafe { tell(keeper, waits, Keeper::is_waiting) }
}
