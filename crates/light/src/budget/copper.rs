//! Copper wire: its resistance by cross-section or gauge and temperature, and what it may carry.
//!
//! Every resistance here is of one conductor; a pair is twice that.

/// Resistivity of annealed copper at 20 °C, in ohm metres (IEC 60028).
pub const RESISTIVITY: f64 = 1.7241e-8;
/// Rise of copper's resistance for each kelvin, relative to 20 °C (IEC 60028).
pub const PER_KELVIN: f64 = 0.00393;

/// Greatest resistance at 20 °C of flexible plain copper, in ohms per kilometre, by mm² (IEC 60228, class 5).
const CLASS_5: [(f64, f64); 6] = [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4.0, 4.95)];
/// The greatest product of mm² and ohms per kilometre in that table: what a size that is not in it is taken to have.
const CLASS_5_WORST: f64 = 19.95;

/// Amps of twin flexible cord by mm², 60 °C insulation, 30 °C ambient (BS 7671, table 4F3A).
const CORD: [(f64, f64); 7] =
    [(0.5, 3.0), (0.75, 6.0), (1.0, 10.0), (1.25, 13.0), (1.5, 16.0), (2.5, 25.0), (4.0, 32.0)];
/// What is left of them up to an ambient temperature in °C (same table).
const CORD_BY_AMBIENT: [(f64, f64); 6] =
    [(30.0, 1.0), (35.0, 0.91), (40.0, 0.82), (45.0, 0.71), (50.0, 0.58), (55.0, 0.41)];
/// What is left of them when two pairs lie together (BS 7671, table 4C1, from memory, unverified).
const BUNDLED: f64 = 0.8;

/// Where [`ampacity`] is from, in a sentence.
pub const AMPACITY_SOURCE: &str = "BS 7671 table 4F3A, twin flexible cord with 60 °C insulation, read in a cable \
     dealer's reprint, with its factor for the ambient; bundled: × 0.8, BS 7671 table 4C1, from memory. \
     Never interpolated upward, never chassis wiring";

/// A wire's size as printed on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WireSize {
    /// Cross-section in mm², flexible copper.
    Mm2(f64),
    /// American wire gauge.
    Awg(u32),
}

impl WireSize {
    /// Cross-section in mm²; a gauge's by its diameter 0.127 mm × 92^((36 − n)/39) (ASTM B258).
    pub fn area(self) -> f64 {
        match self {
            Self::Mm2(area) => area,
            Self::Awg(gauge) => {
                let diameter = 0.127 * 92_f64.powf((36.0 - f64::from(gauge)) / 39.0);
                std::f64::consts::PI * diameter * diameter / 4.0
            }
        }
    }

    /// Resistance of one conductor at a temperature in °C, in ohms per metre: mm² by IEC 60228 class 5 (the greatest
    /// allowed), gauges by pure copper of their area.
    pub fn ohms_per_metre(self, celsius: f64) -> f64 {
        let at_20 = match self {
            Self::Mm2(area) => {
                let listed = CLASS_5.iter().find(|(each, _)| (each - area).abs() < 1e-9);
                listed.map_or(CLASS_5_WORST / area, |(_, ohms)| *ohms) / 1000.0
            }
            Self::Awg(_) => RESISTIVITY / (self.area() * 1e-6),
        };
        at_20 * temperature_factor(celsius)
    }

    /// Its size in words.
    pub fn words(self) -> String {
        match self {
            Self::Mm2(area) => format!("{area} mm²"),
            Self::Awg(gauge) => format!("AWG {gauge}"),
        }
    }
}

/// By what copper's resistance at 20 °C is multiplied at another temperature in °C.
pub fn temperature_factor(celsius: f64) -> f64 {
    1.0 + PER_KELVIN * (celsius - 20.0)
}

/// What a pair of bundled or enclosed wires may carry at an ambient temperature in °C, in amps: the row of the table
/// at or below its size; below the table's least size in proportion to the area, which thin wire exceeds.
pub fn ampacity(size: WireSize, ambient_celsius: f64) -> f64 {
    let area = size.area();
    let (least, least_amps) = (CORD[0].0, CORD[0].1);
    let listed = CORD.iter().rev().find(|(each, _)| *each <= area + 1e-9);
    let amps = listed.map_or(least_amps * area / least, |(_, amps)| *amps);
    let left = CORD_BY_AMBIENT.iter().find(|(each, _)| ambient_celsius <= *each);
    amps * left.map_or(0.0, |(_, factor)| *factor) * BUNDLED
}
