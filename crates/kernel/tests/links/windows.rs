//! Windows: evenings, nights and days, with a sun that sometimes sets too late.

use almanac::{Start, SunEvent};
use jiff::Timestamp;
use jiff::civil::Date;
use kernel::links::{Edge, Window};
use serde_json::{Value, json};

use crate::rig::link;

fn window(between: Value) -> Window {
    link(json!({"between": between})).between.unwrap()
}

/// A place in UTC where dawn, sunrise, sunset and dusk come at those hours; a negative hour: no such event.
fn at(window: Window, hours: [f64; 4], text: &str) -> bool {
    let at: Timestamp = text.parse().unwrap();
    let today = jiff::tz::TimeZone::UTC.to_datetime(at).date();
    window.contains(at, today, &|edge: &Edge, date: Date| {
        let midnight = jiff::tz::TimeZone::UTC.to_timestamp(date.at(0, 0, 0, 0)).unwrap();
        let after = |seconds| midnight + jiff::SignedDuration::from_secs(seconds);
        let instant = match edge.start {
            Start::Wall(time) => after(i64::from(time.hour()) * 3600 + i64::from(time.minute()) * 60),
            Start::Sun(event) => {
                let hour = hours[match event {
                    SunEvent::Dawn => 0,
                    SunEvent::Sunrise => 1,
                    SunEvent::Sunset => 2,
                    SunEvent::Dusk => 3,
                }];
                if hour < 0.0 {
                    return None;
                }
                after((hour * 3600.0) as i64)
            }
        };
        Some(instant + edge.shift.duration())
    })
}

const WINTER: [f64; 4] = [8.0, 8.5, 16.5, 17.0];
const SUMMER: [f64; 4] = [4.5, 5.5, 22.0, 22.75];
const POLAR_DAY: [f64; 4] = [-1.0; 4];

#[test]
fn an_evening_opens_at_dusk_and_closes_at_its_hour() {
    let evening = window(json!(["dusk", "23:30"]));
    for (text, open) in [
        ("2026-12-20T16:59:59Z", false),
        ("2026-12-20T17:00:00Z", true),
        ("2026-12-20T23:29:59Z", true),
        ("2026-12-20T23:30:00Z", false),
        ("2026-12-21T03:00:00Z", false),
    ] {
        assert_eq!(at(evening, WINTER, text), open, "{text}");
    }
}

#[test]
fn an_evening_on_which_the_sun_sets_too_late_stays_shut_and_does_not_last_a_day() {
    let evening = window(json!(["dusk", "21:30"]));
    for hour in 0..24 {
        assert!(!at(evening, SUMMER, &format!("2026-06-21T{hour:02}:00:00Z")), "{hour}");
    }
    assert!(at(evening, WINTER, "2026-12-20T20:00:00Z"));
}

#[test]
fn a_night_reaches_over_midnight() {
    for between in
        [json!(["22:00", "06:00"]), json!(["22:00", "sunrise"]), json!(["dusk", "06:00"]), json!(["sunset", "dawn"])]
    {
        let night = window(between.clone());
        assert!(at(night, WINTER, "2026-12-20T23:00:00Z"), "{between}");
        assert!(at(night, WINTER, "2026-12-21T05:00:00Z"), "{between}");
        assert!(!at(night, WINTER, "2026-12-21T12:00:00Z"), "{between}");
    }
}

#[test]
fn a_day_and_a_dusk_hour_stay_within_their_day() {
    for (between, text) in [
        (json!(["sunrise", "sunset"]), "2026-12-20T12:00:00Z"),
        (json!(["07:00", "sunrise"]), "2026-12-20T07:30:00Z"),
        (json!(["sunset", "dusk"]), "2026-12-20T16:45:00Z"),
        (json!([{"start": "sunset", "shift": "-PT1H"}, {"start": "sunset", "shift": "PT1H"}]), "2026-12-20T16:30:00Z"),
    ] {
        let window = window(between.clone());
        assert!(!window.closes_next_day(), "{between}");
        assert!(at(window, WINTER, text), "{between}");
        assert!(!at(window, WINTER, "2026-12-20T02:00:00Z"), "{between}");
        assert!(!at(window, WINTER, "2026-12-20T22:00:00Z"), "{between}");
    }
}

#[test]
fn shifts_may_carry_an_edge_into_another_day() {
    // opens 12 hours before midnight and closes 12 hours after noon of the next day
    let wide = window(json!([{"start": "00:30", "shift": "-PT12H"}, {"start": "23:00", "shift": "PT12H"}]));
    for text in ["2026-12-19T12:30:00Z", "2026-12-21T10:59:59Z"] {
        assert!(at(wide, WINTER, text), "{text}");
    }
    let late = window(json!([{"start": "23:00", "shift": "PT12H"}, {"start": "23:30", "shift": "PT12H"}]));
    assert!(at(late, WINTER, "2026-12-20T11:15:00Z"));
    assert!(!at(late, WINTER, "2026-12-20T11:30:00Z"));
}

#[test]
fn a_day_without_the_event_has_no_window() {
    assert!(!at(window(json!(["dusk", "23:30"])), POLAR_DAY, "2026-06-21T23:00:00Z"));
    assert!(at(window(json!(["22:00", "23:30"])), POLAR_DAY, "2026-06-21T23:00:00Z"));
}

#[test]
fn the_ends_of_the_calendar_are_survived() {
    for at in [Timestamp::MIN, Timestamp::MAX] {
        let today = jiff::tz::TimeZone::UTC.to_datetime(at).date();
        for date in [today, Date::MIN, Date::MAX] {
            assert!(!window(json!(["dusk", "dawn"])).contains(at, date, &|_, _| None));
        }
    }
}
