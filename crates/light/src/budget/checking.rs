//! The rules that a build sheet must keep before anything is reckoned from it.

use super::error::{Fault, FaultKind};
use super::sheet::{Feed, Layout, SheetMembers};

/// The most pixels that one sheet may have.
pub const PIXELS_MAX: u32 = 20_000;
/// The most feed points that one sheet may have.
pub const POINTS_MAX: usize = 64;

/// The range of a member: where, value, least, most, unit.
type Range<'a> = (&'a str, Option<f64>, f64, f64, &'a str);

/// Every fault. Without a chip or a number of pixels, what depends on them is not judged.
pub(super) fn faults(sheet: &SheetMembers, chip_known: bool, pixels_known: bool) -> Vec<Fault> {
    let mut faults = Vec::new();
    if sheet.pixels == 0 || sheet.pixels > PIXELS_MAX {
        let text = format!("{} pixels make no strip", sheet.pixels);
        let mend = format!("write 1 to {PIXELS_MAX}; a longer one is several strips, each with its own sheet");
        push(&mut faults, "/pixels".to_owned(), FaultKind::OutOfRange, text, mend);
    }
    let feed = sheet.feed.clone().unwrap_or_default();
    let layout = sheet.layout.clone().unwrap_or_default();
    for (pointer, value, least, most, unit) in ranges(sheet, &feed) {
        if let Some(value) = value.filter(|value| !(least..=most).contains(value)) {
            let text = format!("{value} {unit} cannot be");
            let mend = format!("write {least} to {most} {unit}, or leave it out if it is not there");
            push(&mut faults, pointer.to_owned(), FaultKind::OutOfRange, text, mend);
        }
    }
    counts(sheet, &layout, &mut faults);
    if let (Some(_), Some(_)) = (feed.mm2, feed.awg) {
        let mend = "keep the one that is printed on the wire and leave the other out".to_owned();
        let text = "the wire has both \"mm2\" and \"awg\"".to_owned();
        push(&mut faults, "/feed/awg".to_owned(), FaultKind::Clash, text, mend);
    }
    if chip_known {
        chip_volts(sheet, &mut faults);
    }
    points(sheet, &feed, pixels_known, &mut faults);
    runs(sheet, &layout, pixels_known, &mut faults);
    balance(sheet, &layout, chip_known, &mut faults);
    ip(sheet, &mut faults);
    faults
}

fn push(faults: &mut Vec<Fault>, pointer: String, kind: FaultKind, text: String, mend: String) {
    faults.push(Fault { pointer, kind, text, mend });
}

/// The ranges are wide: they refuse what cannot be meant, not what is unwise, which is the budget's to say.
fn ranges<'a>(sheet: &SheetMembers, feed: &Feed) -> Vec<Range<'a>> {
    vec![
        ("/pixels_per_metre", sheet.pixels_per_metre, 1.0, 1000.0, "pixels a metre"),
        ("/volts", sheet.volts, 1.0, 60.0, "V"),
        ("/supply_amps", sheet.supply_amps, 0.01, 1000.0, "A"),
        ("/supply_limit_amps", sheet.supply_limit_amps, 0.01, 10_000.0, "A"),
        ("/supply_efficiency", sheet.supply_efficiency, 0.05, 1.0, "of 1"),
        ("/fuse_amps", sheet.fuse_amps, 0.01, 1000.0, "A"),
        ("/channel_milliamps", sheet.channel_milliamps, 0.01, 2000.0, "mA"),
        ("/idle_milliamps", sheet.idle_milliamps, 0.0, 200.0, "mA"),
        ("/controller_milliamps", sheet.controller_milliamps, 0.0, 20_000.0, "mA"),
        ("/measured_white_amps", sheet.measured_white_amps, 0.001, 2000.0, "A"),
        ("/rail_ohms_per_metre", sheet.rail_ohms_per_metre, 0.0001, 100.0, "ohm/m"),
        ("/rail_amps", sheet.rail_amps, 0.01, 1000.0, "A"),
        ("/feed/mm2", feed.mm2, 0.02, 240.0, "mm²"),
        ("/feed/metres", feed.metres, 0.0, 1000.0, "m"),
        ("/feed/connector_amps", feed.connector_amps, 0.01, 1000.0, "A"),
        ("/feed/fuse_amps", feed.fuse_amps, 0.01, 1000.0, "A"),
        ("/capacitor_microfarads", sheet.capacitor_microfarads, 0.0, 10_000_000.0, "µF"),
        ("/data_volts", sheet.data_volts, 0.5, 24.0, "V"),
        ("/data_metres", sheet.data_metres, 0.0, 1000.0, "m"),
        ("/series_ohms", sheet.series_ohms, 0.0, 100_000.0, "ohm"),
        ("/clock_hertz", sheet.clock_hertz, 1000.0, 100_000_000.0, "Hz"),
        ("/ambient_celsius", sheet.ambient_celsius, -60.0, 120.0, "°C"),
    ]
}

