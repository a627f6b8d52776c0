//! Wall times around clock changes.

use std::collections::BTreeMap;

use almanac::{Dates, Entry, Place, Timetable, next_change, showing};
use jiff::civil::{Date, DateTime, Time};
use jiff::{SignedDuration, Timestamp};

use crate::{at, entry, plan_of, rows, scene};

const HOUR: SignedDuration = SignedDuration::from_hours(1);

fn only(date: Date, entry: Entry) -> Entry {
    Entry { dates: Some(Dates { from: date.into(), to: date.into() }), ..entry }
}

/// The instant at which an entry of that date and wall time begins, if it begins within some days of the date.
fn beginning(place: &Place, date: Date, time: Time) -> Option<Timestamp> {
    let mut earlier = date;
    for _ in 0..6 {
        earlier = earlier.yesterday().unwrap();
    }
    let plan = plan_of(vec![
        only(earlier, entry("12:00", "before")),
        only(date, Entry::new(almanac::Start::Wall(time), "now")),
    ]);
    let middle = place.zone().to_ambiguous_timestamp(earlier.at(12, 0, 0, 0)).compatible().unwrap();
    let scene = scene(&plan, Some(place), "2000-01-01T00:00:00Z", &[]);
    assert_eq!(showing(&scene, middle + HOUR).look, "before");
    next_change(&scene, middle + HOUR).filter(|at| middle.duration_until(*at) < HOUR * 24 * 20)
}

/// Source: civil-time.csv: RFC 5545 section 3.3.5 by Python's zoneinfo and dateutil on tzdata 2026.6, and the RFC's
/// two examples among them. Diverges where a zone skipped the whole date: there no entry begins, for it has no such
/// day (the RFC, which reads single times, puts it on the next).
#[test]
fn wall_times_in_gaps_and_folds_are_read_as_rfc_5545_says() {
    let (mut count, mut skipped) = (0, 0);
    for cells in rows("civil-time.csv") {
        let place = Place::new(0.0, 0.0, &cells[0]).unwrap();
        let wall: DateTime = cells[1].parse().unwrap();
        let found = beginning(&place, wall.date(), wall.time());
        if cells[0] == "Pacific/Apia" && cells[1].starts_with("2011-12-30") {
            assert_eq!(found, None, "{cells:?}");
            skipped += 1;
        } else {
            assert_eq!(found, Some(at(&cells[3])), "{cells:?}");
            count += 1;
        }
    }
    assert_eq!((count, skipped), (135, 3));
}

/// Source: RFC 5545 section 3.3.5.
#[test]
fn the_two_examples_of_rfc_5545_are_read_as_it_reads_them() {
    let new_york = Place::new(40.71, -74.01, "America/New_York").unwrap();
    let read = |text: &str| {
        let wall: DateTime = text.parse().unwrap();
        beginning(&new_york, wall.date(), wall.time())
    };
    // 2007-03-11 02:30 did not occur and is 03:30 EDT; 2007-11-04 01:30 occurred twice and is the first, in EDT.
    assert_eq!(read("2007-03-11T02:30:00"), Some(at("2007-03-11T03:30:00-04:00")));
    assert_eq!(read("2007-11-04T01:30:00"), Some(at("2007-11-04T01:30:00-04:00")));
}

/// Source: civil-alarms.csv: the rule applied to each date, by the same libraries. Apia's alarm of the skipped date
/// falls on the same instant as that of the next, so it is met as well.
#[test]
fn a_daily_entry_begins_once_a_date_and_when_the_reference_says() {
    let mut alarms: BTreeMap<(String, String), Vec<Vec<String>>> = BTreeMap::new();
    for cells in rows("civil-alarms.csv") {
        alarms.entry((cells[0].clone(), cells[2].clone())).or_default().push(cells);
    }
    let mut count = 0;
    for ((zone, alarm), cells) in alarms {
        let place = Place::new(0.0, 0.0, &zone).unwrap();
        let after = Entry { shift: "PT1M".parse().unwrap(), ..entry(&alarm, "after") };
        let plan = plan_of(vec![entry(&alarm, "alarm"), after]);
        let scene = scene(&plan, Some(&place), "2000-01-01T00:00:00Z", &[]);
        for row in &cells {
            let fires = at(&row[4]);
            // The agenda's first change is what held before.
            let from = fires - HOUR * 3;
            let changes = almanac::agenda(&scene, from, fires + HOUR * 3);
            let found: Vec<_> = changes.iter().filter(|c| c.look == "alarm" && c.at > from).map(|c| c.at).collect();
            assert_eq!(found, [fires], "{row:?}");
            if !row[6].is_empty() {
                assert_ne!(showing(&scene, at(&row[6])).look, "alarm", "{row:?}");
            }
            count += 1;
        }
    }
    assert_eq!(count, 36);
}

#[test]
fn clamps_are_wall_times_of_the_date_by_the_same_rule() {
    let amsterdam = crate::amsterdam();
    // Source: tzdb: clocks went from 02:00 to 03:00 on 2026-03-29 at 01:00 UTC.
    let early = Entry { not_before: Some("02:30".parse().unwrap()), ..entry("01:00", "early") };
    let plan = plan_of(vec![entry("00:30", "before"), early]);
    let scene = scene(&plan, Some(&amsterdam), "2026-03-01T00:00:00Z", &[]);
    assert_eq!(next_change(&scene, at("2026-03-29T00:30:00Z")), Some(at("2026-03-29T01:30:00Z")));
    // On a common day it is 02:30 by the clock.
    assert_eq!(next_change(&scene, at("2026-03-28T00:30:00Z")), Some(at("2026-03-28T01:30:00Z")));
    assert_eq!(next_change(&scene, at("2026-03-29T23:30:00Z")), Some(at("2026-03-30T00:30:00Z")));
}

#[test]
fn a_shift_is_elapsed_time_over_a_change_of_clocks() {
    let amsterdam = crate::amsterdam();
    let shifted = Entry { shift: "PT4H".parse().unwrap(), ..entry("00:30", "shifted") };
    let plan = plan_of(vec![entry("00:30", "before"), shifted]);
    let scene = scene(&plan, Some(&amsterdam), "2026-03-01T00:00:00Z", &[]);
    // 00:30 CET and four hours of elapsed time are 05:30 CEST.
    assert_eq!(next_change(&scene, at("2026-03-29T00:00:00Z")), Some(at("2026-03-29T05:30:00+02:00")));
}

#[test]
fn an_entry_of_a_weekday_that_the_zone_skipped_does_not_begin_on_another() {
    // Source: tzdb: there was no Friday 2011-12-30 in Apia.
    let apia = Place::new(-13.83, -171.76, "Pacific/Apia").unwrap();
    let friday = Entry { days: Some(almanac::Days::from_names(["fri"]).unwrap()), ..entry("18:00", "friday") };
    let thursday = Entry { days: Some(almanac::Days::from_names(["thu"]).unwrap()), ..entry("18:00", "thursday") };
    let plan = plan_of(vec![friday, thursday]);
    assert_eq!(plan.timetable, Timetable::new(plan.timetable.entries().to_vec()).unwrap());
    let scene = scene(&plan, Some(&apia), "2011-12-01T00:00:00Z", &[]);
    let thursday = showing(&scene, at("2011-12-31T06:00:00Z"));
    assert_eq!((thursday.look.as_str(), thursday.since), ("thursday", Some(at("2011-12-30T04:00:00Z"))));
    assert_eq!(thursday.until, Some(at("2012-01-06T04:00:00Z")));
}
