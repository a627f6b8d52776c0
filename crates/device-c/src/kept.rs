//! What lives in the structs that the caller holds without looking into them: a tag, and behind it one of `device`'s
//! own.
#![allow(unsafe_code)]

use core::ptr;

use crate::SconcedStatus;

/// What can be kept in a struct that the caller holds.
pub(crate) trait Kept: Sized {
    /// The struct that the caller holds.
    type Room;
    /// What stands before it once it was begun; 0 is not taken, since zeroed memory was not begun.
    const TAG: u64;
}

#[repr(C)]
struct Slot<T> {
    tag: u64,
    value: T,
}

/// Puts a value into the caller's struct, whatever was in it before.
///
/// # Safety
/// A pointer that is not null points to memory for a `Room`, which nothing else uses meanwhile.
pub(crate) unsafe fn begin<T: Kept>(room: *mut T::Room, value: T) -> Result<(), SconcedStatus> {
    let at = slot::<T>(room)?;
    // SAFETY: not null and aligned as `slot` checked, and the room is large enough as it asserts; the memory is the
    // caller's promise. What was there before is not dropped: nothing kept here needs it.
    unsafe { at.write(Slot { tag: T::TAG, value }) };
    Ok(())
}

/// What was put into the caller's struct.
///
/// # Safety
/// A pointer that is not null points to a `Room` that was zeroed or begun, and that nothing else uses during `'a`.
pub(crate) unsafe fn exclusive<'a, T: Kept>(room: *mut T::Room) -> Result<&'a mut T, SconcedStatus> {
    let at = slot::<T>(room)?;
    // SAFETY: as in `begin`; the tag is an integer, which any bytes are.
    if unsafe { ptr::addr_of!((*at).tag).read() } != T::TAG {
        return Err(SconcedStatus::ErrorNotBegun);
    }
    // SAFETY: the tag is written with the value and by `begin` alone, so a `T` is there; that nobody else uses it is the
    // caller's promise.
    Ok(unsafe { &mut (*at).value })
}

/// What was put into the caller's struct, to look at.
///
/// # Safety
/// As for [`exclusive`], but for others that only look.
pub(crate) unsafe fn shared<'a, T: Kept>(room: *const T::Room) -> Result<&'a T, SconcedStatus> {
    let at = slot::<T>(room.cast_mut())?;
    // SAFETY: as in `exclusive`; nothing is written.
    if unsafe { ptr::addr_of!((*at).tag).read() } != T::TAG {
        return Err(SconcedStatus::ErrorNotBegun);
    }
    // SAFETY: as in `exclusive`; nothing is written.
    Ok(unsafe { &(*at).value })
}

fn slot<T: Kept>(room: *mut T::Room) -> Result<*mut Slot<T>, SconcedStatus> {
    const {
        assert!(size_of::<Slot<T>>() <= size_of::<T::Room>(), "the room in the header is too small");
        assert!(align_of::<Slot<T>>() <= align_of::<T::Room>(), "the room in the header is not aligned enough");
        assert!(!core::mem::needs_drop::<T>(), "nobody would drop what is kept");
    }
    if room.is_null() || !room.is_aligned() {
        return Err(SconcedStatus::ErrorPointer);
    }
    Ok(room.cast())
}
