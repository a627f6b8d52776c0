//! The caller's memory: pointers become values, slices and places to write to, or errors.
#![allow(unsafe_code)]

use core::mem::MaybeUninit;
use core::slice;

use crate::SconcedStatus;

/// What a pointer points to, copied, so that no reference to the caller's memory outlives this.
///
/// # Safety
/// A pointer that is not null points to a `T`. Every `T` used here is made of integers, which any bytes are.
pub(crate) unsafe fn read<T: Copy>(from: *const T) -> Result<T, SconcedStatus> {
    if from.is_null() || !from.is_aligned() {
        return Err(SconcedStatus::ErrorPointer);
    }
    // SAFETY: not null and aligned as checked; that a `T` is there is the caller's promise.
    Ok(unsafe { from.read() })
}

/// A place to write a `T` to, checked before anything is done.
///
/// # Safety
/// A pointer that is not null points to memory for a `T`, which nothing else uses during `'a`.
pub(crate) unsafe fn place<'a, T>(at: *mut T) -> Result<&'a mut MaybeUninit<T>, SconcedStatus> {
    if at.is_null() || !at.is_aligned() {
        return Err(SconcedStatus::ErrorPointer);
    }
    // SAFETY: not null and aligned as checked; the memory is the caller's promise, and a `MaybeUninit` asks nothing of
    // what is in it.
    Ok(unsafe { &mut *at.cast::<MaybeUninit<T>>() })
}

/// `count` of `T` one after the other. None at all may be at null.
///
/// # Safety
/// A pointer that is not null points to `count` of `T`, which are not written to during `'a`.
pub(crate) unsafe fn list<'a, T: Copy>(from: *const T, count: usize) -> Result<&'a [T], SconcedStatus> {
    if count == 0 {
        return Ok(&[]);
    }
    if from.is_null() || !from.is_aligned() {
        return Err(SconcedStatus::ErrorPointer);
    }
    if !fits::<T>(count) {
        return Err(SconcedStatus::ErrorRange);
    }
    // SAFETY: not null, aligned and no longer than memory can be, as checked; the rest is the caller's promise.
    Ok(unsafe { slice::from_raw_parts(from, count) })
}

/// `count` of `T` to write to. None at all may be at null.
///
/// # Safety
/// A pointer that is not null points to `count` of `T`, which are made of integers and which nothing else uses during
/// `'a`.
pub(crate) unsafe fn list_mut<'a, T: Copy>(at: *mut T, count: usize) -> Result<&'a mut [T], SconcedStatus> {
    if count == 0 {
        return Ok(&mut []);
    }
    if at.is_null() || !at.is_aligned() {
        return Err(SconcedStatus::ErrorPointer);
    }
    if !fits::<T>(count) {
        return Err(SconcedStatus::ErrorRange);
    }
    // SAFETY: not null, aligned and no longer than memory can be, as checked; the rest is the caller's promise.
    Ok(unsafe { slice::from_raw_parts_mut(at, count) })
}

/// Whether so many are no longer than memory can be, `isize::MAX` bytes.
fn fits<T>(count: usize) -> bool {
    count.checked_mul(size_of::<T>()).is_some_and(|bytes| isize::try_from(bytes).is_ok())
}
