//! Findings about fuses, supplies, protection and the buffer capacitor.

use super::answer::{Budget, Grade, say};
use super::built::Built;
use super::checking::water_digit;
use super::copper::AMPACITY_SOURCE;
use super::findings::Findings;
use super::fuse::{self, FUSE_OPENING_SOURCE, SUPPLY_LOADING, SUPPLY_LOADING_SOURCE};
use super::sheet::Place;

/// From how many microfarads on a capacitor is large enough to trip supplies and weld switches; common practice.
const LARGE_MICROFARADS: f64 = 4700.0;
/// What a short circuit close to the supply still has of resistance, in ohms; from memory, unverified.
const NEAR_OHMS: f64 = 0.01;

/// The weakest conductor of a branch: what it is, what it may carry, and the source.
fn weakest(built: &Built<'_>) -> (&'static str, f64, &'static str) {
    let conductors = [
        ("feed wire", built.ampacity, AMPACITY_SOURCE),
        ("connector", built.connector_amps, "the connector's rating as in the sheet or assumed"),
        ("rail of the strip", built.rail_amps, "the rail's rating as in the sheet or assumed"),
    ];
    conductors.into_iter().fold(("", f64::INFINITY, ""), |least, each| if each.1 < least.1 { each } else { least })
}

/// Which common fuse would do and where it goes, in a sentence.
fn fuse_that_fits(built: &Built<'_>, prospective: f64, place: &str) -> String {
    match fuse::fuse_for_conductor(weakest(built).1, prospective) {
        Some(rating) => format!("fit a fuse of {} A or less {place}", say(rating)),
        None => "no common fuse is small enough: use thicker wire, shorter ways and more feed points first".to_owned(),
    }
}

pub(super) fn fuses(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let (what, carries, source) = weakest(built);
    let short = &budget.fault;
    let guard = match (built.branch_fuse, built.sheet.fuse_amps) {
        (Some(own), Some(main)) if own <= main => Some((own, "/feed/fuse_amps", "branch fuse")),
        (_, Some(main)) => Some((main, "/fuse_amps", "main fuse")),
        (Some(own), None) => Some((own, "/feed/fuse_amps", "branch fuse")),
        (None, None) => None,
    };
    let Some((rating, pointer, name)) = guard else {
        // The worst for a conductor is a short circuit near the supply; a fuse must also open at the far end.
        let near = built.volts / (2.0 * built.conductor_ohms + NEAR_OHMS);
        let near = near.min(built.supply_limit.unwrap_or(f64::INFINITY));
        let text = format!(
            "there is no fuse: nothing opens when a short circuit near the supply draws up to {} A through a {what} \
             that carries {} A",
            say(near),
            say(carries)
        );
        let mend = fuse_that_fits(built, short.prospective_amps, "in the plus, close to the supply");
        let place = ("fuse-missing", "/fuse_amps");
        found.held(Grade::Danger, place, (near, carries, "A"), text, source, mend);
        return;
    };
    if rating > carries + 1e-9 {
        let each = if budget.branches.len() > 1 { "; each branch is judged by it, not by its share" } else { "" };
        let text = format!(
            "the {name} of {} A does not protect the weakest conductor, a {what} that carries {} A{each}",
            say(rating),
            say(carries)
        );
        let (flows, place) = if budget.branches.len() > 1 {
            (short.branch_prospective_amps, "into each branch, close to the supply")
        } else {
            (short.prospective_amps, "in the plus, close to the supply")
        };
        let mend = format!("{}; or use a stronger {what}", fuse_that_fits(built, flows, place));
        found.held(Grade::Danger, ("fuse-above-conductor", pointer), (rating, carries, "A"), text, source, mend);
    }
    let opening = [
        (short.opening_amps, short.prospective_amps, "main fuse", "/fuse_amps"),
        (short.branch_opening_amps, short.branch_prospective_amps, "branch fuse", "/feed/fuse_amps"),
    ];
    for (opening, flows, name, pointer) in opening {
        if let Some(opening) = opening.filter(|opening| flows < *opening - 1e-9) {
            let limited = short.supply_limit_amps.is_some_and(|limit| limit <= flows + 1e-9);
            let why = if limited { "the supply gives no more" } else { "the way there and back lets no more through" };
            let text = format!(
                "the {name} may never open: a short circuit at the far end draws {} A, {why}, and it needs {} A",
                say(flows),
                say(opening)
            );
            let or = if limited {
                "or a supply that gives more into a short circuit (write \"supply_limit_amps\" from its data sheet)"
            } else {
                "or a thicker and shorter feed, or more feed points"
            };
            let mend = format!("{}; {or}", fuse_that_fits(built, flows, "in its place"));
            let place = ("fuse-may-never-open", pointer);
            found.held(Grade::Danger, place, (flows, opening, "A"), text, FUSE_OPENING_SOURCE, mend);
        }
    }
    let white = budget.full_white.with_controller_amps;
    if let Some(main) = built.sheet.fuse_amps.filter(|main| white > *main) {
        let text = format!(
            "a controller that hangs at full white draws {} A and can blow the main fuse of {} A: it protects",
            say(white),
            say(main)
        );
        let mend = "keep a spare of the same rating; never a larger one".to_owned();
        let place = ("fuse-opens-at-full-white", "/fuse_amps");
        found.held(Grade::Note, place, (white, main, "A"), text, "arithmetic", mend);
    }
}

