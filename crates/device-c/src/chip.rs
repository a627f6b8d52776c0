//! Chips by number and by name.
#![allow(unsafe_code)]

use core::ffi::c_char;

use device::Chip;

use crate::SconcedStatus;
use crate::memory::{list, place};
use crate::status::answer;

/// An addressable LED chip.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedChip {
    /// An outside driver chip for three LEDs, usually at 12 V; bytes in the order rgb.
    Ws2811 = 1,
    /// Three colours at 5 V; grb.
    Ws2812b = 2,
    /// Three colours at 12 V, with a backup data line; grb.
    Ws2815 = 3,
    /// Three colours at 5 V; grb.
    Sk6812 = 4,
    /// Three colours and white at 5 V; grbw.
    Sk6812rgbw = 5,
    /// Three colours at 5 V, with a clock line and 5 bits of brightness; bgr.
    Apa102 = 6,
    /// Three colours at 5 V, with a clock line and 5 bits of current; bgr.
    Sk9822 = 7,
}

const CHIPS: [(SconcedChip, Chip); 7] = [
    (SconcedChip::Ws2811, Chip::Ws2811),
    (SconcedChip::Ws2812b, Chip::Ws2812b),
    (SconcedChip::Ws2815, Chip::Ws2815),
    (SconcedChip::Sk6812, Chip::Sk6812),
    (SconcedChip::Sk6812rgbw, Chip::Sk6812rgbw),
    (SconcedChip::Apa102, Chip::Apa102),
    (SconcedChip::Sk9822, Chip::Sk9822),
];

/// The chip of this number.
pub(crate) fn chip(number: u8) -> Result<Chip, SconcedStatus> {
    CHIPS.iter().find(|(ours, _)| *ours as u8 == number).map(|(_, chip)| *chip).ok_or(SconcedStatus::ErrorRange)
}

/// The chip of this name, as a build sheet writes it (`ws2812b`; case does not matter).
///
/// `name` has `length` bytes, without a zero at its end. Into `*chip` goes one of SconcedChip.
/// Errors: POINTER; RANGE when there is no such chip.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_chip_of(name: *const c_char, length: usize, chip: *mut SconcedChip) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (name, place) = unsafe { (list(name.cast::<u8>(), length)?, place(chip)?) };
        let name = core::str::from_utf8(name).map_err(|_| SconcedStatus::ErrorRange)?;
        let found = Chip::parse(name).ok_or(SconcedStatus::ErrorRange)?;
        let (number, _) = CHIPS.iter().find(|(_, chip)| *chip == found).ok_or(SconcedStatus::ErrorRange)?;
        place.write(*number);
        Ok(())
    })
}
