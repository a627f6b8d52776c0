//! The sun against reference libraries and published tables.

use std::collections::BTreeMap;

use almanac::{Place, SunDay, SunEvent, sun_event};
use jiff::Timestamp;
use jiff::civil::{Date, date};

use crate::{at, rows};

fn event(name: &str) -> SunEvent {
    match name {
        "sunrise" => SunEvent::Sunrise,
        "sunset" => SunEvent::Sunset,
        "civil_dawn" => SunEvent::Dawn,
        "civil_dusk" => SunEvent::Dusk,
        _ => panic!("{name}"),
    }
}

fn place(cells: &[String]) -> Place {
    Place::new(cells[1].parse().unwrap(), cells[2].parse().unwrap(), &cells[3]).unwrap()
}

fn instant(place: &Place, date: Date, event: SunEvent) -> Timestamp {
    match sun_event(place, date, event) {
        SunDay::At(instant) => instant,
        other => panic!("{event:?} on {date}: {other:?}"),
    }
}

/// Source: sun-times.csv: the mean of skyfield with JPL DE421, ephem, astropy and pvlib's SPA. `tight_s` is 5 s and
/// what the sun needs for 0.02 degrees.
#[test]
fn every_event_of_the_reference_libraries_is_met_within_the_tight_tolerance() {
    let mut count = 0;
    for cells in rows("sun-times.csv") {
        let found = instant(&place(&cells), cells[4].parse().unwrap(), event(&cells[5]));
        let off = (found.as_second() - at(&cells[6]).as_second()).abs();
        let tight: i64 = cells[cells.len() - 3].parse().unwrap();
        assert!(off <= tight, "{off} s: {cells:?}");
        count += 1;
    }
    assert_eq!(count, 472);
}

/// Source: sun-day-states.csv, by the same libraries.
#[test]
fn polar_day_and_night_are_told_apart_and_other_days_have_their_events() {
    let mut events: BTreeMap<(String, String), Vec<SunEvent>> = BTreeMap::new();
    for cells in rows("sun-times.csv") {
        events.entry((cells[0].clone(), cells[4].clone())).or_default().push(event(&cells[5]));
    }
    let mut counts = [0; 3];
    for cells in rows("sun-day-states.csv") {
        let (place, date) = (place(&cells), cells[4].parse().unwrap());
        let has = |event| events.get(&(cells[0].clone(), cells[4].clone())).is_some_and(|list| list.contains(&event));
        for (state, pair) in
            [(&cells[5], [SunEvent::Sunrise, SunEvent::Sunset]), (&cells[8], [SunEvent::Dawn, SunEvent::Dusk])]
        {
            for event in pair {
                let found = sun_event(&place, date, event);
                match state.as_str() {
                    "up all day" => assert_eq!(found, SunDay::AlwaysAbove, "{cells:?}"),
                    "down all day" => assert_eq!(found, SunDay::AlwaysBelow, "{cells:?}"),
                    _ if has(event) => assert!(matches!(found, SunDay::At(_)), "{cells:?}"),
                    _ => assert_eq!(found, SunDay::NotThisDate, "{cells:?}"),
                }
                counts[match found {
                    SunDay::AlwaysAbove => 0,
                    SunDay::AlwaysBelow => 1,
                    SunDay::At(_) | SunDay::NotThisDate => 2,
                }] += 1;
            }
        }
    }
    assert!(counts.iter().all(|count| *count > 10), "{counts:?}");
}

/// Source: sun-published.json: US Naval Observatory, rise and set for 2023 at N36 57, W112 31, minutes as printed; a
/// printed minute is up to 30 s off.
#[test]
fn the_table_of_the_naval_observatory_is_met_within_its_rounding() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/check-values/sun-published.json");
    let published: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let table = &published["usno_table_2023"];
    let (latitude, longitude) = (table["lat"].as_f64().unwrap(), table["lon"].as_f64().unwrap());
    let place = Place::new(latitude, longitude, "America/Phoenix").unwrap();
    let rows = table["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 36);
    for row in rows {
        for (name, event) in [("sunrise", SunEvent::Sunrise), ("sunset", SunEvent::Sunset)] {
            let (day, minute) = (row["date"].as_str().unwrap(), row[name].as_str().unwrap());
            let printed = at(&format!("{day}T{minute}:00-07:00"));
            let found = instant(&place, day.parse().unwrap(), event);
            assert!((found.as_second() - printed.as_second()).abs() <= 40, "{day} {name} {found}");
        }
    }
}

/// Source: sun-published.json: US Naval Observatory, 70 N 0 E on 2025-12-21 (second hand; the libraries of sun-times.csv
/// say 09:54:31 and 14:01:51).
#[test]
fn a_polar_night_has_its_civil_twilight() {
    let place = Place::new(70.0, 0.0, "UTC").unwrap();
    let day = date(2025, 12, 21);
    assert_eq!(sun_event(&place, day, SunEvent::Sunrise), SunDay::AlwaysBelow);
    for (event, expected) in [(SunEvent::Dawn, "2025-12-21T09:54:31Z"), (SunEvent::Dusk, "2025-12-21T14:01:51Z")] {
        let off = instant(&place, day, event).as_second() - at(expected).as_second();
        assert!(off.abs() <= 30, "{event:?} {off}");
    }
}

