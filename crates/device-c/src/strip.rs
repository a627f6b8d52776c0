//! A strip on its data line, and the bytes that it gets.
#![allow(unsafe_code)]

use core::ffi::c_char;

use device::{GLOBAL_MOST, Layout, Order, Output};

use crate::chip::chip;
use crate::look::look;
use crate::memory::{list, list_mut, place, read};
use crate::status::answer;
use crate::{SconcedLook, SconcedStatus};

/// A strip as built. `sconced_strip_begin` fills it with what is usual; change what differs.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct SconcedStrip {
    /// One of SconcedChip.
    pub chip: u8,
    /// The global brightness of a clocked chip, 1 to 31 (31: full). Other chips have none; for them it says nothing, but
    /// is within this range all the same.
    pub global: u8,
    /// The order of a pixel's bytes, such as `grb` or `grbw`, ended by a zero; as many letters as the chip has channels.
    /// An empty text is the chip's usual order.
    pub order: [c_char; 5],
    /// White balance: red, green, blue, white in thousandths, 0 to 1000.
    pub balance: [u16; 4],
    /// The pixels of the strip, after those that are skipped.
    pub pixels: u32,
    /// How many pixels before them stay dark.
    pub skip: u32,
    /// Stretches that the picture goes through one after the other, each from a pixel to a pixel, both included, counted
    /// from 0 after those that are skipped; from the greater to the lesser runs backwards. They are read at every call.
    /// Null when there is none: then the picture covers the strip from first to last.
    pub runs: *const [u32; 2],
    /// How many runs there are.
    pub run_count: usize,
}

/// The strip as `device` knows it.
///
/// # Safety
/// `runs` is null or points to as many runs as it says, which are not written to during `'a`.
pub(crate) unsafe fn output<'a>(strip: &SconcedStrip) -> Result<Output<'a>, SconcedStatus> {
    let chip = chip(strip.chip)?;
    let most = strip.balance.iter().copied().max().unwrap_or(0);
    if !(1..=GLOBAL_MOST).contains(&strip.global) || most > 1_000 {
        return Err(SconcedStatus::ErrorRange);
    }
    let order = strip.order.map(c_char::to_ne_bytes).map(|[byte]| byte);
    let length = order.iter().position(|byte| *byte == 0).ok_or(SconcedStatus::ErrorRange)?;
    let letters = order.get(..length).and_then(|letters| core::str::from_utf8(letters).ok());
    let order = match letters {
        Some("") => chip.order(),
        Some(letters) => Order::parse(letters).ok_or(SconcedStatus::ErrorRange)?,
        None => return Err(SconcedStatus::ErrorRange),
    };
    if order.count() != chip.channels() {
        return Err(SconcedStatus::ErrorRange);
    }
    // SAFETY: the runs are the caller's promise.
    let runs = unsafe { list(strip.runs, strip.run_count)? };
    let layout = Layout::new(strip.skip, strip.pixels, runs);
    Ok(Output::new(chip, layout).with_order(order).with_balance(strip.balance).with_global(strip.global))
}

/// A strip of `pixels` of a chip: its usual order of bytes, full brightness, no white balance, straight.
///
/// `chip` is one of SconcedChip. Errors: POINTER; RANGE for another chip.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_strip_begin(strip: *mut SconcedStrip, chip: u8, pixels: u32) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointer is as the head of this crate asks.
        let place = unsafe { place(strip)? };
        crate::chip::chip(chip)?;
        place.write(SconcedStrip {
            chip,
            global: GLOBAL_MOST,
            order: [0; 5],
            balance: [1_000; 4],
            pixels,
            skip: 0,
            runs: core::ptr::null(),
            run_count: 0,
        });
        Ok(())
    })
}

/// How many bytes a frame of the strip has, into `*bytes`.
///
/// Errors: POINTER; RANGE when the strip is not as its struct describes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_strip_bytes(strip: *const SconcedStrip, bytes: *mut usize) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, place) = unsafe { (output(&read(strip)?)?, place(bytes)?) };
        place.write(output.bytes());
        Ok(())
    })
}

/// How many pixels the strip's picture has, into `*pixels`: those of all runs together.
///
/// Errors: POINTER; RANGE when the strip is not as its struct describes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_strip_pixels(strip: *const SconcedStrip, pixels: *mut usize) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, place) = unsafe { (output(&read(strip)?)?, place(pixels)?) };
        place.write(output.layout().picture());
        Ok(())
    })
}

/// Writes the frame of a look at Unix time `unix_ms` (milliseconds), without crossing from what showed before; that is
/// what a player is for.
///
/// `out` has `length` bytes, at least those of `sconced_strip_bytes`; how many were written goes into `*written`, which
/// may be null. Errors: POINTER; RANGE for strip or look; SHORT.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_frame(
    strip: *const SconcedStrip,
    shown: *const SconcedLook,
    unix_ms: u64,
    out: *mut u8,
    length: usize,
    written: *mut usize,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, shown) = unsafe { (output(&read(strip)?)?, look(&read(shown)?)?) };
        // SAFETY: as above; what is written to overlaps nothing else.
        let (out, written) = unsafe { (list_mut(out, length)?, optional(written)?) };
        let bytes = output.frame(&shown, unix_ms, out).ok_or(SconcedStatus::ErrorShort)?;
        if let Some(written) = written {
            written.write(bytes);
        }
        Ok(())
    })
}

/// Whether temporal dither stays out of sight on this strip, into `*fits`, at the frames a second that the controller
/// really reaches and the clock of a clocked chip in Hz (any number for others).
///
/// Errors: POINTER; RANGE when the strip is not as its struct describes.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_dither_fits(
    strip: *const SconcedStrip,
    clock_hz: u32,
    frames_per_second: u32,
    fits: *mut bool,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, place) = unsafe { (output(&read(strip)?)?, place(fits)?) };
        place.write(output.dither_fits(clock_hz, frames_per_second));
        Ok(())
    })
}

/// A place to write to, or none for null.
///
/// # Safety
/// As for [`place`].
pub(crate) unsafe fn optional<'a, T>(at: *mut T) -> Result<Option<&'a mut core::mem::MaybeUninit<T>>, SconcedStatus> {
    if at.is_null() {
        return Ok(None);
    }
    // SAFETY: the caller's promise.
    unsafe { place(at) }.map(Some)
}
