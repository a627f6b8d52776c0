//! The strip of a simulated fixture, and what is compiled into its firmware for the time before the first word.

use device::{Chip, Currents, DeviceLook, Motif};
use light::{Intensity, WhiteLed, floor_duty};

/// A strip as built. No message tells firmware of it: it is compiled in, as the look and the ceiling are that hold until
/// the first message has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Strip {
    /// Its chip.
    pub chip: Chip,
    /// How many pixels it has.
    pub pixels: u32,
    /// What a pixel draws, in hundredths of a milliampere.
    pub currents: Currents,
    /// What it shows until it is told anything.
    pub first_look: DeviceLook,
    /// The most that it draws until it is told a ceiling, in milliamps.
    pub first_ceiling_milliamps: u32,
}

impl Strip {
    /// A strip of this chip with 20 mA for each channel and 1 mA for an idle pixel (common practice for 5 V chips, no
    /// source), a dim warm white at first, and a ceiling of its idle current and half an ampere.
    #[must_use]
    pub fn new(chip: Chip, pixels: u32) -> Self {
        let dim = floor_duty(Intensity::new(25.0).unwrap_or(Intensity::DARK), white_led(chip));
        Self {
            chip,
            pixels,
            currents: Currents { channels: [2_000; 4], idle: 100 },
            first_look: DeviceLook::new(&[dim], [0, u16::MAX], Motif::STEADY),
            first_ceiling_milliamps: pixels.saturating_add(500),
        }
    }

    /// The white LED of its pixels, if they have one.
    pub(crate) fn white_led(&self) -> Option<WhiteLed> {
        white_led(self.chip)
    }
}

fn white_led(chip: Chip) -> Option<WhiteLed> {
    (chip.channels() == 4).then(WhiteLed::default)
}

/// A metre of 144 pixels `ws2812b`.
impl Default for Strip {
    fn default() -> Self {
        Self::new(Chip::Ws2812b, 144)
    }
}