/// Source: sun-published.json: Reda and Andreas, NREL/TP-560-34302, worked example. It reckons for the date in UT, so
/// its sunset, 17:20:19 at seven hours west of Greenwich, is that of the evening before, which falls on 17 October
/// in UT. Its year lies before those of the cheaper algorithm.
#[test]
fn the_worked_example_of_the_solar_position_algorithm_is_met_within_its_tolerance() {
    let place = Place::new(39.742476, -105.1786, "America/Denver").unwrap();
    for (event, day, published) in [
        (SunEvent::Sunrise, date(2003, 10, 17), "2003-10-17T06:12:43-07:00"),
        (SunEvent::Sunset, date(2003, 10, 16), "2003-10-16T17:20:19-07:00"),
    ] {
        let off = instant(&place, day, event).as_second() - at(published).as_second();
        assert!(off.abs() <= 1, "{event:?} {off}");
    }
}

#[test]
fn an_event_belongs_to_the_date_on_which_the_clock_shows_it() {
    // The sun sets in Amsterdam at 15:33 UTC, which is 04:33 of the next date in Auckland.
    let by_amsterdam = instant(&crate::amsterdam(), date(2026, 11, 25), SunEvent::Sunset);
    let far = Place::new(52.37, 4.9, "Pacific/Auckland").unwrap();
    let by_auckland = instant(&far, date(2026, 11, 26), SunEvent::Sunset);
    assert!((by_amsterdam.as_second() - by_auckland.as_second()).abs() <= 1);
    assert_eq!(far.zone().to_datetime(by_auckland).date(), date(2026, 11, 26));
}

/// Over a year in which the event moves over midnight, some date goes without it and another has it twice; every
/// one still lies on the date that it is told for, and they are as many as the days' turns.
#[test]
fn near_the_polar_day_a_date_may_go_without_its_sunset_though_the_sun_crosses() {
    let place = Place::new(78.22, 15.65, "Arctic/Longyearbyen").unwrap();
    let (mut day, mut without, mut before) = (date(2026, 2, 1), 0, None);
    while day < date(2026, 11, 30) {
        match sun_event(&place, day, SunEvent::Sunset) {
            SunDay::At(instant) => {
                assert_eq!(place.zone().to_datetime(instant).date(), day);
                assert!(before.is_none_or(|before| before < instant));
                before = Some(instant);
            }
            SunDay::NotThisDate => without += 1,
            SunDay::AlwaysAbove | SunDay::AlwaysBelow => {}
        }
        day = day.tomorrow().unwrap();
    }
    assert!((1..=4).contains(&without), "{without}");
}

#[test]
fn a_date_that_the_zone_skips_and_a_year_that_is_not_known_have_no_event() {
    let apia = Place::new(-13.83, -171.76, "Pacific/Apia").unwrap();
    for event in SunEvent::ALL {
        assert_eq!(sun_event(&apia, date(2011, 12, 30), event), SunDay::NotThisDate);
        assert!(matches!(sun_event(&apia, date(2011, 12, 29), event), SunDay::At(_)));
        assert!(matches!(sun_event(&apia, date(2011, 12, 31), event), SunDay::At(_)));
        assert!(matches!(sun_event(&apia, date(2999, 12, 31), event), SunDay::At(_)));
        for day in [date(9999, 12, 31), date(9999, 6, 1), date(-9999, 1, 1), date(3000, 1, 1)] {
            assert_eq!(sun_event(&apia, day, event), SunDay::NotThisDate, "{day}");
        }
    }
}

#[test]
fn where_the_algorithms_meet_their_events_follow_each_other() {
    for year in [2011, 2110] {
        let eve = date(year - 1, 12, 31);
        let (one, other) = (
            instant(&crate::amsterdam(), eve, SunEvent::Sunset),
            instant(&crate::amsterdam(), eve.tomorrow().unwrap(), SunEvent::Sunset),
        );
        // Around the turn of the year the sun sets about a minute later each day.
        let day = one.duration_until(other).as_secs();
        assert!((86_430..=86_490).contains(&day), "{day}");
    }
}

#[test]
fn the_poles_have_one_sunrise_and_one_sunset_a_year() {
    for latitude in [90.0, -90.0] {
        let place = Place::new(latitude, 0.0, "UTC").unwrap();
        for event in SunEvent::ALL {
            let mut day = date(2026, 1, 1);
            let mut count = 0;
            while day < date(2027, 1, 1) {
                count += usize::from(matches!(sun_event(&place, day, event), SunDay::At(_)));
                day = day.tomorrow().unwrap();
            }
            assert_eq!(count, 1, "{latitude} {event:?}");
        }
    }
}
