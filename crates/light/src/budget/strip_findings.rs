//! Findings about heat, voltage along the strip, data, frames, looks and the dark strip.

use super::answer::{Budget, Grade, say};
use super::built::Built;
use super::findings::Findings;
use super::sheet::{Enclosure, Mounting};
use super::signal::DARK_HOURS;

/// Rise time above which the shortest pulse, 220 ns, loses half of itself, in seconds.
const SLOW_RISE: f64 = 110e-9;
/// The longest data line that works without care, in metres; common practice, no source.
const LONG_LINE: f64 = 2.0;
/// How far the strip's minus may stand above the controller's, in volts: input protection begins to conduct.
const OFFSET: f64 = 0.3;
/// What a chip's input stands when it is pushed, in amps; from memory, unverified.
const PUSH: f64 = 0.010;
/// Frames a second below which motion is seen to step; common practice, no source.
const SMOOTH: f64 = 30.0;

pub(super) fn heat(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let heat = &budget.heat;
    if heat.full_white_watts_per_metre > heat.limit_watts_per_metre {
        let text = format!(
            "full white turns {} W/m to heat where {} W/m can go, and so does any stretch that is lit white",
            say(heat.full_white_watts_per_metre),
            say(heat.limit_watts_per_metre)
        );
        let mut ways = Vec::new();
        if built.mounting != Mounting::Aluminium {
            ways.push("mount it on aluminium");
        }
        if built.enclosure != Enclosure::Open {
            ways.push("open the enclosure");
        }
        ways.push("use a strip of fewer pixels a metre");
        let mend = format!("{}; the ceiling holds it only while the controller works", ways.join(", or "));
        let place = ("full-white-above-heat", "/mounting");
        let numbers = (heat.full_white_watts_per_metre, heat.limit_watts_per_metre, "W/m");
        found.held(Grade::Danger, place, numbers, text, &heat.source, mend);
    }
}

pub(super) fn volts(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let least = &built.facts.volts_least;
    let voltage = &budget.voltage;
    let place = ("pixel-voltage-low", "/feed/points");
    let better = budget.alternatives.iter().find(|way| way.at_ceiling.minimum >= least.value).map_or_else(
        || "use thicker, shorter feed wire and more feed points".to_owned(),
        |way| {
            format!(
                "feed at {} ({} V at the ceiling), or with thicker, shorter wire",
                way.name,
                say(way.at_ceiling.minimum)
            )
        },
    );
    let at_ceiling = &voltage.at_ceiling;
    if at_ceiling.minimum < least.value {
        let runs = built.facts.volts_runs.value;
        let effect = if at_ceiling.minimum < runs { "pixels drop out or flicker" } else { "blue and green fade first" };
        let text = format!(
            "at the ceiling, every pixel alike, pixel {} has {} V of the {} V that it needs: {effect}",
            at_ceiling.at_pixel,
            say(at_ceiling.minimum),
            say(least.value)
        );
        found.held(Grade::Mend, place, (at_ceiling.minimum, least.value, "V"), text, &least.told(), better);
    } else if voltage.minimum < least.value {
        let text = format!(
            "at full white, which the ceiling prevents, pixel {} would have {} V of the {} V that it needs",
            voltage.at_pixel,
            say(voltage.minimum),
            say(least.value)
        );
        found.held(Grade::Note, place, (voltage.minimum, least.value, "V"), text, &least.told(), better);
    }
}

pub(super) fn data(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let data = &budget.data;
    let figure = built.facts.high.figure().told();
    if data.margin_volts < 0.0 {
        let text = format!(
            "the data line's {} V do not surely reach the {} V that the first pixel takes for high on the unloaded strip",
            say(data.high_volts),
            say(data.threshold_volts)
        );
        let mend =
            "put a level shifter with TTL inputs (74AHCT125, 74HCT245) on the strip's supply at the controller, \
                    or run the first pixel through a diode"
                .to_owned();
        let numbers = (data.high_volts, data.high_volts - data.margin_volts, "V");
        found.held(Grade::Mend, ("data-level-low", "/data_volts"), numbers, text, &figure, mend);
    }
    if data.ground_offset_volts > OFFSET {
        let text = format!(
            "at full white the strip's minus stands {} V above the controller's, which the data line has to bear",
            say(data.ground_offset_volts)
        );
        let mend =
            "take the controller's minus from the strip's first pad, or use thicker, shorter feed wire".to_owned();
        let numbers = (data.ground_offset_volts, OFFSET, "V");
        found.held(Grade::Mend, ("data-ground-offset", "/feed"), numbers, text, "common practice, no source", mend);
    }
    if built.series_ohms < 100.0 {
        let text =
            "the data line has no resistor worth the name: its edges ring, and it pushes into an unpowered strip";
        let mend = "put 220 to 470 ohm in series, close to the controller or level shifter".to_owned();
        let place = ("data-resistor-missing", "/series_ohms");
        let numbers = (built.series_ohms, 330.0, "ohm");
        found.held(Grade::Mend, place, numbers, text.to_owned(), "330 ohm: common practice, no source", mend);
    }
    if data.rise_seconds > SLOW_RISE {
        let text = format!("the data line rises in {} ns, too slow for pulses of 220 ns", say(data.rise_seconds * 1e9));
        let mend = "use a smaller resistor or a shorter line".to_owned();
        let numbers = (data.rise_seconds * 1e9, SLOW_RISE * 1e9, "ns");
        let source = "2.197 R C with the chip's input and 50 pF a metre, from memory; half of the shortest pulse";
        found.held(Grade::Mend, ("data-rise-slow", "/series_ohms"), numbers, text, source, mend);
    }
    if built.data_metres > LONG_LINE {
        let text = format!("a data line of {} m picks up and reflects", say(built.data_metres));
        let mend =
            "move the controller to the strip, or drive the line as a pair (RS-485) and back at the strip".to_owned();
        let numbers = (built.data_metres, LONG_LINE, "m");
        found.held(Grade::Mend, ("data-line-long", "/data_metres"), numbers, text, "common practice, no source", mend);
    }
    if data.into_unpowered_amps > PUSH || built.sheet.relay == Some(true) {
        let text = format!(
            "driving data into the strip without power pushes up to {} mA through its first pixel",
            say(data.into_unpowered_amps * 1000.0)
        );
        let mend = "hold the data line low before power goes, and until it is back".to_owned();
        let numbers = (data.into_unpowered_amps * 1000.0, PUSH * 1000.0, "mA");
        let place = ("data-into-unpowered", "/relay");
        found.held(Grade::Note, place, numbers, text, "protection diodes, from memory, unverified", mend);
    }
}

