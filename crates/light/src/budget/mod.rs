//! The electrical budget of a fixture: what its build sheet means for current, fuse, wire, voltage, heat and data.
//!
//! [`budget`] is a pure function of a [`BuildSheet`] and the loads of its looks. It sizes on data sheet currents, never
//! on hope: what the sheet leaves out is taken on the safe side and named in [`Budget::assumptions`]; every limit names
//! its source, or says that it is common practice or from memory. It reads no clock and no file.
//!
//! It advises; local codes and a licensed electrician decide.
//!
//! ```
//! use light::budget::{Chip, SheetMembers, budget};
//!
//! let sheet = SheetMembers { fuse_amps: Some(5.0), ..SheetMembers::new(Chip::Ws2812b, 144) }.check().unwrap();
//! let answer = budget(&sheet, &[]);
//! assert!(answer.ceiling.amps <= 5.0 * 0.75);
//! ```

mod answer;
mod built;
mod cautions;
mod ceiling;
mod checking;
mod chips;
mod copper;
mod energy;
mod error;
mod findings;
mod fuse;
mod heat;
mod load;
mod piece;
mod power_findings;
mod rails;
mod reading;
mod report;
mod sheet;
mod short;
mod signal;
mod strip_findings;

pub use answer::{
    Alternative, Assumption, Branch, Budget, Capacitor, Caution, CautionAbout, Ceiling, Data, FeedWire, Finding,
    FullWhite, Grade, Heat, Idle, LeastVoltage, Limit, LookBudget, Refresh, ShortCircuit, Strip, Voltage,
};
pub use checking::{PIXELS_MAX, POINTS_MAX};
pub use chips::{Chip, ChipFacts, Figure, High, Known, Timing, chip_facts};
pub use copper::{AMPACITY_SOURCE, PER_KELVIN, RESISTIVITY, WireSize, ampacity, temperature_factor};
pub use energy::{Energy, Segment, energy};
pub use error::{BudgetError, Fault, FaultKind};
pub use fuse::{
    FUSE_LOADING, FUSE_LOADING_SOURCE, FUSE_OPENING, FUSE_OPENING_SOURCE, SUPPLY_LOADING, SUPPLY_LOADING_SOURCE,
    fuse_for_conductor, fuse_for_load,
};
pub use load::LookLoad;
pub use rails::{Ladder, Loaded};
pub use report::report;
pub use sheet::{BuildSheet, Enclosure, Feed, Layout, Mounting, Place, Protection, SheetMembers, UncheckedSheet};
pub use signal::{dip_volts, frame_seconds, rise_seconds};

use answer::tidy;
use built::{Built, CONDUCTOR_CELSIUS};

/// About how many places of the strip [`Voltage::along`] has.
const ALONG: usize = 100;