fn counts(sheet: &SheetMembers, layout: &Layout, faults: &mut Vec<Fault>) {
    let awg = sheet.feed.as_ref().and_then(|feed| feed.awg);
    let rows = [
        ("/supplies", sheet.supplies, 1, 64, "supplies"),
        ("/feed/awg", awg, 0, 40, "AWG"),
        ("/layout/outputs", layout.outputs, 1, 64, "outputs"),
    ];
    for (pointer, value, least, most, unit) in rows {
        if let Some(value) = value.filter(|value| !(least..=most).contains(value)) {
            let text = format!("{value} {unit} cannot be");
            push(faults, pointer.to_owned(), FaultKind::OutOfRange, text, format!("write {least} to {most}"));
        }
    }
}

/// A voltage far from the chip's is another strip than the sheet says; one somewhat off is a finding of the budget.
fn chip_volts(sheet: &SheetMembers, faults: &mut Vec<Fault>) {
    let facts = sheet.chip.facts();
    let (least, most) = (facts.volts_least.value * 0.6, facts.volts_most.value * 1.5);
    if let Some(volts) = sheet.volts.filter(|volts| !(least..=most).contains(volts)) {
        let text = format!("{volts} V is not a voltage of {}, which works at {} V", facts.name, facts.volts.value);
        let mend = "name the chip that is really on the strip, or the supply's voltage".to_owned();
        push(faults, "/volts".to_owned(), FaultKind::VoltsAgainstChip, text, mend);
    }
}

fn points(sheet: &SheetMembers, feed: &Feed, pixels_known: bool, faults: &mut Vec<Fault>) {
    let Some(points) = &feed.points else { return };
    if points.is_empty() || points.len() > POINTS_MAX {
        let text = format!("{} feed points cannot be", points.len());
        let mend = format!("write 1 to {POINTS_MAX} distances along the strip in metres, such as [0] for one end");
        push(faults, "/feed/points".to_owned(), FaultKind::OutOfRange, text, mend);
    }
    // Without a known pitch the farthest point may be as far as the thinnest strip reaches.
    let pitch = 1.0 / sheet.pixels_per_metre.filter(|density| *density >= 1.0).unwrap_or(1.0);
    let length = f64::from(sheet.pixels) * pitch;
    for (index, point) in points.iter().enumerate() {
        // A point up to one pixel past the end is the end: lengths get rounded.
        let beyond = pixels_known && *point > length + pitch;
        if *point < 0.0 || !point.is_finite() || beyond {
            let text = format!("a feed point at {point} m is off the strip");
            let mend = format!("write a distance of 0 to {length:.3} m from the end where pixel 0 is");
            push(faults, format!("/feed/points/{index}"), FaultKind::OffTheStrip, text, mend);
        }
        if points.iter().take(index).any(|earlier| earlier == point) {
            let text = format!("there are two feed points at {point} m");
            let mend = "keep one; two pairs of wires to one place are one pair of twice the cross-section".to_owned();
            push(faults, format!("/feed/points/{index}"), FaultKind::TwiceGiven, text, mend);
        }
    }
}

