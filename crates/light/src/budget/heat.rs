//! How much power a metre of strip may turn to heat, by what it lies on, what is around it and how warm the air is.
//!
//! No standard gives these figures for strips: they are common practice, and on the cautious side.

use super::answer::say;
use super::built::Built;
use super::sheet::{Enclosure, Mounting};

/// The ambient temperature for which the figures are meant, in °C.
const MEANT_FOR: f64 = 25.0;
/// The ambient temperature at which nothing is left, in °C: the strip itself becomes some 20 K warmer.
const NOTHING_LEFT: f64 = 60.0;

/// Watts for each metre that the mounting and enclosure take, and why.
pub(super) fn limit(built: &Built<'_>) -> (f64, String) {
    let open = match built.mounting {
        Mounting::Aluminium => 25.0,
        Mounting::Glass | Mounting::FreeAir => 10.0,
        Mounting::Wood | Mounting::Plastic => 8.0,
    };
    let left = match built.enclosure {
        Enclosure::Open => 1.0,
        Enclosure::Vented => 0.8,
        Enclosure::Sealed => 0.6,
    };
    let cooler = ((NOTHING_LEFT - built.ambient) / (NOTHING_LEFT - MEANT_FOR)).clamp(0.0, 1.0);
    let why = format!(
        "{open} W/m on {}, × {left} {}, × {} at {} °C: common practice, no source",
        built.mounting.name(),
        built.enclosure.name(),
        say(cooler),
        say(built.ambient)
    );
    (open * left * cooler, why)
}
