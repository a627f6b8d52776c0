//! The dark hours, and the floor that a walkway keeps in them.

use almanac::{
    Because, Override, Place, Plan, SunDay, SunEvent, Until, agenda, dark_hours, next_change, showing, sun_event,
};
use jiff::civil::{Date, date};
use jiff::{SignedDuration, Timestamp};

use crate::{amsterdam, at, entry, plan_of, scene};

const EDITED: &str = "2026-11-01T00:00:00Z";
const NOON: &str = "2026-11-25T12:00:00Z";

fn sun(place: &Place, day: Date, event: SunEvent) -> Timestamp {
    match sun_event(place, day, event) {
        SunDay::At(instant) => instant,
        other => panic!("{event:?} on {day}: {other:?}"),
    }
}

fn floored() -> Plan {
    Plan { keeps_floor: true, default: Some("evening".into()), ..Plan::default() }
}

#[test]
fn the_floor_is_kept_from_sunset_to_sunrise_and_both_are_changes() {
    let (place, plan) = (amsterdam(), floored());
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    let set = sun(&place, date(2026, 11, 25), SunEvent::Sunset);
    let rise = sun(&place, date(2026, 11, 26), SunEvent::Sunrise);
    let rows = agenda(&scene, at(NOON), at("2026-11-26T12:00:00Z"));
    let found: Vec<(Timestamp, bool)> = rows.iter().map(|row| (row.at, row.floored)).collect();
    let morning = sun(&place, date(2026, 11, 25), SunEvent::Sunrise);
    assert_eq!(found, [(morning, false), (set, true), (rise, false)]);
    assert!(rows.iter().all(|row| row.look == "evening" && row.because == Because::Default));
    // Not at dusk: by then stairwells have long been dark.
    assert!(set < sun(&place, date(2026, 11, 25), SunEvent::Dusk));
    assert!(!showing(&scene, set - SignedDuration::from_nanos(1)).floored && showing(&scene, set).floored);
}

#[test]
fn the_floor_lies_under_overrides_and_links_but_not_under_an_unlit_fixture() {
    let place = amsterdam();
    let held = Override { look: "dark".into(), until: Until::Released };
    let plan = Plan { owners_override: Some(held), ..floored() };
    let night = at("2026-11-25T23:00:00Z");
    let shown = showing(&scene(&plan, Some(&place), EDITED, &[]), night);
    assert!(shown.floored && shown.look == "dark" && shown.because == Because::Override);
    assert_eq!(shown.until, Some(sun(&place, date(2026, 11, 26), SunEvent::Sunrise)));
    assert_eq!(shown.since, Some(sun(&place, date(2026, 11, 25), SunEvent::Sunset)));
    let unlit = Plan { lit: false, ..plan };
    let scene = scene(&unlit, Some(&place), EDITED, &[]);
    assert!(!showing(&scene, night).floored);
    assert_eq!(next_change(&scene, night), None);
}

#[test]
fn without_a_place_the_floor_is_always_kept_and_without_a_floor_never() {
    let plan = floored();
    let shown = showing(&scene(&plan, None, EDITED, &[]), at(NOON));
    assert_eq!((shown.floored, shown.until), (true, None));
    let place = amsterdam();
    let bare = Plan { keeps_floor: false, ..plan };
    let scene = scene(&bare, Some(&place), EDITED, &[]);
    assert!(!showing(&scene, at("2026-11-25T23:00:00Z")).floored);
    assert_eq!(next_change(&scene, at(NOON)), None);
}

#[test]
fn in_the_polar_night_the_floor_is_kept_all_day_and_in_the_polar_day_never() {
    let (place, plan) = (Place::new(69.65, 18.96, "Europe/Oslo").unwrap(), floored());
    let scene = scene(&plan, Some(&place), "2025-01-01T00:00:00Z", &[]);
    let night = showing(&scene, at("2026-12-21T11:00:00Z"));
    let month = |instant: Option<Timestamp>| place.zone().to_datetime(instant.unwrap()).month();
    assert_eq!((night.floored, month(night.since), month(night.until)), (true, 11, 1));
    let day = showing(&scene, at("2026-06-21T23:00:00Z"));
    assert_eq!((day.floored, month(day.since), month(day.until)), (false, 5, 7));
}

#[test]
fn a_change_of_look_and_nightfall_are_rows_of_their_own() {
    let place = amsterdam();
    let plan = Plan { keeps_floor: true, ..plan_of(vec![entry("15:00", "evening"), entry("22:45", "late")]) };
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    let rows = agenda(&scene, at("2026-11-25T13:00:00Z"), at("2026-11-26T12:00:00Z"));
    let found: Vec<(&str, bool)> = rows.iter().map(|row| (row.look.as_str(), row.floored)).collect();
    assert_eq!(found, [("late", false), ("evening", false), ("evening", true), ("late", true), ("late", false)]);
}

#[test]
fn dark_hours_are_merged_over_midnight_and_cut_off_at_the_window() {
    let place = amsterdam();
    let (set, rise) = (|day| sun(&place, day, SunEvent::Sunset), |day| sun(&place, day, SunEvent::Sunrise));
    let (first, second, third) = (date(2026, 11, 25), date(2026, 11, 26), date(2026, 11, 27));
    let hours = dark_hours(&place, at(NOON), at("2026-11-27T12:00:00Z"));
    assert_eq!(hours, [(set(first), rise(second)), (set(second), rise(third))]);
    let (from, to) = (at("2026-11-25T23:00:00Z"), at("2026-11-26T01:00:00Z"));
    assert_eq!(dark_hours(&place, from, to), [(from, to)]);
    assert_eq!(dark_hours(&place, at(NOON), at("2026-11-25T13:00:00Z")), []);
    assert_eq!(dark_hours(&place, to, from), []);
    // An end or a begin at the very bound is no interval.
    assert_eq!(dark_hours(&place, rise(second), set(second)), []);
}

#[test]
fn dark_hours_of_a_polar_night_are_one_and_of_a_polar_day_none() {
    let place = Place::new(78.22, 15.65, "Arctic/Longyearbyen").unwrap();
    let (from, to) = (at("2026-12-01T00:00:00Z"), at("2026-12-31T00:00:00Z"));
    assert_eq!(dark_hours(&place, from, to), [(from, to)]);
    assert_eq!(dark_hours(&place, at("2026-06-01T00:00:00Z"), at("2026-06-30T00:00:00Z")), []);
    let year = dark_hours(&place, at("2026-01-01T00:00:00Z"), at("2027-01-01T00:00:00Z"));
    // Between polar night and polar day, in spring and autumn, the sun rises and sets on some sixty days each.
    assert!((100..=150).contains(&year.len()), "{}", year.len());
}
