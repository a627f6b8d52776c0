//! When the sun rises and sets at a place: one event of one local date, or all of them.
//!
//! The sun's centre stands 50 minutes of arc below the sea-level horizon at sunrise and sunset (34 for the
//! refraction that is agreed on, 16 for the radius) and 6 degrees below it at civil dawn and dusk, without
//! air. Positions and the search for crossings are the library's: Grena's third algorithm (R. Grena, Solar
//! Energy 86, 2012, within 0.01 degrees from 2010 to 2110) and, outside its years, Reda and Andreas'
//! (NREL/TP-560-34302), twenty times dearer.

use jiff::Timestamp;
use jiff::civil::Date;
use solar_positioning::time::JulianDate;
use solar_positioning::{Horizon, Location, SolarEvents, SolarPositions, delta_t};

use crate::calendar::Window;
use crate::memory::{self, Asked};
use crate::{Place, SunEvent};

/// What an event of the sun comes to on one local date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SunDay {
    /// It happens at this instant, to the nearest second.
    At(Timestamp),
    /// The sun stays above the event's altitude all day: for sunrise and sunset the polar day.
    AlwaysAbove,
    /// The sun stays below the event's altitude all day: for sunrise and sunset the polar night.
    AlwaysBelow,
    /// The event falls on other dates, though the sun does cross its altitude on this one, as when sunset
    /// moves past midnight towards the polar day; or the zone has skipped the date.
    NotThisDate,
}

/// When an event of the sun happens on a local date of the place.
///
/// An event belongs to the date on which it falls by the place's clock, however far the zone is from the
/// longitude. The day runs from its first midnight, or what the clock shows in its stead, to that of the next;
/// so every event belongs to one date. Should a date have the event twice, near the polar day or night, this
/// is the first of them. Years from -500 to 2999 are known; others have [`SunDay::NotThisDate`].
///
/// ```
/// use almanac::{Place, SunDay, SunEvent, sun_event};
/// use jiff::civil::date;
///
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// let place = Place::new(69.65, 18.96, "Europe/Oslo")?;
/// assert!(matches!(sun_event(&place, date(2026, 3, 20), SunEvent::Sunset), SunDay::At(_)));
/// assert_eq!(sun_event(&place, date(2026, 12, 21), SunEvent::Sunset), SunDay::AlwaysBelow);
/// # Ok(())
/// # }
/// ```
#[must_use]
pub fn sun_event(place: &Place, date: Date, event: SunEvent) -> SunDay {
    let Some(window) = Window::of(place, date).filter(|window| !window.is_empty()) else {
        return SunDay::NotThisDate;
    };
    let sky = Sky::over(place, window);
    if let Some(instant) = sky.first(event) {
        return SunDay::At(instant);
    }
    let counterpart = match event {
        SunEvent::Sunrise => SunEvent::Sunset,
        SunEvent::Sunset => SunEvent::Sunrise,
        SunEvent::Dawn => SunEvent::Dusk,
        SunEvent::Dusk => SunEvent::Dawn,
    };
    match sky.is_up_at_start(event) {
        Some(up) if sky.first(counterpart).is_none() => {
            if up {
                SunDay::AlwaysAbove
            } else {
                SunDay::AlwaysBelow
            }
        }
        _ => SunDay::NotThisDate,
    }
}

/// The sun over a place during one local date.
pub(crate) struct Sky {
    window: Window,
    location: Location,
    events: SolarEvents,
    positions: SolarPositions,
    delta_t: f64,
}

impl Sky {
    pub(crate) fn over(place: &Place, window: Window) -> Self {
        // A year within the algorithm's own at either end, for its limits are instants and ours local dates.
        let grena = (2011..=2109).contains(&window.date.year());
        Self {
            window,
            location: Location { latitude: place.latitude(), longitude: place.longitude() },
            events: if grena { SolarEvents::grena3() } else { SolarEvents::new() },
            positions: if grena { SolarPositions::grena3() } else { SolarPositions::new() },
            // The library refuses what is not a number, so nothing is found in years without an estimate.
            delta_t: delta_t::estimate(f64::from(window.date.year()) + 0.5).unwrap_or(f64::NAN),
        }
    }

    /// The first time that the event happens.
    pub(crate) fn first(&self, event: SunEvent) -> Option<Timestamp> {
        self.crossing_after(julian(self.window.start), event).and_then(|found| self.to_second(found))
    }

    /// Sunrises (false) and sunsets (true) in the order of time.
    pub(crate) fn nightfalls_and_ends(&self) -> Vec<(Timestamp, bool)> {
        let mut found: Vec<(f64, bool)> = Vec::new();
        for (event, falls) in [(SunEvent::Sunrise, false), (SunEvent::Sunset, true)] {
            let mut after = julian(self.window.start);
            while let Some(crossing) = self.crossing_after(after, event) {
                found.push((crossing, falls));
                after = crossing;
            }
        }
        found.sort_by(|one, other| one.0.total_cmp(&other.0));
        found.into_iter().filter_map(|(crossing, falls)| Some((self.to_second(crossing)?, falls))).collect()
    }

    /// Whether the sun is above the event's altitude as the date begins; nothing in years that are not known.
    pub(crate) fn is_up_at_start(&self, event: SunEvent) -> Option<bool> {
        let instant = JulianDate::new(julian(self.window.start), self.delta_t).ok()?;
        let position = self.positions.at_from_julian(instant, self.location, 0.0, None).ok()?;
        Some(position.elevation_angle() > horizon(event).elevation_angle())
    }

    /// The next crossing after an instant and not after the date's end, both Julian dates.
    fn crossing_after(&self, after: f64, event: SunEvent) -> Option<f64> {
        let asked = Asked {
            latitude: self.location.latitude.to_bits(),
            longitude: self.location.longitude.to_bits(),
            day: (self.window.start, self.window.end),
            after: after.to_bits(),
            event,
        };
        memory::recalled(asked, || self.search(after, event))
    }

    fn search(&self, after: f64, event: SunEvent) -> Option<f64> {
        let end = julian(self.window.end);
        let (location, horizon) = (self.location, horizon(event));
        match event {
            SunEvent::Sunrise | SunEvent::Dawn => {
                self.events.next_rise_from_julian(after, end, location, self.delta_t, horizon)
            }
            SunEvent::Sunset | SunEvent::Dusk => {
                self.events.next_set_from_julian(after, end, location, self.delta_t, horizon)
            }
        }
        .ok()
        .flatten()
    }

    /// The nearest whole second that still is of this date, since the search decides by the sun's side at the
    /// date's bounds to which date a crossing belongs.
    fn to_second(&self, julian_date: f64) -> Option<Timestamp> {
        let second = ((julian_date - JULIAN_DATE_OF_THE_EPOCH) * SECONDS_PER_DAY).round() as i64;
        let (first, last) = (self.window.start.as_second(), self.window.end.as_second() - 1);
        Timestamp::from_second(second.min(last).max(first)).ok()
    }
}

const JULIAN_DATE_OF_THE_EPOCH: f64 = 2_440_587.5;
const SECONDS_PER_DAY: f64 = 86_400.0;

/// The instant as a Julian date; UTC stands for UT1, from which it keeps within 0.9 seconds.
fn julian(instant: Timestamp) -> f64 {
    JULIAN_DATE_OF_THE_EPOCH + instant.as_second() as f64 / SECONDS_PER_DAY
}

fn horizon(event: SunEvent) -> Horizon {
    match event {
        SunEvent::Sunrise | SunEvent::Sunset => Horizon::SunriseSunset,
        SunEvent::Dawn | SunEvent::Dusk => Horizon::CivilTwilight,
    }
}
