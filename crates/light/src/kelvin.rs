//! The white of a colour temperature: Planck's law seen by the CIE 1931 observer, as linear sRGB.

use palette::convert::FromColorUnclamped;
use palette::white_point::D65;
use palette::{LinSrgb, Xyz};

use crate::LightError;
use crate::observer::{CIE_1931, FIRST_NM, STEP_NM};

/// The lowest colour temperature that a look may have, in kelvin.
pub const KELVIN_MIN: f64 = 1000.0;
/// The highest colour temperature that a look may have, in kelvin.
pub const KELVIN_MAX: f64 = 12000.0;

/// Second radiation constant hc/k in metre kelvin, CODATA 2018.
const SECOND_RADIATION: f64 = 1.438_776_877e-2;

/// The linear sRGB light, 0 to 1 a channel, of a black body at a colour temperature of 1000 to
/// 12000 kelvin.
///
/// Planck's law (c2 of CODATA 2018) is summed over the CIE 1931 2 degree observer in steps of 5 nm
/// and brought to linear sRGB (IEC 61966-2-1). What lies outside sRGB (below about 1950 K the blue
/// is negative) is clipped to 0, and then the largest channel is set to 1: the white has its
/// colour, and its brightness is the intensity's business.
///
/// # Errors
/// [`LightError::Kelvin`] outside that range, and for what is not a number.
pub fn kelvin_linear(kelvin: f64) -> Result<[f64; 3], LightError> {
    if !(KELVIN_MIN..=KELVIN_MAX).contains(&kelvin) {
        return Err(LightError::Kelvin { value: kelvin });
    }
    let [x, y, z] = planckian_xyz(kelvin);
    let rgb = LinSrgb::<f64>::from_color_unclamped(Xyz::<D65, f64>::new(x / y, 1.0, z / y));
    let clipped = [rgb.red, rgb.green, rgb.blue].map(|light| light.max(0.0));
    let largest = clipped.iter().copied().fold(0.0, f64::max);
    Ok(clipped.map(|light| light / largest))
}

/// The tristimulus values of a black body, in arbitrary units; positive for every temperature above
/// zero.
pub(crate) fn planckian_xyz(kelvin: f64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (index, response) in CIE_1931.iter().enumerate() {
        let metres = (FIRST_NM + STEP_NM * index as f64) * 1e-9;
        // Planck's law without its constant factor, which the ratio of the channels does not know.
        let radiance = metres.powi(-5) / (SECOND_RADIATION / (metres * kelvin)).exp_m1();
        for (total, weight) in sum.iter_mut().zip(response) {
            *total += radiance * weight;
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: cct-planckian.csv, computed with colour-science 0.4.7 from Planck's law at 1 nm over
    /// the CIE 1931 observer; tolerance 0.0005 in x and y against an integration.
    #[test]
    fn the_locus_is_the_black_body_seen_by_the_1931_observer() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/check-values/cct-planckian.csv");
        let table = std::fs::read_to_string(path).unwrap();
        let mut rows = 0;
        for line in table.lines().skip(2) {
            let cells: Vec<&str> = line.split(',').collect();
            let [kelvin, x, y] = [0, 1, 2].map(|column: usize| cells[column].parse::<f64>().unwrap());
            let xyz = planckian_xyz(kelvin);
            let sum: f64 = xyz.iter().sum();
            assert!((xyz[0] / sum - x).abs() < 0.0005, "x at {kelvin} K");
            assert!((xyz[1] / sum - y).abs() < 0.0005, "y at {kelvin} K");
            rows += 1;
        }
        assert_eq!(rows, 53);
    }

    /// Source: CIE 15, which gives illuminant A (a black body, 2855.5 K by today's constants) as
    /// 0.44758, 0.40745.
    #[test]
    fn illuminant_a_lies_on_the_locus() {
        let xyz = planckian_xyz(2855.5);
        let sum: f64 = xyz.iter().sum();
        assert!((xyz[0] / sum - 0.44758).abs() < 0.0001);
        assert!((xyz[1] / sum - 0.40745).abs() < 0.0001);
    }
}
