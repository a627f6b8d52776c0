//! How bright the eye finds a luminance: CIE lightness L* both ways.

use palette::convert::FromColorUnclamped;
use palette::white_point::D65;
use palette::{Lab, Xyz};

/// The relative luminance Y, 0 to 1, of an intensity taken as CIE lightness L*, 0 to 100.
///
/// CIE 15 / ISO 11664-4: linear (Y = L* · 27 / 24389) to L* = 8, a cube above. An intensity outside
/// 0 to 100 is brought to the nearer end; what is not a number counts as 0, since a light in doubt
/// stays dark.
#[must_use]
pub fn luminance_of_intensity(intensity: f64) -> f64 {
    let lightness = if intensity.is_nan() { 0.0 } else { intensity.clamp(0.0, 100.0) };
    Xyz::<D65, f64>::from_color_unclamped(Lab::new(lightness, 0.0, 0.0)).y.clamp(0.0, 1.0)
}

/// The intensity (CIE lightness L*, 0 to 100) of a relative luminance Y, 0 to 1: the inverse of
/// [`luminance_of_intensity`], with the same ends. Source: CIE 15.
#[must_use]
pub fn intensity_of_luminance(luminance: f64) -> f64 {
    let luminance = if luminance.is_nan() { 0.0 } else { luminance.clamp(0.0, 1.0) };
    Lab::<D65, f64>::from_color_unclamped(Xyz::new(0.0, luminance, 0.0)).l.clamp(0.0, 100.0)
}