/// The electrical check of a build sheet with these looks. Looks of the same name: the last one counts.
///
/// The work grows with pixels × feed points; every number in the answer is finite.
pub fn budget(sheet: &BuildSheet, looks: &[LookLoad]) -> Budget {
    let built = Built::of(sheet);
    let ladder = built.ladder(&built.points);
    let full = ladder.at_load(&built.even(built.full_amps()));
    let (heat_limit, heat_source) = heat::limit(&built);
    let shares = ceiling::Shares::of(&built, &ladder);
    let ceiling = ceiling::ceiling(&built, &shares, heat_limit);
    // What an even load at the ceiling is: never below idle, which cannot be cut, and never above full white.
    let shown = ceiling.amps.max(built.idle_amps).min(built.full_amps());
    let at_ceiling = ladder.at_load(&built.even(shown));
    let per_metre = |amps: f64| amps * built.volts / built.metres;

    let mut answer = Budget {
        strip: Strip {
            chip: built.facts.name.to_owned(),
            pixels: built.sheet.pixels,
            metres: tidy(built.metres),
            volts: built.volts,
        },
        full_white: FullWhite {
            amps: tidy(built.full_amps()),
            light_amps: tidy(built.light_amps),
            idle_amps: tidy(built.idle_amps),
            with_controller_amps: tidy(built.full_amps() + built.controller_amps),
            watts: tidy(built.full_amps() * built.volts),
            measured: built.sheet.measured_white_amps.is_some(),
        },
        looks: looks.iter().map(|look| (look.name.clone(), look_budget(&built, &ladder, look, ceiling.amps))).collect(),
        voltage: voltage(&built, &full, &at_ceiling),
        alternatives: alternatives(&built, shown),
        branches: ceiling::branches(&built, &shares, &full, &at_ceiling, shown),
        feed_wire: FeedWire {
            size: built.size.words(),
            mm2: tidy(built.size.area()),
            metres: built.feed_metres,
            conductor_celsius: CONDUCTOR_CELSIUS,
            conductor_ohms: tidy(built.conductor_ohms),
            loop_ohms: tidy(2.0 * built.conductor_ohms),
            ampacity_amps: tidy(built.ampacity),
            source: AMPACITY_SOURCE.to_owned(),
        },
        fault: short::short_circuit(&built, &ladder),
        heat: Heat {
            full_white_watts_per_metre: tidy(per_metre(built.full_amps())),
            ceiling_watts_per_metre: tidy(per_metre(shown)),
            limit_watts_per_metre: tidy(heat_limit),
            source: heat_source,
        },
        data: signal::data(&built, &full),
        refresh: signal::refresh(&built),
        capacitor: signal::capacitor(&built, ceiling.amps),
        idle: signal::idle(&built),
        ceiling,
        findings: Vec::new(),
        assumptions: built.assumptions.clone(),
        cautions: cautions::cautions(),
    };
    answer.findings = findings::findings(&built, &answer);
    answer
}

fn least(volts: f64, loaded: &Loaded) -> LeastVoltage {
    let (lost, pixel) = loaded.worst();
    LeastVoltage { minimum: tidy((volts - lost).max(0.0)), at_pixel: pixel as u32 }
}

fn look_budget(built: &Built<'_>, ladder: &Ladder, look: &LookLoad, ceiling_amps: f64) -> LookBudget {
    let peak = load::demand(built, &look.peak);
    let scale = load::scale(peak, built.idle_amps, ceiling_amps);
    let light = (peak - built.idle_amps) * scale;
    let loaded = ladder.at_load(&load::along(built, light, look.profile.as_deref()));
    let least = least(built.volts, &loaded);
    LookBudget {
        peak_amps: tidy(peak),
        mean_amps: tidy(load::demand(built, &look.mean)),
        shown_amps: tidy(light + built.idle_amps),
        scale: tidy(scale),
        minimum_volts: least.minimum,
        at_pixel: least.at_pixel,
    }
}

fn voltage(built: &Built<'_>, full: &Loaded, at_ceiling: &Loaded) -> Voltage {
    let least_full = least(built.volts, full);
    let step = built.pixels.div_ceil(ALONG).max(1);
    let places = full.pixel_volts_lost.iter().enumerate();
    let along = places
        .filter(|(pixel, _)| pixel % step == 0 || pixel + 1 == built.pixels)
        .map(|(pixel, lost)| (pixel as u32, tidy((built.volts - lost).max(0.0))))
        .collect();
    Voltage {
        minimum: least_full.minimum,
        at_pixel: least_full.at_pixel,
        at_ceiling: least(built.volts, at_ceiling),
        along,
    }
}

fn alternatives(built: &Built<'_>, shown: f64) -> Vec<Alternative> {
    let end = built.metres;
    let ways: [(&str, Vec<f64>); 5] = [
        ("one end", vec![0.0]),
        ("the middle", vec![end / 2.0]),
        ("both ends", vec![0.0, end]),
        ("both ends and the middle", vec![0.0, end / 2.0, end]),
        ("four points, evenly from end to end", vec![0.0, end / 3.0, end * 2.0 / 3.0, end]),
    ];
    ways.into_iter()
        .map(|(name, points)| {
            let ladder = built.ladder(&points);
            let at = |amps: f64| least(built.volts, &ladder.at_load(&built.even(amps)));
            let points = points.into_iter().map(tidy).collect();
            Alternative { name: name.to_owned(), full_white: at(built.full_amps()), at_ceiling: at(shown), points }
        })
        .collect()
}
