//! The solved timetable, one rule at a time.

use almanac::{
    Because, Change, Dates, Days, ENTRIES_MAX, Entry, Place, Plan, Scene, SunDay, SunEvent, agenda, next_change,
    showing, sun_event,
};
use jiff::civil::date;
use jiff::{SignedDuration, Timestamp};

use crate::{amsterdam, at, entry, plan_of, scene};

const LONG_AGO: &str = "2000-01-01T00:00:00Z";
const SECOND: SignedDuration = SignedDuration::from_secs(1);
const DAY: SignedDuration = SignedDuration::from_hours(24);

fn dates(from: &str, to: &str) -> Option<Dates> {
    Some(Dates { from: from.parse().unwrap(), to: to.parse().unwrap() })
}

fn days(names: &[&str]) -> Option<Days> {
    Some(Days::from_names(names.iter().copied()).unwrap())
}

fn sun(place: &Place, day: jiff::civil::Date, event: SunEvent) -> Timestamp {
    match sun_event(place, day, event) {
        SunDay::At(instant) => instant,
        other => panic!("{event:?} on {day}: {other:?}"),
    }
}

fn look(scene: &Scene<'_>, now: Timestamp) -> String {
    showing(scene, now).look
}

/// The example of the documents: late at different times, frost from December, never before 16:30.
#[test]
fn a_week_of_the_documents_example_comes_out_as_a_person_reads_it() {
    let place = amsterdam();
    let plan = plan_of(vec![
        Entry { shift: "-PT30M".parse().unwrap(), ..entry("sunset", "evening") },
        Entry { days: days(&["mon", "tue", "wed", "thu", "sun"]), ..entry("22:45", "late") },
        Entry { days: days(&["fri", "sat"]), ..entry("23:45", "late") },
        entry("dawn", "dark"),
        Entry {
            dates: dates("12-01", "01-06"),
            not_before: Some("16:30".parse().unwrap()),
            ..entry("sunset", "frost")
        },
    ]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    // Monday and Tuesday, when the sun sets before 16:30 by the clock.
    let changes = agenda(&scene, at("2026-12-07T12:00:00Z"), at("2026-12-09T00:00:00Z"));
    let found: Vec<(Timestamp, &str)> = changes.iter().map(|change| (change.at, change.look.as_str())).collect();
    let (monday, tuesday) = (date(2026, 12, 7), date(2026, 12, 8));
    let half_hour = SECOND * 1800;
    assert_eq!(
        found,
        [
            (sun(&place, monday, SunEvent::Dawn), "dark"),
            (sun(&place, monday, SunEvent::Sunset) - half_hour, "evening"),
            (at("2026-12-07T16:30:00+01:00"), "frost"),
            (at("2026-12-07T22:45:00+01:00"), "late"),
            (sun(&place, tuesday, SunEvent::Dawn), "dark"),
            (sun(&place, tuesday, SunEvent::Sunset) - half_hour, "evening"),
            (at("2026-12-08T16:30:00+01:00"), "frost"),
            (at("2026-12-08T22:45:00+01:00"), "late"),
        ]
    );
    assert!(sun(&place, tuesday, SunEvent::Sunset) < at("2026-12-08T16:30:00+01:00"));
    // On Friday late begins an hour later.
    assert_eq!(look(&scene, at("2026-12-04T23:44:59+01:00")), "frost");
    assert_eq!(look(&scene, at("2026-12-04T23:45:00+01:00")), "late");
}

#[test]
fn what_shows_changes_at_until_and_not_a_second_or_a_nanosecond_before() {
    let place = amsterdam();
    let plan = plan_of(vec![entry("sunset", "evening"), entry("22:45", "late"), entry("sunrise", "dark")]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let mut now = at("2026-11-25T12:00:00Z");
    for expected in ["evening", "late", "dark", "evening", "late", "dark"] {
        let until = showing(&scene, now).until.unwrap();
        let before = look(&scene, now);
        assert_eq!(look(&scene, until - SECOND), before);
        assert_eq!(look(&scene, until - SignedDuration::from_nanos(1)), before);
        assert_eq!(look(&scene, until), expected);
        assert_eq!(showing(&scene, until).since, Some(until));
        now = until;
    }
}

#[test]
fn a_timetable_of_one_entry_holds_from_its_first_beginning_on_without_end() {
    let place = amsterdam();
    for start in ["18:00", "dusk"] {
        let plan = plan_of(vec![entry(start, "evening")]);
        let scene = scene(&plan, Some(&place), "2026-11-01T00:00:00Z", &[]);
        let shown = showing(&scene, at("2026-11-25T12:00:00Z"));
        assert_eq!((shown.look.as_str(), shown.because, shown.entry), ("evening", Because::Timetable, Some(0)));
        // It has held since before the edit, and begins anew each day: no change.
        assert_eq!((shown.since, shown.until), (Some(at("2026-11-01T00:00:00Z")), None));
        assert_eq!(agenda(&scene, at("2026-11-25T12:00:00Z"), at("2026-12-25T12:00:00Z")).len(), 1);
    }
}

#[test]
fn sixty_four_entries_take_over_from_each_other_in_the_order_of_time() {
    let place = amsterdam();
    let entries = (0..ENTRIES_MAX)
        .map(|index| entry(&format!("{:02}:{:02}", index / 60 + 1, index % 60), &format!("look-{index}")))
        .rev()
        .collect();
    let plan = plan_of(entries);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let start = at("2026-11-25T01:00:00+01:00");
    let changes = agenda(&scene, start, start + DAY);
    assert_eq!(changes.len(), 64);
    for (index, change) in changes.iter().enumerate() {
        assert_eq!((change.at, change.look.clone()), (start + SECOND * 60 * index as i32, format!("look-{index}")));
    }
    assert_eq!(showing(&scene, start).entry, Some(63));
}

#[test]
fn of_two_entries_at_one_instant_the_later_in_the_list_holds() {
    let place = amsterdam();
    for (looks, expected) in [(["one", "other"], "other"), (["other", "one"], "one")] {
        let plan = plan_of(vec![entry("16:00", looks[0]), entry("16:00", looks[1]), entry("22:00", "late")]);
        let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
        let changes = agenda(&scene, at("2026-11-25T12:00:00Z"), at("2026-11-27T12:00:00Z"));
        let found: Vec<&str> = changes.iter().map(|change| change.look.as_str()).collect();
        assert_eq!(found, ["late", expected, "late", expected, "late"]);
    }
}

#[test]
fn a_tie_that_holds_on_some_days_only_is_no_change_on_those_days() {
    let place = amsterdam();
    // "other" hides "one" by its clamps each day on which the sun has set by 21:00, that is in winter.
    let clamped = Entry { not_before: Some("21:00".parse().unwrap()), ..entry("sunset", "other") };
    let plan = plan_of(vec![entry("21:00", "one"), clamped]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let winter = showing(&scene, at("2026-01-15T12:00:00Z"));
    assert_eq!((winter.look.as_str(), winter.entry), ("other", Some(1)));
    let spring = winter.until.unwrap();
    // From when on the sun sets after 21:00 CEST, "one" shows until it does.
    let day = place.zone().to_datetime(spring).date();
    assert_eq!(spring, at(&format!("{day}T21:00:00+02:00")));
    assert!(sun(&place, day, SunEvent::Sunset) > spring);
    assert!(sun(&place, day.yesterday().unwrap(), SunEvent::Sunset) <= spring - DAY);
    assert_eq!(showing(&scene, spring).until, Some(sun(&place, day, SunEvent::Sunset)));
    // The run of "other" began when the sun last set after 21:00, in the summer before.
    let autumn = winter.since.unwrap();
    let day = place.zone().to_datetime(autumn).date();
    assert_eq!(day.year(), 2025);
    assert_eq!(autumn, sun(&place, day, SunEvent::Sunset));
    assert!(
        sun(&place, day.tomorrow().unwrap(), SunEvent::Sunset)
            <= at(&format!("{}T21:00:00+02:00", day.tomorrow().unwrap()))
    );
}

#[test]
fn entries_that_hand_over_with_the_same_look_are_no_change_of_showing() {
    let place = amsterdam();
    let plan = plan_of(vec![entry("16:00", "evening"), entry("18:00", "evening"), entry("22:00", "late")]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let (four, ten) = (at("2026-11-25T16:00:00+01:00"), at("2026-11-25T22:00:00+01:00"));
    for (now, entry) in [("2026-11-25T17:00:00+01:00", 0), ("2026-11-25T19:00:00+01:00", 1)] {
        let shown = showing(&scene, at(now));
        assert_eq!((shown.since, shown.until, shown.entry), (Some(four), Some(ten), Some(entry)));
    }
    let rows: Vec<Timestamp> = agenda(&scene, four, ten + SECOND).iter().map(|change| change.at).collect();
    assert_eq!(rows, [four, ten]);
}

#[test]
fn entries_that_never_begin_leave_the_default() {
    // No night in June, no sunset in the polar day: for ever.
    let tromso = Place::new(69.65, 18.96, "Europe/Oslo").unwrap();
    let never = Entry { dates: dates("06-01", "06-30"), ..entry("sunset", "evening") };
    let mut plan = plan_of(vec![never]);
    plan.default = Some("glow".into());
    let scene = scene(&plan, Some(&tromso), "2026-01-01T00:00:00Z", &[]);
    for now in ["2026-06-15T12:00:00Z", "2026-11-25T12:00:00Z"] {
        let shown = showing(&scene, at(now));
        assert_eq!((shown.look.as_str(), shown.because, shown.until), ("glow", Because::Default, None));
        assert_eq!(shown.since, Some(at("2026-01-01T00:00:00Z")));
    }
}

#[test]
fn a_clamp_does_not_bring_back_a_day_without_the_sun_event() {
    let tromso = Place::new(69.65, 18.96, "Europe/Oslo").unwrap();
    let clamped = Entry { not_after: Some("22:00".parse().unwrap()), ..entry("sunset", "evening") };
    let plan = plan_of(vec![entry("12:00", "day"), clamped]);
    let scene = scene(&plan, Some(&tromso), LONG_AGO, &[]);
    assert_eq!(look(&scene, at("2026-06-15T23:00:00+02:00")), "day");
    assert_eq!(look(&scene, at("2026-05-10T23:00:00+02:00")), "evening");
    let midsummer = showing(&scene, at("2026-06-15T23:00:00+02:00"));
    // The polar day in Tromsø ends in late July.
    assert_eq!(place_date(&tromso, midsummer.until.unwrap()).month(), 7);
    assert_eq!(place_date(&tromso, midsummer.since.unwrap()).month(), 5);
}

fn place_date(place: &Place, instant: Timestamp) -> jiff::civil::Date {
    place.zone().to_datetime(instant).date()
}

#[test]
fn clamps_move_a_beginning_to_the_wall_time_and_leave_others() {
    let place = amsterdam();
    let clamped = Entry {
        not_before: Some("17:30".parse().unwrap()),
        not_after: Some("21:00".parse().unwrap()),
        ..entry("sunset", "evening")
    };
    let plan = plan_of(vec![entry("12:00", "day"), clamped]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let from =
        |day: jiff::civil::Date, offset: &str| next_change(&scene, at(&format!("{day}T13:00:00{offset}"))).unwrap();
    assert_eq!(from(date(2026, 12, 21), "+01:00"), at("2026-12-21T17:30:00+01:00"));
    assert_eq!(from(date(2026, 6, 21), "+02:00"), at("2026-06-21T21:00:00+02:00"));
    let october = date(2026, 10, 1);
    assert_eq!(from(october, "+02:00"), sun(&place, october, SunEvent::Sunset));
}

#[test]
fn clamps_are_of_the_entrys_own_date_when_the_shift_leads_over_midnight() {
    let place = amsterdam();
    // Sunset and nine hours are after midnight; the clamp is 23:00 of the date of the sunset.
    let entry_of = |not_after: Option<&str>| Entry {
        shift: "PT9H".parse().unwrap(),
        not_after: not_after.map(|text| text.parse().unwrap()),
        ..entry("sunset", "late")
    };
    for (not_after, expected) in [
        (None, sun(&place, date(2026, 11, 25), SunEvent::Sunset) + SECOND * 9 * 3600),
        (Some("23:00"), at("2026-11-25T23:00:00+01:00")),
    ] {
        let plan = plan_of(vec![entry("12:00", "day"), entry_of(not_after)]);
        let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
        assert_eq!(next_change(&scene, at("2026-11-25T12:00:00Z")), Some(expected));
    }
}

#[test]
fn days_and_dates_are_of_the_start_before_its_shift() {
    let place = amsterdam();
    let shifted = |shift: &str| Entry {
        shift: shift.parse().unwrap(),
        // 2026-11-25 is a Wednesday.
        days: days(&["wed"]),
        dates: dates("11-25", "11-25"),
        ..entry("12:00", "shifted")
    };
    for (shift, expected) in [("-PT12H", "2026-11-25T00:00:00+01:00"), ("PT12H", "2026-11-26T00:00:00+01:00")] {
        let plan = plan_of(vec![Entry { dates: dates("11-20", "11-20"), ..entry("12:00", "before") }, shifted(shift)]);
        let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
        assert_eq!(next_change(&scene, at("2026-11-22T12:00:00Z")), Some(at(expected)));
    }
    let early = Entry { start: "05:00".parse().unwrap(), ..shifted("-PT12H") };
    let plan = plan_of(vec![Entry { dates: dates("11-20", "11-20"), ..entry("12:00", "before") }, early]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    assert_eq!(next_change(&scene, at("2026-11-22T12:00:00Z")), Some(at("2026-11-24T17:00:00+01:00")));
}

#[test]
fn dates_may_run_over_the_new_year() {
    let place = amsterdam();
    let frost = Entry { dates: dates("12-01", "01-06"), ..entry("16:00", "frost") };
    let plan = plan_of(vec![entry("15:00", "evening"), frost]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    for (day, expected) in [
        ("2026-11-30", "evening"),
        ("2026-12-01", "frost"),
        ("2026-12-31", "frost"),
        ("2027-01-01", "frost"),
        ("2027-01-06", "frost"),
        ("2027-01-07", "evening"),
    ] {
        assert_eq!(look(&scene, at(&format!("{day}T17:00:00+01:00"))), expected, "{day}");
    }
    // Evening holds from 7 January to 1 December, begun anew each day: no change.
    let spring = showing(&scene, at("2027-04-01T00:00:00Z"));
    assert_eq!(spring.since, Some(at("2027-01-07T15:00:00+01:00")));
    assert_eq!(spring.until, Some(at("2027-12-01T16:00:00+01:00")));
}

#[test]
fn an_entry_of_a_leap_day_is_foreseen_years_ahead_and_holds_for_400_days() {
    let place = amsterdam();
    let leap = Entry { dates: dates("02-29", "02-29"), ..entry("12:00", "leap") };
    let mut plan = plan_of(vec![leap.clone()]);
    plan.default = Some("evening".into());
    let scene = scene(&plan, Some(&place), "2026-01-01T00:00:00Z", &[]);
    let noon = at("2028-02-29T12:00:00+01:00");
    assert_eq!(showing(&scene, at("2026-11-25T12:00:00Z")).until, Some(noon));
    let held = showing(&scene, at("2028-12-01T00:00:00Z"));
    let end = noon + DAY * 400;
    assert_eq!((held.look.as_str(), held.since, held.until), ("leap", Some(noon), Some(end)));
    assert_eq!(look(&scene, end - SignedDuration::from_nanos(1)), "leap");
    let lapsed = showing(&scene, end);
    assert_eq!((lapsed.look.as_str(), lapsed.because, lapsed.since), ("evening", Because::Default, Some(end)));
    assert_eq!(lapsed.until, Some(at("2032-02-29T12:00:00+01:00")));
    // 29 February is a Monday in 2044 for the first time after 2016, and there is none in 2100.
    let monday = plan_of(vec![Entry { days: days(&["mon"]), ..leap }]);
    let scene = crate::scene(&monday, Some(&place), LONG_AGO, &[]);
    assert_eq!(next_change(&scene, at("2026-11-25T12:00:00Z")), Some(at("2044-02-29T12:00:00+01:00")));
    // Over 2100 the wait is longest: from 2072 to 2112.
    assert_eq!(next_change(&scene, at("2073-11-25T12:00:00Z")), Some(noon_of_29_february(2112)));
}

fn noon_of_29_february(year: i16) -> Timestamp {
    let noon = date(year, 2, 29).at(12, 0, 0, 0);
    amsterdam().zone().to_ambiguous_timestamp(noon).compatible().unwrap()
}

#[test]
fn looking_back_reaches_400_days_and_no_further() {
    let place = amsterdam();
    // The leap day's evening, asked for 399 days later, 400 days later, and between.
    let leap = Entry { dates: dates("02-29", "02-29"), ..entry("20:00", "leap") };
    let plan = plan_of(vec![leap]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let begin = at("2028-02-29T20:00:00+01:00");
    for (days, expected) in [(0, "leap"), (1, "leap"), (399, "leap"), (400, "dark"), (401, "dark")] {
        assert_eq!(look(&scene, begin + DAY * days), expected, "{days}");
    }
    assert_eq!(look(&scene, begin - SECOND), "dark");
    assert_eq!(showing(&scene, begin + DAY * 400).because, Because::Dark);
}

#[test]
fn a_lapse_between_beginnings_with_the_same_look_is_a_change() {
    let place = amsterdam();
    // 24 December on a Thursday: 2020, 2026, 2037.
    let eve = Entry { dates: dates("12-24", "12-24"), days: days(&["thu"]), ..entry("16:00", "feast") };
    let plan = plan_of(vec![eve]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let begin = |year: i16| at(&format!("{year}-12-24T16:00:00+01:00"));
    let shown = showing(&scene, begin(2026) + DAY * 100);
    assert_eq!((shown.since, shown.until), (Some(begin(2026)), Some(begin(2026) + DAY * 400)));
    let dark = showing(&scene, begin(2026) - DAY * 100);
    assert_eq!((dark.since, dark.until), (Some(begin(2020) + DAY * 400), Some(begin(2026))));
}

#[test]
fn a_polar_night_keeps_the_last_entry_until_the_sun_comes_back() {
    let longyearbyen = Place::new(78.22, 15.65, "Arctic/Longyearbyen").unwrap();
    let plan = plan_of(vec![entry("sunset", "evening"), entry("sunrise", "day")]);
    let scene = scene(&plan, Some(&longyearbyen), LONG_AGO, &[]);
    let night = showing(&scene, at("2026-12-21T12:00:00Z"));
    assert_eq!(night.look, "evening");
    // Source: sun-day-states.csv: the sun is down all day there on 2025-11-02 and 2025-02-10, and crosses on
    // 2024-02-29 and 2025-03-20.
    assert_eq!(place_date(&longyearbyen, night.since.unwrap()).month(), 10);
    assert_eq!(place_date(&longyearbyen, night.until.unwrap()).month(), 2);
    let day = showing(&scene, at("2026-06-21T00:00:00Z"));
    assert_eq!((day.look.as_str(), place_date(&longyearbyen, day.until.unwrap()).month()), ("day", 8));
}

#[test]
fn a_change_from_default_to_an_entry_with_its_look_is_a_change_of_the_reason() {
    let place = amsterdam();
    let mut plan: Plan = plan_of(vec![Entry { dates: dates("02-29", "02-29"), ..entry("12:00", "evening") }]);
    plan.default = Some("evening".into());
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let rows = agenda(&scene, at("2028-02-01T00:00:00Z"), at("2028-03-01T00:00:00Z"));
    let reasons: Vec<(&str, Because)> =
        rows.iter().map(|Change { look, because, .. }| (look.as_str(), *because)).collect();
    assert_eq!(reasons, [("evening", Because::Default), ("evening", Because::Timetable)]);
}

#[test]
fn a_timetable_full_of_ties_is_answered_all_the_same() {
    let place = amsterdam();
    // Each clamped to one wall time, so that it ties with the last one on every day of every year.
    let mut entries: Vec<Entry> = (0..63)
        .map(|index| Entry {
            not_before: Some("18:00".parse().unwrap()),
            not_after: Some("18:00".parse().unwrap()),
            ..entry(SunEvent::ALL[index % 4].as_str(), &format!("look-{index}"))
        })
        .collect();
    entries.push(entry("18:00", "last"));
    let plan = plan_of(entries);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    assert_eq!(look(&scene, at("2026-11-25T12:00:00Z")), "last");
    assert_eq!(showing(&scene, at("2026-11-25T12:00:00Z")).until, None);
}

#[test]
fn an_entry_that_another_hides_whenever_it_begins_is_foreseen_never() {
    let place = amsterdam();
    // On each 29 February the sunset, clamped, begins with the leap day's entry and hides it.
    let leap = Entry { dates: dates("02-29", "02-29"), ..entry("16:30", "leap") };
    let clamped = Entry { not_after: Some("16:30".parse().unwrap()), ..entry("sunset", "evening") };
    let plan = plan_of(vec![leap, clamped]);
    let scene = scene(&plan, Some(&place), LONG_AGO, &[]);
    let shown = showing(&scene, at("2026-11-25T18:00:00Z"));
    assert_eq!((shown.look.as_str(), shown.since, shown.until), ("evening", Some(at(LONG_AGO)), None));
    assert_eq!(look(&scene, at("2028-02-29T17:00:00Z")), "evening");
}
