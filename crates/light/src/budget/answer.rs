//! The answer of a budget, in the shape in which HTTP, the command line and the page hold it.
//!
//! Amps, volts, ohms, watts, metres, seconds and hertz are plain SI numbers; where a number is in another unit, its key
//! says so.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// How grave a finding is. The order is that of reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// Can burn, shock or destroy: mend before it is switched on.
    Danger,
    /// Will not work well, or not for long.
    Mend,
    /// Good to know.
    Note,
}

/// One thing that the budget found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// How grave it is.
    pub grade: Grade,
    /// A stable name of the rule, such as `fuse-missing`.
    pub rule: String,
    /// JSON Pointer of the build sheet's member that it is about, or the nearest.
    pub pointer: String,
    /// What was found.
    pub text: String,
    /// The value that was found, in `unit`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// What it was held against, in `unit`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit: Option<f64>,
    /// The unit of both.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Where the limit or the rule is from.
    pub source: String,
    /// What to do.
    pub mend: String,
}

/// An input that the sheet does not have, and what was taken in its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assumption {
    /// JSON Pointer of the member to write if it is known.
    pub pointer: String,
    /// What was taken, with its unit.
    pub taken: String,
    /// Why, and where it is from.
    pub why: String,
}

/// What a caution is about, so that it can stand beside the numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CautionAbout {
    /// All of it.
    All,
    /// Mains and protection from shock.
    Mains,
    /// Current, fuses and wire.
    Current,
    /// Heat and fire.
    Heat,
    /// Stored charge.
    Capacitor,
    /// The data line.
    Data,
}

/// A caution that stands beside the numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// What it is about.
    pub about: CautionAbout,
    /// The caution.
    pub text: String,
}

/// What the sheet is of, in short.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Strip {
    /// The chip's name.
    pub chip: String,
    /// Pixels.
    pub pixels: u32,
    /// Length in metres.
    pub metres: f64,
    /// The supply's voltage, in volts.
    pub volts: f64,
}

/// Every pixel at full duty: what a hung controller can leave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FullWhite {
    /// Current of the strip, idle included, in amps.
    pub amps: f64,
    /// The light's part of it, in amps.
    pub light_amps: f64,
    /// What the dark strip draws, in amps.
    pub idle_amps: f64,
    /// The same and the controller, in amps: what the supply and the main fuse see.
    pub with_controller_amps: f64,
    /// Power of the strip, in watts.
    pub watts: f64,
    /// Whether the owner measured it.
    pub measured: bool,
}

/// One look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LookBudget {
    /// Current at its brightest instant, idle included, in amps.
    pub peak_amps: f64,
    /// Current over its motif's period, idle included, in amps.
    pub mean_amps: f64,
    /// What it draws at its brightest once the ceiling dims it, in amps.
    pub shown_amps: f64,
    /// By what its duties are multiplied at its brightest to stay below the ceiling: 1 if it is not dimmed.
    pub scale: f64,
    /// Least voltage at any pixel at its brightest as shown, in volts.
    pub minimum_volts: f64,
    /// The pixel that has it, from 0.
    pub at_pixel: u32,
}

/// One of the limits under which the ceiling stays.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// Which: `supply`, `fuse`, `branch fuse`, `wire`, `connector`, `rails`, `heat`.
    pub from: String,
    /// The most that the whole strip and the controller may draw for its sake, in amps.
    pub amps: f64,
    /// How it came to that.
    pub text: String,
}

/// The most current that the strip may draw.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Ceiling {
    /// The ceiling, in amps.
    pub amps: f64,
    /// Which limit it is from.
    pub from: String,
    /// What was taken off for the controller, in amps.
    pub controller_amps: f64,
    /// All limits, the least first.
    pub limits: Vec<Limit>,
}

/// Voltage at the pixels under one load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeastVoltage {
    /// The least voltage at any pixel, in volts; 0 where the loads cannot be fed at all.
    pub minimum: f64,
    /// The pixel that has it, from 0.
    pub at_pixel: u32,
}

/// Voltage along the strip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Voltage {
    /// The least voltage at any pixel at full white, in volts; 0 where the loads cannot be fed at all.
    pub minimum: f64,
    /// The pixel that has it, from 0.
    pub at_pixel: u32,
    /// The same at the ceiling, every pixel alike.
    pub at_ceiling: LeastVoltage,
    /// Pixel and volts at full white, evenly spread over the strip, at most about a hundred.
    pub along: Vec<(u32, f64)>,
}

/// Another way to feed the same strip, with the same wire for each feed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// Its name.
    pub name: String,
    /// Where power goes in, in metres from the start.
    pub points: Vec<f64>,
    /// At full white.
    pub full_white: LeastVoltage,
    /// At the ceiling as it is now, every pixel alike.
    pub at_ceiling: LeastVoltage,
}

/// One feed point with its pair of wires.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Branch {
    /// Where it goes in, in metres from the start.
    pub point: f64,
    /// What it carries at full white, in amps.
    pub full_white_amps: f64,
    /// What it carries at the ceiling, every pixel alike, in amps.
    pub ceiling_amps: f64,
    /// The most that it can carry at the ceiling, when a look lights the pixels nearest to it, in amps.
    pub worst_amps: f64,
    /// Rating of the fuse upstream of it, in amps: what it is judged by.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse_amps: Option<f64>,
}

