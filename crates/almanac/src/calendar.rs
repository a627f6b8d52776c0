//! The local dates of a place: where each begins and ends, and its sun, reckoned once for a question.

use jiff::civil::{Date, Time};
use jiff::{SignedDuration, Span, Timestamp};

use crate::solved::Held;
use crate::sun::Sky;
use crate::{Place, SunEvent};

/// A local date from its first instant to the first of the next date, which is not in it.
///
/// Each instant lies in one window, also where a clock goes back over midnight and shows the old date again:
/// the new one has begun by then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Window {
    pub(crate) date: Date,
    pub(crate) start: Timestamp,
    pub(crate) end: Timestamp,
}

impl Window {
    /// Nothing at the ends of the calendar.
    pub(crate) fn of(place: &Place, date: Date) -> Option<Self> {
        let start = wall(place, date, Time::midnight())?;
        let end = wall(place, date.tomorrow().ok()?, Time::midnight())?;
        Some(Self { date, start, end })
    }

    /// Whether the zone has skipped the date, as Apia did 2011-12-30.
    pub(crate) fn is_empty(&self) -> bool {
        self.end <= self.start
    }

    /// No wall time of this date comes as late as this, or later.
    pub(crate) fn end_of_wall_times(&self) -> Timestamp {
        const DAY: SignedDuration = SignedDuration::from_hours(24);
        // A gap over midnight moves the wall times in it on to the next date; no gap but a skipped date is as
        // long as a day.
        if self.start.duration_until(self.end) == DAY { self.end } else { later(self.end, DAY) }
    }
}

/// A wall time as RFC 5545 section 3.3.5 reads it: one that comes twice is the first, one that is left out has
/// the offset from before the gap. Nothing at the ends of the calendar.
pub(crate) fn wall(place: &Place, date: Date, time: Time) -> Option<Timestamp> {
    // jiff calls the rule "compatible".
    place.zone().to_ambiguous_timestamp(date.to_datetime(time)).compatible().ok()
}

/// The instant so much later, or the last that there is.
pub(crate) fn later(instant: Timestamp, by: SignedDuration) -> Timestamp {
    instant.checked_add(by).unwrap_or(if by.is_negative() { Timestamp::MIN } else { Timestamp::MAX })
}

/// The date so many days later, or the last that there is.
pub(crate) fn days_later(date: Date, days: i32) -> Date {
    date.checked_add(Span::new().days(days)).unwrap_or(if days < 0 { Date::MIN } else { Date::MAX })
}

/// How many dates are remembered: more than a search needs at once.
const SLOTS: usize = 16;

/// How many events of the sun one search may reckon: more than four a day over the 400 days that are looked
/// back. It only ends searches for entries that as good as never come.
const SUN_EVENTS_OF_A_SEARCH: u32 = 2000;

/// The dates of a place for the time of one question.
pub(crate) struct Calendar<'a> {
    place: &'a Place,
    slots: [Option<Day>; SLOTS],
    sun_events_left: u32,
}

/// What is known of a date.
pub(crate) struct Day {
    pub(crate) window: Window,
    /// The timetable's entries that have the date for their own, once asked for, in the order of their beginnings.
    pub(crate) begun: Option<Vec<Held>>,
    /// By event: not asked yet, or the answer.
    sun: [Option<Option<Timestamp>>; 4],
    darkness: Option<Darkness>,
}

/// When a date is dark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Darkness {
    /// Whether it begins dark.
    pub(crate) at_start: bool,
    /// From when on it is dark (true) or no longer is.
    pub(crate) turns: Vec<(Timestamp, bool)>,
}

impl<'a> Calendar<'a> {
    pub(crate) fn new(place: &'a Place) -> Self {
        Self { place, slots: [const { None }; SLOTS], sun_events_left: SUN_EVENTS_OF_A_SEARCH }
    }

    /// To be said at the begin of each search.
    pub(crate) fn begin_search(&mut self) {
        if self.is_spent() {
            // The last search may have left what it could no longer reckon.
            self.slots = [const { None }; SLOTS];
        }
        self.sun_events_left = SUN_EVENTS_OF_A_SEARCH;
    }

    /// Whether the search has reckoned as many events of the sun as it may.
    pub(crate) fn is_spent(&self) -> bool {
        self.sun_events_left == 0
    }

