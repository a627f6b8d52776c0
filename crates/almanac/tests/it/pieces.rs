//! What the places, days, dates, entries and overrides may be written as, and what is said to those that may not.

use almanac::{AlmanacError, Dates, Days, Entry, MonthDay, Place, Shift, Start, SunEvent, Timetable, Until, wall_time};
use jiff::civil::{Weekday, date};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

fn dates(from: &str, to: &str) -> Dates {
    Dates { from: from.parse().unwrap(), to: to.parse().unwrap() }
}

#[test]
fn a_place_has_its_zone_by_iana_name_from_the_bundled_database() {
    let place = Place::new(52.37, 4.9, "europe/amsterdam").unwrap();
    assert_eq!((place.latitude(), place.longitude(), place.zone_name()), (52.37, 4.9, "Europe/Amsterdam"));
    let summer: Timestamp = "2026-07-01T12:00:00Z".parse().unwrap();
    // Source: tzdb: Central European Summer Time is two hours ahead of UTC.
    assert_eq!(place.zone().to_offset(summer).seconds(), 7200);
    assert_eq!(Place::new(0.0, 0.0, "UTC").unwrap().zone_name(), "UTC");
    assert!(Place::new(-90.0, -180.0, "Pacific/Auckland").is_ok() && Place::new(90.0, 180.0, "Asia/Kathmandu").is_ok());
}

#[test]
fn a_place_outside_the_globe_or_the_zones_is_refused() {
    for value in [90.01, -90.01, f64::NAN, f64::INFINITY] {
        let error = Place::new(value, 0.0, "UTC").unwrap_err();
        assert!(matches!(error, AlmanacError::Latitude { .. }) && error.to_string().contains("-90"));
    }
    for value in [180.01, -180.01, f64::NAN, f64::NEG_INFINITY] {
        let error = Place::new(0.0, value, "UTC").unwrap_err();
        assert!(matches!(error, AlmanacError::Longitude { .. }) && error.to_string().contains("-180"));
    }
    for name in ["", "Europe/Atlantis", "Etc/Unknown", "CET-1CEST,M3.5.0,M10.5.0", "../etc/localtime", "+01:00"] {
        let error = Place::new(0.0, 0.0, name).unwrap_err();
        assert!(matches!(error, AlmanacError::UnknownZone { .. }), "{name}");
        assert!(error.to_string().contains("IANA"));
    }
}

#[test]
fn days_are_a_set_of_names() {
    let days = Days::from_names(["sun", "mon"]).unwrap();
    assert!(days.contains(Weekday::Monday) && days.contains(Weekday::Sunday) && !days.contains(Weekday::Saturday));
    assert_eq!(days.names().collect::<Vec<_>>(), ["mon", "sun"]);
    let all = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
    assert_eq!(Days::from_names(all).unwrap().names().collect::<Vec<_>>(), all);
}

#[test]
fn days_that_are_none_unknown_or_repeated_are_refused_with_their_place() {
    assert_eq!(Days::from_names([]), Err(AlmanacError::NoDays));
    assert_eq!(Days::from_names(["mon", "Tue"]), Err(AlmanacError::UnknownDay { index: 1, name: "Tue".into() }));
    assert_eq!(
        Days::from_names(["mon", "tue", "mon"]),
        Err(AlmanacError::RepeatedDay { index: 2, name: "mon".into() })
    );
    assert!(Days::from_names(["monday"]).unwrap_err().to_string().contains("mon, tue, wed, thu, fri, sat, sun"));
}

#[test]
fn a_day_of_the_year_is_one_that_some_year_has() {
    let leap: MonthDay = "02-29".parse().unwrap();
    assert_eq!((leap.month(), leap.day(), leap.to_string()), (2, 29, "02-29".into()));
    assert!("12-31".parse::<MonthDay>().is_ok() && "01-01".parse::<MonthDay>().is_ok());
    for text in [
        "",
        "13-01",
        "00-10",
        "02-30",
        "04-31",
        "01-00",
        "01-32",
        "1-1",
        "0101",
        "01-01-01",
        "2026-01-01",
        "01/01",
        "-1-01",
    ] {
        let error = text.parse::<MonthDay>().unwrap_err();
        assert!(error.to_string().contains("MM-DD"), "{text}");
    }
}

