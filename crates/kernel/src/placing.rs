//! A timetable needs a place: sun events its latitude and longitude, wall times its zone.

use almanac::{Place, Plan, Start};
use document::Pointer;

use crate::rejection::{Advice, Finding};
use crate::strip::Strip;

/// What to do about a place that is missing.
const SET_ONE: &str = "set site.latitude, site.longitude and site.zone in the daemon's configuration and start it \
    again, or give the fixture a place of its own: in its record, \
    \"place\":{\"latitude\":52.4,\"longitude\":4.9,\"zone\":\"Europe/Amsterdam\"}";

/// Refuses a timetable that was newly written for a fixture without a place.
pub(crate) fn check_new(plan: &Plan) -> Result<(), Vec<Finding>> {
    let Some(need) = plan.needs_place() else { return Ok(()) };
    let pointer = Pointer::default().child("timetable").child(&need.entry.to_string()).child("start");
    Err(vec![Finding::new(pointer, lacking(need.start), SET_ONE)])
}

/// Refuses an edit of the record that leaves a timetable without a place; `why` is what the edit does.
pub(crate) fn check_left(plan: &Plan, why: &str) -> Result<(), Vec<Finding>> {
    let Some(need) = plan.needs_place() else { return Ok(()) };
    let text = format!("{why}, and the fixture has a timetable: {}", lacking(need.start));
    let advice = "keep the place of its own, or take the timetable away first, or set site.latitude, site.longitude \
        and site.zone in the daemon's configuration and start it again";
    Err(vec![Finding::new(Pointer::default().child("place"), text, advice)])
}

fn lacking(start: Start) -> String {
    match start {
        Start::Sun(event) => format!(
            "when {} is depends on latitude, longitude and zone, and no place is known: neither the site nor the fixture has one",
            event.as_str()
        ),
        Start::Wall(_) => format!(
            "{start} is a wall time of some zone, and no place is known: neither the site nor the fixture has one"
        ),
    }
}

/// What is worth knowing of a strip's document over time, beside what it says itself.
pub(crate) fn advise(strip: &Strip, place: Option<&Place>, advice: &mut Vec<Advice>) {
    let at = |name: &str| Pointer::default().child(name);
    let plan = strip.plan();
    let followed = plan.needs_place().is_none() || place.is_some();
    if !followed {
        let text = format!("the timetable is not followed, since no place is known; {SET_ONE}");
        advice.push(Advice { pointer: at("timetable"), text });
    }
    if plan.keeps_floor && place.is_none() {
        let text = format!("the floor is kept at every hour, since no place tells when it is dark; {SET_ONE}");
        advice.push(Advice { pointer: at("floor"), text });
    }
    let waits = plan.owners_override.is_some_and(|held| held.until == almanac::Until::NextChange);
    if waits && (plan.timetable.entries().is_empty() || !followed) {
        let text = "there is no timetable that could change, so the override holds until you release it";
        advice.push(Advice { pointer: at("override").child("until"), text: text.to_owned() });
    }
}