    pub(crate) fn place(&self) -> &'a Place {
        self.place
    }

    /// The date that the clock shows.
    pub(crate) fn date_at(&self, instant: Timestamp) -> Date {
        self.place.zone().to_datetime(instant).date()
    }

    pub(crate) fn window(&mut self, date: Date) -> Option<Window> {
        self.day(date).map(|day| day.window)
    }

    /// The window in which an instant lies.
    pub(crate) fn window_at(&mut self, instant: Timestamp) -> Option<Window> {
        // The clock may show the old date again although the next one has begun.
        let mut date = days_later(self.date_at(instant), 1);
        loop {
            let window = self.window(date)?;
            if window.start <= instant && instant < window.end {
                return Some(window);
            }
            if window.end <= instant {
                return None;
            }
            date = date.yesterday().ok()?;
        }
    }

    /// The event of the sun on a date, if there is one and the search has not reckoned too many.
    pub(crate) fn sun(&mut self, date: Date, event: SunEvent) -> Option<Timestamp> {
        let (place, left) = (self.place, self.sun_events_left);
        let day = self.day(date)?;
        let window = day.window;
        let known = day.sun.get_mut(event as usize)?;
        if let Some(known) = *known {
            return known;
        }
        if left == 0 || window.is_empty() {
            return None;
        }
        let found = Sky::over(place, window).first(event);
        *known = Some(found);
        self.sun_events_left = left - 1;
        found
    }

    /// When the date is dark.
    pub(crate) fn darkness(&mut self, date: Date) -> Option<&Darkness> {
        let place = self.place;
        let day = self.day(date)?;
        let window = day.window;
        Some(day.darkness.get_or_insert_with(|| {
            if window.is_empty() {
                return Darkness { at_start: true, turns: Vec::new() };
            }
            let sky = Sky::over(place, window);
            // In years of which nothing is known it is dark: the safe side.
            let at_start = !sky.is_up_at_start(SunEvent::Sunset).unwrap_or(false);
            let turns = sky.nightfalls_and_ends();
            let first = |falls| turns.iter().find(|turn| turn.1 == falls).map(|turn| turn.0);
            let [rise, set, ..] = &mut day.sun;
            (*rise, *set) = (Some(first(false)), Some(first(true)));
            Darkness { at_start, turns }
        }))
    }

    pub(crate) fn day(&mut self, date: Date) -> Option<&mut Day> {
        let slot = self.slots.get_mut(date.day() as usize % SLOTS)?;
        if slot.as_ref().is_none_or(|day| day.window.date != date) {
            let window = Window::of(self.place, date)?;
            *slot = Some(Day { window, begun: None, sun: [None; 4], darkness: None });
        }
        slot.as_mut()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: civil-day-lengths.csv, computed with Python's zoneinfo on tzdata 2026.6, the start of a date being the
    /// first instant that has it. A date that Apia skipped is empty.
    #[test]
    fn a_date_begins_and_ends_where_the_reference_says() {
        let table = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/check-values/civil-day-lengths.csv");
        let table = std::fs::read_to_string(table).unwrap();
        let mut rows = 0;
        for line in table.lines().skip(2) {
            let cells: Vec<&str> = line.split(',').collect();
            let place = Place::new(0.0, 0.0, cells[0]).unwrap();
            let window = Window::of(&place, cells[1].parse().unwrap()).unwrap();
            let (start, end): (Timestamp, Timestamp) = (cells[2].parse().unwrap(), cells[4].parse().unwrap());
            assert_eq!((window.start, window.end), (start, end), "{line}");
            assert_eq!(window.start.duration_until(window.end).as_secs(), cells[5].parse::<i64>().unwrap(), "{line}");
            assert_eq!(window.is_empty(), cells[5] == "0", "{line}");
            rows += 1;
        }
        assert_eq!(rows, 92);
    }

    #[test]
    fn every_instant_lies_in_one_window_also_where_midnight_comes_twice() {
        // Source: tzdb: St John's went back from 00:01 to 23:01 on 2010-11-07, at 02:31 UTC.
        let place = Place::new(47.56, -52.71, "America/St_Johns").unwrap();
        let mut calendar = Calendar::new(&place);
        for (instant, day) in [
            ("2010-11-07T02:29:59Z", 6),
            ("2010-11-07T02:30:00Z", 7),
            ("2010-11-07T02:31:00Z", 7),
            ("2010-11-07T03:29:59Z", 7),
            ("2010-11-08T03:29:59Z", 7),
            ("2010-11-08T03:30:00Z", 8),
        ] {
            let window = calendar.window_at(instant.parse().unwrap()).unwrap();
            assert_eq!(window.date.day(), day, "{instant}");
        }
    }

    #[test]
    fn a_search_reckons_so_many_events_of_the_sun_and_no_more() {
        let place = Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap();
        let mut calendar = Calendar::new(&place);
        let day = |days| days_later(jiff::civil::date(2026, 1, 1), days);
        let found = (0..3000).filter(|days| calendar.sun(day(*days), SunEvent::Sunset).is_some()).count();
        assert_eq!(found, SUN_EVENTS_OF_A_SEARCH as usize);
        calendar.begin_search();
        assert!(calendar.sun(day(3001), SunEvent::Sunset).is_some());
    }
}
