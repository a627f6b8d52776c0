//! What a frame draws, and keeping it below a ceiling.
#![allow(unsafe_code)]

use device::{Currents, Drawn, Limiter, Output};

use crate::kept::{self, Kept};
use crate::memory::{list, list_mut, place, read};
use crate::status::answer;
use crate::strip::{optional, output};
use crate::{SconcedStatus, SconcedStrip};

/// What a strip's pixel draws, in hundredths of a milliampere: 2000 is 20 mA.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct SconcedCurrents {
    /// Red, green, blue and white, each at full duty and full global brightness.
    pub channels: [u16; 4],
    /// A pixel that shows nothing.
    pub idle: u16,
}

/// What a frame draws before and after it was limited, in hundredths of a milliampere, rounded up.
#[repr(C)]
#[derive(Debug, Clone, Copy)]
pub struct SconcedDrawn {
    /// As it was.
    pub wanted: u64,
    /// As it is now.
    pub drawn: u64,
    /// What every byte was multiplied by, of 65536.
    pub factor: u32,
}

/// Keeps a moving picture below a ceiling without pumping: it dims at once and lets go slowly, by a tenth in a second.
/// Hold it, begin it, and do not look into it.
#[repr(C)]
#[derive(Debug)]
pub struct SconcedLimiter {
    /// What it holds.
    pub held: [u64; 4],
}

impl Kept for Limiter {
    type Room = SconcedLimiter;
    const TAG: u64 = 0x7363_6f6e_6c69_6d69;
}

impl From<SconcedCurrents> for Currents {
    fn from(currents: SconcedCurrents) -> Self {
        Self { channels: currents.channels, idle: currents.idle }
    }
}

impl From<Drawn> for SconcedDrawn {
    fn from(drawn: Drawn) -> Self {
        Self { wanted: drawn.wanted, drawn: drawn.drawn, factor: drawn.factor }
    }
}

/// A frame as long as the strip asks for.
fn whole<'a>(output: &Output<'_>, frame: &'a mut [u8]) -> Result<&'a mut [u8], SconcedStatus> {
    frame.get_mut(..output.bytes()).ok_or(SconcedStatus::ErrorShort)
}

/// What a frame draws, into `*hundredths` of a milliampere, rounded up; every wired pixel idles.
///
/// `frame` has `length` bytes, at least those of `sconced_strip_bytes`. Errors: POINTER; RANGE for the strip; SHORT.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_current(
    strip: *const SconcedStrip,
    currents: *const SconcedCurrents,
    frame: *const u8,
    length: usize,
    hundredths: *mut u64,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, currents) = unsafe { (output(&read(strip)?)?, read(currents)?) };
        // SAFETY: as above; what is written to overlaps nothing else.
        let (frame, place) = unsafe { (list(frame, length)?, place(hundredths)?) };
        let frame = frame.get(..output.bytes()).ok_or(SconcedStatus::ErrorShort)?;
        place.write(output.current(frame, &currents.into()));
        Ok(())
    })
}

/// Dims a single frame by one factor so that it draws at most `ceiling_milliamps`. For frame after frame use a limiter.
///
/// `frame` has `length` bytes, at least those of `sconced_strip_bytes`; what it drew and draws goes into `*drawn`, which
/// may be null. Errors: POINTER; RANGE for the strip; SHORT.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_limit(
    strip: *const SconcedStrip,
    currents: *const SconcedCurrents,
    ceiling_milliamps: u32,
    frame: *mut u8,
    length: usize,
    drawn: *mut SconcedDrawn,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, currents) = unsafe { (output(&read(strip)?)?, read(currents)?) };
        // SAFETY: as above; what is written to overlaps nothing else.
        let (frame, place) = unsafe { (list_mut(frame, length)?, optional(drawn)?) };
        let drawn = output.limit(whole(&output, frame)?, &currents.into(), ceiling_milliamps);
        if let Some(place) = place {
            place.write(drawn.into());
        }
        Ok(())
    })
}

/// A limiter that dims nothing yet.
///
/// Error: POINTER.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_limiter_begin(limiter: *mut SconcedLimiter) -> SconcedStatus {
    // SAFETY: the caller's pointer is as the head of this crate asks.
    answer(|| unsafe { kept::begin(limiter, Limiter::new()) })
}

/// Dims a frame so that it draws at most `ceiling_milliamps`, at `uptime_ms` (milliseconds since power-on).
///
/// A ceiling that leaves nothing above the idle current makes the frame dark. Otherwise as `sconced_limit`.
/// Errors: POINTER; NOT_BEGUN; RANGE for the strip; SHORT.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_limiter_limit(
    limiter: *mut SconcedLimiter,
    strip: *const SconcedStrip,
    currents: *const SconcedCurrents,
    ceiling_milliamps: u32,
    uptime_ms: u64,
    frame: *mut u8,
    length: usize,
    drawn: *mut SconcedDrawn,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (output, currents) = unsafe { (output(&read(strip)?)?, read(currents)?) };
        // SAFETY: as above; what is written to overlaps nothing else.
        let (frame, place) = unsafe { (list_mut(frame, length)?, optional(drawn)?) };
        // SAFETY: as above.
        let limiter = unsafe { kept::exclusive::<Limiter>(limiter)? };
        let frame = whole(&output, frame)?;
        let drawn = limiter.limit(&output, frame, &currents.into(), ceiling_milliamps, uptime_ms);
        if let Some(place) = place {
            place.write(drawn.into());
        }
        Ok(())
    })
}