pub(super) fn supply(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let white = budget.full_white.with_controller_amps;
    match built.sheet.supply_amps {
        None => {
            let text = "the supply's rating is not known, so neither load nor short circuit can be judged by it";
            let mend = "write \"supply_amps\" from the supply's label".to_owned();
            let place = ("supply-unknown", "/supply_amps");
            found.say(Grade::Mend, place, text.to_owned(), "the build sheet", mend);
        }
        Some(rated) if white > rated => {
            let text = format!(
                "full white draws {} A from a supply of {} A: one hung controller overloads it",
                say(white),
                say(rated)
            );
            let mend = format!(
                "take a supply of {} A or more, or fewer pixels; its own limit and the fuse must stand it",
                say((white / SUPPLY_LOADING).ceil())
            );
            let place = ("full-white-above-supply", "/supply_amps");
            found.held(Grade::Danger, place, (white, rated, "A"), text, "the supply's rating", mend);
        }
        Some(rated) if white > rated * SUPPLY_LOADING => {
            let text = format!("full white draws {} A, close to the supply's {} A", say(white), say(rated));
            let mend = format!("take a supply of {} A or more", say((white / SUPPLY_LOADING).ceil()));
            let place = ("full-white-near-supply", "/supply_amps");
            let numbers = (white, rated * SUPPLY_LOADING, "A");
            found.held(Grade::Mend, place, numbers, text, SUPPLY_LOADING_SOURCE, mend);
        }
        Some(_) => {}
    }
    if let Some(count) = built.sheet.supplies.filter(|count| *count > 1) {
        let text = format!(
            "{count} supplies in parallel on one plus rail: they share unevenly, feed each other's faults and add up \
             in a short circuit"
        );
        let mend = "use one larger supply; or cut the plus rail between them, join the minus, and write a sheet for \
                    each stretch"
            .to_owned();
        let place = ("supplies-in-parallel", "/supplies");
        let source = "common practice, no source; makers' manuals allow it only where they say so";
        found.held(Grade::Danger, place, (f64::from(count), 1.0, "supplies"), text, source, mend);
    }
    let facts = built.facts;
    if built.volts > facts.volts_most.value || built.volts < facts.volts_least.value {
        let (limit, figure, word) = if built.volts > facts.volts_most.value {
            (facts.volts_most.value, facts.volts_most, "above the most")
        } else {
            (facts.volts_least.value, facts.volts_least, "below the least")
        };
        let text = format!("{} V is {word} for {}, {} V", say(built.volts), facts.name, say(limit));
        let mend = format!("set the supply to {} V", say(facts.volts.value));
        let place = ("volts-outside-chip", "/volts");
        found.held(Grade::Danger, place, (built.volts, limit, "V"), text, &figure.told(), mend);
    }
}

pub(super) fn place(built: &Built<'_>, found: &mut Findings) {
    let (grade, digit) = match built.place {
        Place::Dry => return,
        Place::Damp => (Grade::Mend, 4),
        Place::Outdoor => (Grade::Danger, 4),
        Place::Wet => (Grade::Danger, 5),
    };
    let protection = built.sheet.protection.clone().unwrap_or_default();
    let mut lacks = Vec::new();
    if protection.selv != Some(true) {
        lacks.push("an isolated SELV supply".to_owned());
    }
    if protection.rcd != Some(true) {
        lacks.push("a residual current device of 30 mA or less before it".to_owned());
    }
    let water = protection.ip.as_deref().and_then(water_digit);
    if water.is_none_or(|water| water < digit) {
        lacks.push(format!("ingress protection of IPX{digit} or more"));
    }
    if lacks.is_empty() {
        return;
    }
    let text = format!(
        "the place is {}, and the sheet does not say that there is {}",
        built.place.name(),
        lacks.join(", nor ")
    );
    let mend = "have it fitted, then write \"protection\": {\"selv\": true, \"rcd\": true, \"ip\": \"IP65\"} as it is"
        .to_owned();
    let source = "IEC 60529 for the code, IEC 60364-7 for the places, from memory, unverified: local codes decide";
    found.say(grade, ("place-unprotected", "/protection"), text, source, mend);
}

pub(super) fn capacitor(built: &Built<'_>, budget: &Budget, found: &mut Findings) {
    let capacitor = &budget.capacitor;
    if capacitor.microfarads >= LARGE_MICROFARADS && built.sheet.inrush_limiter != Some(true) {
        let text = format!(
            "a buffer of {} µF draws up to {} A at switching on: it can trip the supply, weld a switch and wear the fuse",
            say(capacitor.microfarads),
            say(capacitor.inrush_amps)
        );
        let mend = "use an inrush limiter or a soft-starting supply and write \"inrush_limiter\": true, or a smaller \
                    capacitor; discharge it before touching"
            .to_owned();
        let place = ("capacitor-inrush", "/capacitor_microfarads");
        let numbers = (capacitor.microfarads, LARGE_MICROFARADS, "µF");
        let source = "common practice, no source; inrush = V / R of feed and 0.05 ohm";
        found.held(Grade::Danger, place, numbers, text, source, mend);
    }
    let dip = capacitor.dip_volts.unwrap_or(built.volts);
    let most = built.volts * 0.1;
    if dip > most && capacitor.step_amps > 0.0 {
        let now = match capacitor.dip_volts {
            Some(dip) => format!("the buffer capacitor dips {} V", say(dip)),
            None => "there is no buffer capacitor".to_owned(),
        };
        let text = format!("{now} while {} A come on and the supply follows", say(capacitor.step_amps));
        let mend = format!(
            "put {} µF or more across the strip's supply at its feed, rated well above {} V",
            say(capacitor.wanted_microfarads.max(470.0).ceil()),
            say(built.volts)
        );
        let place = ("capacitor-small", "/capacitor_microfarads");
        let source = "dV = I t / C with t = 100 µs and a tenth of the voltage: common practice, no source";
        found.held(Grade::Mend, place, (dip, most, "V"), text, source, mend);
    }
}
