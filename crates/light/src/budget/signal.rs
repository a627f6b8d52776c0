//! The data line, the refresh of frames, the buffer capacitor and what the dark strip draws.

use super::answer::{Capacitor, Data, Idle, Refresh, tidy};
use super::built::Built;
use super::chips::Timing;
use super::rails::Loaded;

/// Capacitance of a metre of data line, in picofarads; from memory, unverified.
const LINE_PICOFARADS: f64 = 50.0;
/// Rise time, 10 to 90 percent, in units of resistance × capacitance: ln 9.
const RISE: f64 = 2.197;
/// What a controller's output has of resistance, in ohms; from memory, unverified.
const DRIVER_OHMS: f64 = 30.0;
/// Forward voltage of a protection diode, in volts; from memory, unverified.
const DIODE_VOLTS: f64 = 0.6;
/// How long a supply takes to follow a step, in seconds; common practice, no source.
const STEP_SECONDS: f64 = 100e-6;
/// What part of the supply's voltage a step may cost; common practice, no source.
const DIP: f64 = 0.1;
/// Resistance of capacitor and supply while charging, in ohms; from memory, unverified.
const CHARGE_OHMS: f64 = 0.05;
/// Hours a day for which a relay's saving is reckoned dark.
pub(super) const DARK_HOURS: f64 = 18.0;

pub(super) fn data(built: &Built<'_>, full: &Loaded) -> Data {
    let offset = full.start_volts_lost / 2.0;
    let unloaded = built.facts.high.at(built.volts);
    // Under load the strip's minus stands above the controller's, and its plus below: the threshold sinks with it.
    let at_strip = (built.volts - full.start_volts_lost).max(0.0);
    let loaded = built.facts.high.at(at_strip) + offset;
    let farads = (built.facts.input_picofarads.value + LINE_PICOFARADS * built.data_metres) * 1e-12;
    Data {
        high_volts: built.data_volts,
        threshold_volts: tidy(unloaded),
        margin_volts: tidy(built.data_volts - unloaded.max(loaded)),
        ground_offset_volts: tidy(offset),
        // Nanoseconds need more places than tidy numbers have.
        rise_seconds: RISE * (built.series_ohms + DRIVER_OHMS) * farads,
        into_unpowered_amps: tidy((built.data_volts - DIODE_VOLTS).max(0.0) / (built.series_ohms + DRIVER_OHMS)),
    }
}

/// Rise time through a resistor into a capacitance, 10 to 90 percent, in seconds.
pub fn rise_seconds(ohms: f64, farads: f64) -> f64 {
    RISE * ohms * farads
}

/// Time of one frame for so many pixels on one output, in seconds. One wire: bits and the low time that ends a frame;
/// clocked: start frame, 32 bits a pixel, and an end frame of at least 32 bits and one clock edge for two pixels.
pub fn frame_seconds(timing: &Timing, channels: usize, pixels: usize, clock_hertz: f64) -> f64 {
    match timing {
        Timing::OneWire { bit_micros, reset_micros } => {
            ((pixels * channels * 8) as f64 * bit_micros.value + reset_micros.value) * 1e-6
        }
        Timing::Clocked => (32 + 32 * pixels + 32.max(pixels.div_ceil(2))) as f64 / clock_hertz,
    }
}

pub(super) fn refresh(built: &Built<'_>) -> Refresh {
    let on_one = built.pixels.div_ceil(built.outputs.max(1));
    let seconds = frame_seconds(&built.facts.timing, built.facts.channels, on_one, built.clock_hertz);
    Refresh {
        frame_seconds: tidy(seconds),
        frames_per_second: tidy(1.0 / seconds),
        chip_hertz: built.facts.refresh_hertz.value,
    }
}

/// By how many volts a capacitor sinks when it gives so many amps for so many seconds: ΔV = I·t/C.
pub fn dip_volts(amps: f64, seconds: f64, farads: f64) -> f64 {
    amps * seconds / farads
}

pub(super) fn capacitor(built: &Built<'_>, ceiling_amps: f64) -> Capacitor {
    let step = (ceiling_amps.min(built.full_amps()) - built.idle_amps).max(0.0);
    let farads = built.microfarads * 1e-6;
    let parallel = 2.0 * built.conductor_ohms / built.points.len().max(1) as f64;
    Capacitor {
        microfarads: built.microfarads,
        step_amps: tidy(step),
        step_seconds: STEP_SECONDS,
        dip_volts: (farads > 0.0).then(|| tidy(dip_volts(step, STEP_SECONDS, farads).min(built.volts))),
        wanted_microfarads: tidy(step * STEP_SECONDS / (DIP * built.volts) * 1e6),
        inrush_amps: tidy(if farads > 0.0 { built.volts / (parallel + CHARGE_OHMS) } else { 0.0 }),
        stored_joules: tidy(0.5 * farads * built.volts * built.volts),
    }
}

pub(super) fn idle(built: &Built<'_>) -> Idle {
    let watts = built.idle_amps * built.volts;
    // 1 W all year is 8.76 kWh.
    let year = watts / built.efficiency * 8.76;
    let relay = built.sheet.relay == Some(true);
    Idle {
        amps: tidy(built.idle_amps),
        watts: tidy(watts),
        dark_year_kwh: tidy(year),
        relay_saves_kwh: tidy(if relay { 0.0 } else { year * DARK_HOURS / 24.0 }),
    }
}