pub(super) fn frames(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let refresh = &budget.refresh;
    if refresh.frames_per_second < SMOOTH {
        let text = format!(
            "a frame takes {} ms, {} a second at most: motion steps",
            say(refresh.frame_seconds * 1000.0),
            say(refresh.frames_per_second)
        );
        let mend = "share the pixels over several data outputs, or raise the clock of a clocked chip".to_owned();
        let numbers = (refresh.frames_per_second, SMOOTH, "1/s");
        let place = ("frames-slow", "/layout/outputs");
        found.held(Grade::Mend, place, numbers, text, "30 a second: common practice, no source", mend);
    }
    if refresh.chip_hertz < 1000.0 {
        let text =
            format!("the chip flickers at {} Hz by itself: cameras and quick glances see it", say(refresh.chip_hertz));
        let mend = "for film or reading choose a chip of 1 kHz or more".to_owned();
        let place = ("chip-flicker", "/chip");
        let numbers = (refresh.chip_hertz, 1000.0, "Hz");
        found.held(Grade::Note, place, numbers, text, &built.facts.refresh_hertz.told(), mend);
    }
}

pub(super) fn looks(budget: &Budget, found: &mut Findings) {
    for (name, look) in budget.looks.iter().filter(|(_, look)| look.scale < 1.0) {
        let text = format!(
            "the look \"{name}\" asks for {} A and is dimmed to {} A at its brightest",
            say(look.peak_amps),
            say(look.shown_amps)
        );
        let mend = format!(
            "lower its intensity, shorten its span, or raise the limit that the ceiling is from: {}",
            budget.ceiling.from
        );
        let place = ("look-dimmed", "");
        let numbers = (look.peak_amps, budget.ceiling.amps, "A");
        found.held(Grade::Note, place, numbers, text, "the ceiling of this budget", mend);
    }
}

pub(super) fn dark(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let idle = &budget.idle;
    if idle.amps > budget.ceiling.amps {
        let text = format!(
            "the dark strip alone draws {} A, more than the ceiling of {} A: nothing can be lit",
            say(idle.amps),
            say(budget.ceiling.amps)
        );
        let mend = format!("raise the limit that the ceiling is from: {}", budget.ceiling.from);
        let numbers = (idle.amps, budget.ceiling.amps, "A");
        found.held(Grade::Mend, ("idle-above-ceiling", "/idle_milliamps"), numbers, text, "arithmetic", mend);
    }
    if built.sheet.relay != Some(true) && idle.relay_saves_kwh > 0.0 {
        let text = format!(
            "dark for {DARK_HOURS} hours a day, the strip draws {} W all the same: {} kWh a year",
            say(idle.watts),
            say(idle.relay_saves_kwh)
        );
        let mend =
            "a relay or transistor in the plus saves that, less its own; let it open only after the data line is \
                    low"
            .to_owned();
        let source = built.facts.idle_milliamps.told();
        found.say(Grade::Note, ("idle-draw", "/relay"), text, &source, mend);
    }
    if let Some(measured) = built.sheet.measured_white_amps {
        let facts = built.facts;
        let sheet = facts.channel_milliamps.value / 1000.0 * facts.channels as f64 * built.pixels as f64 + idle.amps;
        let text = format!(
            "full white counts as you measured it, {} A; by the data sheet it is {} A, and a strip measured with thin \
             wire draws less than the same strip fed well",
            say(measured),
            say(sheet)
        );
        let mend = "measure it fed at both ends with thick wire, after ten minutes".to_owned();
        let source = facts.channel_milliamps.told();
        let numbers = (measured, sheet, "A");
        found.held(Grade::Note, ("white-measured", "/measured_white_amps"), numbers, text, &source, mend);
    }
}
