//! What the coming 48 hours cost: the agenda of a timetable that follows the sun, against the bare calls of the sun's
//! library for the same days.

use std::hint::black_box;
use std::time::Instant;

use almanac::{Entry, Place, Plan, Scene, Timetable, agenda};
use jiff::{SignedDuration, Timestamp};
use solar_positioning::{Horizon, Location, SolarEvents};

use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::plan::thousands;
use crate::rounds::alternate;
use crate::yard::Yard;

/// The starts of a timetable, of which half are the sun's.
const STARTS: [&str; 8] = ["dawn", "07:00", "sunrise", "12:30", "sunset", "18:30", "dusk", "22:45"];

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let fixtures: u32 = if yard.plan.quick { 1_000 } else { 10_000 };
    let wrong = |error: almanac::AlmanacError| BenchError::unexpected("making a timetable", error.to_string());
    let mut plans = Vec::new();
    let mut places = Vec::new();
    for n in 0..fixtures {
        // places over the inhabited latitudes, so that no two fixtures share their sun
        let latitude = f64::from(n % 111) - 50.0;
        let longitude = f64::from(n % 359) - 179.0;
        places.push(Place::new(latitude, longitude, "UTC").map_err(wrong)?);
        let entries =
            STARTS.iter().enumerate().map(|(index, start)| Ok(Entry::new(start.parse()?, format!("l{index}"))));
        let timetable = entries.collect::<Result<Vec<_>, _>>().and_then(Timetable::new).map_err(wrong)?;
        plans.push(Plan { timetable, ..Plan::default() });
    }
    let from: Timestamp = "2026-11-25T20:00:00Z"
        .parse()
        .map_err(|error: jiff::Error| BenchError::unexpected("reading a time", error.to_string()))?;
    let to = from + SignedDuration::from_hours(48);
    // the three dates of UTC that the 48 hours touch, as Julian dates of their midnights
    let midnights = [2_461_369.5, 2_461_370.5, 2_461_371.5];
    let delta_t = solar_positioning::delta_t::estimate(2026.9)
        .map_err(|error| BenchError::unexpected("asking for the sun", error.to_string()))?;
    let sun = SolarEvents::grena3();
    let pairs = alternate(
        yard.plan.rounds,
        async || {
            let began = Instant::now();
            for (plan, place) in plans.iter().zip(&places) {
                let scene = Scene { plan, place: Some(place), edited_at: from, running: &[] };
                black_box(agenda(&scene, from, to));
            }
            Ok(microseconds(began, fixtures))
        },
        async || {
            let began = Instant::now();
            for place in &places {
                let location = Location { latitude: place.latitude(), longitude: place.longitude() };
                for midnight in midnights {
                    bare_sun(&sun, location, midnight, delta_t)?;
                }
            }
            Ok(microseconds(began, fixtures))
        },
    )
    .await?;
    let figure = Figure::paired("agenda", "agenda of 48 h, each fixture", "µs", &pairs)
        .size(format!("{} fixtures of 8 entries", thousands(u64::from(fixtures))))
        .ceiling_is("the sun's library alone, for the same days")
        .goal(Goal::AtMost(1.5));
    Ok(vec![figure])
}

/// Microseconds for each fixture since `began`.
fn microseconds(began: Instant, fixtures: u32) -> f64 {
    began.elapsed().as_secs_f64() * 1e6 / f64::from(fixtures)
}

/// The events of the timetable on one date of UTC, by the library itself.
fn bare_sun(sun: &SolarEvents, location: Location, midnight: f64, delta_t: f64) -> Result<(), BenchError> {
    let wrong = |error: solar_positioning::Error| BenchError::unexpected("asking for the sun", error.to_string());
    for horizon in [Horizon::SunriseSunset, Horizon::CivilTwilight] {
        let end = midnight + 1.0;
        black_box(sun.next_rise_from_julian(midnight, end, location, delta_t, horizon).map_err(wrong)?);
        black_box(sun.next_set_from_julian(midnight, end, location, delta_t, horizon).map_err(wrong)?);
    }
    Ok(())
}