fn runs(sheet: &SheetMembers, layout: &Layout, pixels_known: bool, faults: &mut Vec<Fault>) {
    if !pixels_known {
        return;
    }
    let last_pixel = sheet.pixels.saturating_sub(1);
    if let Some(skip) = layout.skip.filter(|skip| *skip >= sheet.pixels) {
        let text = format!("{skip} skipped pixels leave none of {}", sheet.pixels);
        push(faults, "/layout/skip".to_owned(), FaultKind::OffTheStrip, text, format!("write 0 to {last_pixel}"));
    }
    let runs = layout.runs.as_deref().unwrap_or_default();
    if layout.runs.is_some() && runs.is_empty() {
        let mend = "write at least one run such as [0, 143], or leave it out".to_owned();
        push(faults, "/layout/runs".to_owned(), FaultKind::OutOfRange, "there is no run".to_owned(), mend);
    }
    for (index, run) in runs.iter().enumerate() {
        for (end, pixel) in run.iter().enumerate() {
            if *pixel >= sheet.pixels {
                let text = format!("pixel {pixel} is beyond the strip");
                let mend = format!("write 0 to {last_pixel}: pixels count from 0");
                push(faults, format!("/layout/runs/{index}/{end}"), FaultKind::OffTheStrip, text, mend);
            }
        }
    }
    // Sorted by their first pixel, an overlap shows between neighbours: runs may be many.
    let mut sorted: Vec<_> = runs.iter().map(|[a, b]| (*a.min(b), *a.max(b))).enumerate().collect();
    sorted.sort_by_key(|(_, ends)| *ends);
    let mut reached: Option<u32> = None;
    for (index, (first, last)) in sorted {
        if reached.is_some_and(|reached| first <= reached) {
            let text = format!("the run from {first} to {last} has pixels of another run");
            let mend = "write runs that share no pixel".to_owned();
            push(faults, format!("/layout/runs/{index}"), FaultKind::Clash, text, mend);
        }
        reached = Some(reached.map_or(last, |reached| reached.max(last)));
    }
}

fn balance(sheet: &SheetMembers, layout: &Layout, chip_known: bool, faults: &mut Vec<Fault>) {
    let channels = sheet.chip.facts().channels;
    if let Some(balance) = &layout.white_balance {
        if chip_known && balance.len() != channels {
            let text = format!("{} factors of white balance for {channels} channels", balance.len());
            let mend = format!("write {channels} factors of 0 to 1, one for each channel");
            push(faults, "/layout/white_balance".to_owned(), FaultKind::OutOfRange, text, mend);
        }
        for (index, factor) in balance.iter().enumerate().filter(|(_, factor)| !(0.0..=1.0).contains(*factor)) {
            let mend = "write 0 to 1: the brightest channel has 1, the others less".to_owned();
            let text = format!("{factor} is no factor of white balance");
            push(faults, format!("/layout/white_balance/{index}"), FaultKind::OutOfRange, text, mend);
        }
    }
    if let Some(order) = layout.order.as_ref().filter(|_| chip_known) {
        let wanted = if channels == 4 { "RGBW" } else { "RGB" };
        let mut letters: Vec<char> = order.chars().collect();
        let mut all: Vec<char> = wanted.chars().collect();
        letters.sort_unstable();
        all.sort_unstable();
        if letters != all {
            let text = format!("\"{}\" is no order of channels of {}", crate::error::excerpt(order), sheet.chip.name());
            let mend = format!("write each letter of {wanted} once, in the order in which the chip takes them");
            push(faults, "/layout/order".to_owned(), FaultKind::UnknownName, text, mend);
        }
    }
}

fn ip(sheet: &SheetMembers, faults: &mut Vec<Fault>) {
    if let Some(ip) = sheet.protection.as_ref().and_then(|protection| protection.ip.as_ref())
        && water_digit(ip).is_none()
    {
        let text = format!("\"{}\" is no ingress protection", crate::error::excerpt(ip));
        let mend = "write it as printed on the fixture, such as \"IP65\", \"IPX4\" or \"IP20\"".to_owned();
        push(faults, "/protection/ip".to_owned(), FaultKind::UnknownName, text, mend);
    }
}

/// The second digit of an IP code (IEC 60529): 0 none, 4 splashes, 5 jets, 7 immersion.
pub(super) fn water_digit(ip: &str) -> Option<u32> {
    let code: Vec<char> = ip.strip_prefix("IP")?.chars().collect();
    match code.as_slice() {
        [solid, water] if *solid == 'X' || solid.is_digit(7) => water.to_digit(10),
        _ => None,
    }
}
