//! A plain reading of the rules, slow and without any of the crate's searches: what the laws are held against.

use almanac::{Because, DARK, Entry, Place, Scene, Start, SunDay, Until, sun_event};
use jiff::civil::{Date, Time};
use jiff::{SignedDuration, Timestamp};
use solar_positioning::time::JulianDate;
use solar_positioning::{Location, SolarPositions};

const LOOK_BACK: SignedDuration = SignedDuration::from_hours(400 * 24);

fn wall(place: &Place, date: Date, time: Time) -> Timestamp {
    place.zone().to_ambiguous_timestamp(date.to_datetime(time)).compatible().unwrap()
}

/// When an entry begins on a date, if it does.
pub(crate) fn beginning(place: &Place, date: Date, entry: &Entry) -> Option<Timestamp> {
    let skipped = wall(place, date, Time::midnight()) == wall(place, date.tomorrow().unwrap(), Time::midnight());
    if skipped
        || entry.days.is_some_and(|days| !days.contains(date.weekday()))
        || entry.dates.is_some_and(|dates| !dates.contains(date))
    {
        return None;
    }
    let start = match entry.start {
        Start::Wall(time) => wall(place, date, time),
        Start::Sun(event) => match sun_event(place, date, event) {
            SunDay::At(instant) => instant,
            SunDay::AlwaysAbove | SunDay::AlwaysBelow | SunDay::NotThisDate => return None,
        },
    };
    let mut begin = start + entry.shift.duration();
    if let Some(earliest) = entry.not_before {
        begin = begin.max(wall(place, date, earliest));
    }
    if let Some(latest) = entry.not_after {
        begin = begin.min(wall(place, date, latest));
    }
    Some(begin)
}

/// The entry that holds: of all that began in the last 400 days the latest, the last in the list.
pub(crate) fn held(scene: &Scene<'_>, now: Timestamp) -> Option<(Timestamp, usize)> {
    let place = scene.place?;
    let mut date = place.zone().to_datetime(now).date().checked_add(jiff::Span::new().days(3)).unwrap();
    let mut best: Option<(Timestamp, usize)> = None;
    let mut left = 408;
    while left > 0 {
        for (index, entry) in scene.plan.timetable.entries().iter().enumerate() {
            if let Some(begin) = beginning(place, date, entry)
                && begin <= now
                && now < begin + LOOK_BACK
                && best.is_none_or(|best| best < (begin, index))
            {
                best = Some((begin, index));
                // Nothing of more than some days earlier is later.
                left = left.min(5);
            }
        }
        date = date.yesterday().unwrap();
        left -= 1;
    }
    best
}

/// Whether an override until the next change still holds: whether the entry at the edit has held at every
/// beginning since then.
fn next_change_has_come(scene: &Scene<'_>, now: Timestamp) -> bool {
    let Some(place) = scene.place else { return false };
    let then = held(scene, scene.edited_at);
    let first = then.map(|(_, index)| index);
    let mut instants = vec![now];
    instants.extend(then.map(|(begin, _)| begin + LOOK_BACK));
    let mut date = place.zone().to_datetime(scene.edited_at).date().checked_sub(jiff::Span::new().days(2)).unwrap();
    let last = place.zone().to_datetime(now).date().checked_add(jiff::Span::new().days(2)).unwrap();
    while date <= last {
        instants.extend(scene.plan.timetable.entries().iter().filter_map(|entry| beginning(place, date, entry)));
        date = date.tomorrow().unwrap();
    }
    instants
        .into_iter()
        .filter(|instant| scene.edited_at < *instant && *instant <= now)
        .any(|instant| held(scene, instant).map(|(_, index)| index) != first)
}

/// Whether it is dark, by the height of the sun itself; nothing where it stands so near the horizon that the few
/// seconds decide by which events are allowed to be off.
fn is_dark(place: Option<&Place>, now: Timestamp) -> Option<bool> {
    let Some(place) = place else { return Some(true) };
    let julian = 2_440_587.5 + now.as_second() as f64 / 86_400.0;
    let location = Location { latitude: place.latitude(), longitude: place.longitude() };
    let time = JulianDate::new(julian, 69.0).unwrap();
    let sun = SolarPositions::new().at_from_julian(time, location, 0.0, None).unwrap().elevation_angle();
    let above = sun + 50.0 / 60.0;
    (above.abs() > 0.03).then_some(above < 0.0)
}

/// The look, the reason and the floor, this last if it can be told.
pub(crate) fn shown(scene: &Scene<'_>, now: Timestamp) -> (String, Because, Option<bool>) {
    let plan = scene.plan;
    if !plan.lit {
        return (DARK.into(), Because::Unlit, Some(false));
    }
    let overriding = plan.owners_override.as_ref().filter(|held| match held.until {
        Until::At(end) => now < end,
        Until::NextChange => !next_change_has_come(scene, now),
        Until::Released => true,
    });
    let running =
        scene.running.iter().rfind(|running| running.since <= now && running.until.is_none_or(|end| now < end));
    let (look, because) = if let Some(held) = overriding {
        (held.look.to_string(), Because::Override)
    } else if let Some(running) = running {
        (running.look.clone(), Because::Link)
    } else if let Some((_, index)) = held(scene, now) {
        (plan.timetable.entries()[index].look.clone(), Because::Timetable)
    } else if let Some(look) = &plan.default {
        (look.to_string(), Because::Default)
    } else {
        (DARK.into(), Because::Dark)
    };
    (look, because, if plan.keeps_floor { is_dark(scene.place, now) } else { Some(false) })
}