/// The wire of each feed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FeedWire {
    /// Its size in words.
    pub size: String,
    /// Its cross-section, in mm².
    pub mm2: f64,
    /// One way, in metres.
    pub metres: f64,
    /// The temperature at which its resistance is reckoned, in °C.
    pub conductor_celsius: f64,
    /// Resistance of one conductor of one feed, in ohms.
    pub conductor_ohms: f64,
    /// Resistance of the loop of one feed, there and back, in ohms.
    pub loop_ohms: f64,
    /// What it may carry, in amps.
    pub ampacity_amps: f64,
    /// The table that says so.
    pub source: String,
}

/// A short circuit where it draws least.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShortCircuit {
    /// The pixel at which it is, from 0.
    pub at_pixel: u32,
    /// Resistance of the loop from the supply to there and back, in ohms.
    pub loop_ohms: f64,
    /// What the supply gives into it, in amps, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_limit_amps: Option<f64>,
    /// What flows, in amps.
    pub prospective_amps: f64,
    /// What the main fuse needs to open in time, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub opening_amps: Option<f64>,
    /// What flows through one branch alone at the place farthest from it, in amps: the least of the branches.
    pub branch_prospective_amps: f64,
    /// What a branch fuse needs to open in time, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub branch_opening_amps: Option<f64>,
}

/// Heat.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heat {
    /// Power for each metre at full white, in watts.
    pub full_white_watts_per_metre: f64,
    /// The same at the ceiling, every pixel alike, in watts.
    pub ceiling_watts_per_metre: f64,
    /// What the mounting and enclosure take at the ambient temperature, in watts.
    pub limit_watts_per_metre: f64,
    /// Where the limit is from.
    pub source: String,
}

/// The data line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Data {
    /// Its high level, in volts.
    pub high_volts: f64,
    /// What the first pixel takes for high on the unloaded strip, in volts.
    pub threshold_volts: f64,
    /// Level less threshold, in volts; less the offset of the strip's minus at full white where that is worse.
    pub margin_volts: f64,
    /// By how much the strip's minus stands above the controller's at full white, in volts.
    pub ground_offset_volts: f64,
    /// Rise time through the series resistor, 10 to 90 percent, in seconds.
    pub rise_seconds: f64,
    /// What the line can push into an unpowered strip, in amps.
    pub into_unpowered_amps: f64,
}

/// How fast frames can follow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refresh {
    /// Time of one frame on the line, in seconds.
    pub frame_seconds: f64,
    /// Frames a second at most.
    pub frames_per_second: f64,
    /// The chip's own modulation, in hertz.
    pub chip_hertz: f64,
}

/// The buffer capacitor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Capacitor {
    /// What is there, in microfarads.
    pub microfarads: f64,
    /// The step that it bridges, from dark to the ceiling, in amps.
    pub step_amps: f64,
    /// For how long, in seconds.
    pub step_seconds: f64,
    /// By how much the voltage dips meanwhile, in volts: ΔV = I·t/C; none without a capacitor.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dip_volts: Option<f64>,
    /// What would hold the dip to the tenth of the supply's voltage, in microfarads.
    pub wanted_microfarads: f64,
    /// Charge current at switching on, at most, in amps.
    pub inrush_amps: f64,
    /// What it stores, in joules.
    pub stored_joules: f64,
}

/// What the dark strip draws.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Idle {
    /// Current of the dark strip, controller not counted, in amps.
    pub amps: f64,
    /// Power of it, in watts.
    pub watts: f64,
    /// Energy of a year of dark, at the mains, in kilowatt hours.
    pub dark_year_kwh: f64,
    /// What a relay saves in a year in which the strip is dark 18 hours a day, in kilowatt hours; 0 if there is one.
    pub relay_saves_kwh: f64,
}

/// The electrical check of a build sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Budget {
    /// What it is of.
    pub strip: Strip,
    /// Every pixel at full duty.
    pub full_white: FullWhite,
    /// Each look by its name.
    pub looks: BTreeMap<String, LookBudget>,
    /// The most current that the strip may draw.
    pub ceiling: Ceiling,
    /// Voltage along the strip.
    pub voltage: Voltage,
    /// Other ways to feed it.
    pub alternatives: Vec<Alternative>,
    /// Each feed point.
    pub branches: Vec<Branch>,
    /// The wire of each feed.
    pub feed_wire: FeedWire,
    /// A short circuit where it draws least.
    pub fault: ShortCircuit,
    /// Heat.
    pub heat: Heat,
    /// The data line.
    pub data: Data,
    /// How fast frames can follow.
    pub refresh: Refresh,
    /// The buffer capacitor.
    pub capacitor: Capacitor,
    /// What the dark strip draws.
    pub idle: Idle,
    /// What was found, the gravest first.
    pub findings: Vec<Finding>,
    /// What the sheet does not say and was taken for.
    pub assumptions: Vec<Assumption>,
    /// Cautions to stand beside the numbers.
    pub cautions: Vec<Caution>,
}

/// Rounds to a millionth, so that 8.64 reads 8.64; what is not finite becomes 0.
pub(super) fn tidy(value: f64) -> f64 {
    if !value.is_finite() {
        return 0.0;
    }
    if value.abs() < 1e9 { (value * 1e6).round() / 1e6 } else { value }
}

/// A number for a sentence: three figures or so, without zeros that say nothing.
pub(super) fn say(value: f64) -> String {
    let decimals = match value.abs() {
        big if big >= 100.0 => 0,
        middling if middling >= 10.0 => 1,
        small if small >= 1.0 => 2,
        _ => 3,
    };
    let text = format!("{value:.decimals$}");
    if !text.contains('.') {
        return text;
    }
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