#[test]
fn dates_hold_both_their_ends_and_may_run_over_the_new_year() {
    let winter = dates("12-01", "01-06");
    for (day, inside) in [
        (date(2026, 11, 30), false),
        (date(2026, 12, 1), true),
        (date(2026, 12, 31), true),
        (date(2027, 1, 1), true),
        (date(2027, 1, 6), true),
        (date(2027, 1, 7), false),
        (date(2027, 6, 1), false),
    ] {
        assert_eq!(winter.contains(day), inside, "{day}");
    }
    let summer = dates("06-01", "08-31");
    assert!(
        summer.contains(date(2026, 6, 1)) && summer.contains(date(2026, 8, 31)) && !summer.contains(date(2026, 9, 1))
    );
    let one_day = dates("12-24", "12-24");
    assert!(one_day.contains(date(2026, 12, 24)) && !one_day.contains(date(2026, 12, 25)));
    let to_the_leap_day = dates("02-01", "02-29");
    assert!(to_the_leap_day.contains(date(2028, 2, 29)) && to_the_leap_day.contains(date(2027, 2, 28)));
    assert!(!to_the_leap_day.contains(date(2027, 3, 1)));
}

#[test]
fn a_timetable_holds_at_most_64_entries() {
    let entry = Entry::new(Start::Sun(SunEvent::Dusk), "evening");
    assert_eq!(Timetable::new(vec![entry.clone(); 64]).unwrap().entries().len(), 64);
    assert_eq!(Timetable::new(vec![entry; 65]), Err(AlmanacError::TooManyEntries { count: 65 }));
    assert!(Timetable::new(vec![]).unwrap().entries().is_empty());
}

#[test]
fn clamps_that_cross_are_refused_and_equal_ones_are_not() {
    let clamped = |not_before: &str, not_after: &str| Entry {
        not_before: Some(wall_time(not_before).unwrap()),
        not_after: Some(wall_time(not_after).unwrap()),
        ..Entry::new(Start::Sun(SunEvent::Sunset), "evening")
    };
    assert!(clamped("16:30", "16:30").check().is_ok());
    let error = Timetable::new(vec![clamped("16:30", "22:00"), clamped("22:00", "16:30")]).unwrap_err();
    assert!(matches!(error, AlmanacError::ClampsCrossed { .. }));
    assert!(error.to_string().contains("22:00:00") && error.to_string().contains("16:30:00"));
}

/// Source: rfc3339.csv: RFC 3339 section 5.8 and rows by the grammar of its section 5.6. A leap
/// second is held as the second before it, as POSIX time does.
#[test]
fn an_override_ends_at_an_rfc_3339_time() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/check-values/rfc3339.csv");
    let table = std::fs::read_to_string(path).unwrap();
    let mut rows = 0;
    for line in table.lines().skip(2) {
        // One row is quoted, since its text holds a comma.
        let (text, rest) = match line.strip_prefix('"') {
            Some(quoted) => quoted.split_once("\",").unwrap(),
            None => line.split_once(',').unwrap(),
        };
        let mut cells = rest.split(',');
        let (valid, utc) = (cells.next().unwrap(), cells.next().unwrap());
        let read = text.parse::<Until>();
        if valid.starts_with("yes") {
            let instant: Timestamp = utc.replace(":60Z", ":59Z").parse().unwrap();
            assert_eq!(read, Ok(Until::At(instant)), "{text}");
        } else {
            assert!(matches!(read, Err(AlmanacError::Until { .. })), "{text}: {read:?}");
        }
        rows += 1;
    }
    assert_eq!(rows, 20);
}

#[test]
fn an_override_ends_by_one_of_two_words_or_is_refused_with_them() {
    assert_eq!(("next-change".parse(), "released".parse()), (Ok(Until::NextChange), Ok(Until::Released)));
    for text in [
        "",
        "never",
        "Released",
        "2026-11-25",
        "22:00",
        "2026-11-25T22:00:00Z[UTC]",
        "2026-11-25 22:00:00Z",
        "дддддддддддддддд",
    ] {
        let message = text.parse::<Until>().unwrap_err().to_string();
        assert!(message.contains("\"next-change\"") && message.contains("\"released\""), "{text}");
    }
}

proptest! {
    #[test]
    fn every_end_reads_back_from_its_text(second in -62_135_596_800_i64..253_402_300_799, nanosecond in 0_i32..1_000_000_000) {
        let until = Until::At(Timestamp::new(second, nanosecond).unwrap());
        prop_assert_eq!(until.to_string().parse(), Ok(until));
    }

    #[test]
    fn no_text_breaks_a_reader(text in "\\PC{0,30}", shift in "[-+]?P[0-9TDWHMS]{0,24}", day in "[0-9-]{0,8}", clock in "[0-9:]{0,10}") {
        let bound = SignedDuration::from_hours(12);
        for text in [&text, &shift, &day, &clock] {
            if let Ok(shift) = text.parse::<Shift>() {
                prop_assert!(shift.duration().abs() <= bound);
            }
            let _ = (text.parse::<Start>(), text.parse::<MonthDay>(), text.parse::<Until>(), Days::from_names([text.as_str()]));
            prop_assert!(Place::new(0.0, 0.0, text).is_err() || text.chars().any(|letter| letter.is_ascii_alphabetic()));
        }
    }
}
