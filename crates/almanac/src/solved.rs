//! The solved timetable: at which instants its entries begin, and which of them holds.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};

use crate::calendar::{Calendar, Window, days_later, later, wall};
use crate::{Entry, Place, Start};

/// How far back the entry that holds may have begun: it holds for less than this.
pub(crate) const LOOK_BACK: SignedDuration = SignedDuration::from_hours(400 * 24);

/// How many dates are looked ahead: the longest wait for a 29 February on a given day of the week is 40 years.
const DATES_AHEAD: i32 = 41 * 366;

/// How many beginnings in a row may be looked at that hold for no time, since others begin with them.
const TIES: u32 = 2000;

/// An entry that holds: since when, and where it stands in the timetable. The greater is the one that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Held {
    pub(crate) since: Timestamp,
    pub(crate) entry: usize,
}

/// Some of the entries of a timetable, a bit for each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Some64(u64);

impl Some64 {
    pub(crate) fn of(entries: &[Entry], chosen: impl Fn(usize, &Entry) -> bool) -> Self {
        Self(entries.iter().enumerate().filter(|(index, entry)| chosen(*index, entry)).fold(0, |bits, (index, _)| {
            // A timetable has at most 64 entries.
            bits | 1 << (index % 64)
        }))
    }

    fn has(self, index: usize) -> bool {
        self.0 & 1 << (index % 64) != 0
    }

    fn is_empty(self) -> bool {
        self.0 == 0
    }

    fn without(self, left_out: Self) -> Self {
        Self(self.0 & !left_out.0)
    }
}

/// A timetable at a place, for the time of one question.
pub(crate) struct Solved<'a> {
    entries: &'a [Entry],
    /// Those that can hold at all.
    heard: Some64,
    pub(crate) calendar: Calendar<'a>,
}

impl<'a> Solved<'a> {
    pub(crate) fn new(entries: &'a [Entry], place: &'a Place) -> Self {
        let unheard =
            |index: usize, entry: &Entry| entries.iter().skip(index + 1).any(|later| later.begins_whenever(entry));
        let heard = Some64::of(entries, |index, entry| !unheard(index, entry));
        Self { entries, heard, calendar: Calendar::new(place) }
    }

    /// The entry that holds at an instant: the one that has begun latest, of several at one instant the last in the
    /// list; none when the latest began 400 days ago or longer.
    pub(crate) fn held(&mut self, at: Timestamp) -> Option<Held> {
        self.calendar.begin_search();
        self.last(self.heard, at, later(at, -LOOK_BACK))
    }

    /// The first instant after `at` at which none of the entries called `same` holds, and what holds then; `held`
    /// is what holds at `at`. Nothing if that is not foreseen.
    pub(crate) fn next_switch(
        &mut self,
        at: Timestamp,
        held: Option<Held>,
        same: Some64,
    ) -> Option<(Timestamp, Option<Held>)> {
        self.calendar.begin_search();
        let far = days_later(self.calendar.date_at(at), DATES_AHEAD);
        let mut other = None;
        let mut after = at;
        for _ in 0..TIES {
            let Some(begin) = self.first(self.heard.without(same), after, far) else { break };
            match self.last(self.heard, begin, later(begin, -LOOK_BACK)) {
                // At this very instant one of the same begins too, and stands later in the list.
                Some(winner) if same.has(winner.entry) => after = begin,
                winner => {
                    other = Some((begin, winner));
                    break;
                }
            }
        }
        let Some(held) = held else { return other };
        self.lapse(held, same, other.map(|(begin, _)| begin)).map(|end| (end, None)).or(other)
    }

    /// When the entries called `same`, one of which holds, began to hold: the start of the time without another
    /// that ends with `held`. May be any instant not after `floor` if it is not after `floor`.
    pub(crate) fn run_of(&mut self, held: Held, same: Some64, floor: Timestamp) -> Timestamp {
        if held.since <= floor {
            return held.since;
        }
        self.calendar.begin_search();
        let far = days_later(self.calendar.date_at(held.since), 2);
        let mut upto = just_before(held.since);
        let mut begin = None;
        while let Some(other) = self.last(self.heard.without(same), upto, floor) {
            match self.last(self.heard, other.since, later(other.since, -LOOK_BACK)) {
                Some(winner) if same.has(winner.entry) => upto = just_before(other.since),
                _ => {
                    begin = self.first(same, other.since, far);
                    break;
                }
            }
        }
        let begin = begin.unwrap_or_else(|| match self.last(self.heard, floor, later(floor, -LOOK_BACK)) {
            Some(winner) if same.has(winner.entry) => winner.since,
            _ => self.first(same, floor, far).unwrap_or(held.since),
        });
        // In between they may have lapsed: whichever began with none of them in the 400 days before began anew.
        let mut run = held.since;
        while begin < later(run, -LOOK_BACK) && !self.always_comes(same) {
            match self.first(same, just_before(later(run, -LOOK_BACK)), far) {
                Some(earlier) if earlier < run => run = earlier,
                _ => return run,
            }
        }
        begin
    }

    /// When the timetable ran out, if none of its entries holds at an instant and one did after `floor`.
    pub(crate) fn ran_out(&mut self, at: Timestamp, floor: Timestamp) -> Option<Timestamp> {
        self.calendar.begin_search();
        self.last(self.heard, at, later(floor, -LOOK_BACK)).map(|held| later(held.since, LOOK_BACK))
    }

    /// When the entries called `same` run out before `end`: one held for 400 days, and none of them came.
    fn lapse(&mut self, held: Held, same: Some64, end: Option<Timestamp>) -> Option<Timestamp> {
        if self.always_comes(same) {
            return None;
        }
        let far = days_later(self.calendar.date_at(held.since), DATES_AHEAD);
        let mut since = held.since;
        loop {
            let lapse = later(since, LOOK_BACK);
            if end.is_some_and(|end| end <= lapse) || self.calendar.date_at(lapse) > far {
                return None;
            }
            match self.last(same, lapse, since) {
                Some(next) => since = next.since,
                None => return Some(lapse),
            }
        }
    }

    /// Whether one of the entries is sure to come again within 400 days, for ever: each wall time comes daily,
    /// and every event of the sun at least once a year, at the poles too.
    fn always_comes(&self, which: Some64) -> bool {
        self.entries
            .iter()
            .enumerate()
            .any(|(index, entry)| which.has(index) && entry.days.is_none() && entry.dates.is_none())
    }

    /// The last beginning of one of the entries not after `upto`, but after `floor`.
    fn last(&mut self, which: Some64, upto: Timestamp, floor: Timestamp) -> Option<Held> {
        let mut best: Option<Held> = None;
        if which.is_empty() {
            return None;
        }
        // A shift is at most 12 hours and no gap is longer than a day, so an instant's date by the clock is within a
        // day of its entry's; by one more where a clock goes back over midnight.
        let mut date = days_later(self.calendar.date_at(upto), 2);
        let mut last_date = days_later(self.calendar.date_at(floor), -2);
        while date >= last_date && !self.calendar.is_spent() {
            let known = best.map(|held| held.since);
            self.each_on(
                date,
                which,
                |bounds| bounds.first <= upto && known.is_none_or(|known| known < bounds.end) && floor < bounds.end,
                |index, begin| {
                    let held = Held { since: begin, entry: index };
                    if floor < begin && begin <= upto && best.is_none_or(|best| best < held) {
                        best = Some(held);
                    }
                },
            );
            if let Some(best) = best {
                last_date = last_date.max(days_later(self.calendar.date_at(best.since), -2));
            }
            date = date.yesterday().ok()?;
        }
        best
    }

    /// The first beginning of one of the entries after an instant, on a date not after `far`.
    fn first(&mut self, which: Some64, after: Timestamp, far: Date) -> Option<Timestamp> {
        let mut best: Option<Timestamp> = None;
        if which.is_empty() {
            return None;
        }
        let mut date = days_later(self.calendar.date_at(after), -2);
        let mut last_date = far;
        while date <= last_date && !self.calendar.is_spent() {
            let known = best;
            self.each_on(
                date,
                which,
                |bounds| after < bounds.end && known.is_none_or(|known| bounds.first < known),
                |_, begin| {
                    if after < begin && best.is_none_or(|best| begin < best) {
                        best = Some(begin);
                    }
                },
            );
            if let Some(best) = best {
                last_date = last_date.min(days_later(self.calendar.date_at(best), 2));
            }
            let Ok(tomorrow) = date.tomorrow() else { break };
            date = tomorrow;
        }
        best
    }

    /// Gives the instants at which entries begin on a date, for those whose bounds are of interest.
    fn each_on(
        &mut self,
        date: Date,
        which: Some64,
        of_interest: impl Fn(Bounds) -> bool,
        mut found: impl FnMut(usize, Timestamp),
    ) {
        let mut window = None;
        let weekday = date.weekday();
        for (index, entry) in self.entries.iter().enumerate() {
            if !which.has(index)
                || entry.days.is_some_and(|days| !days.contains(weekday))
                || entry.dates.is_some_and(|dates| !dates.contains(date))
            {
                continue;
            }
            // Asked for only now, since most dates of a long search have no entry.
            window = window.or_else(|| self.calendar.window(date));
            let Some(window) = window else { return };
            if !window.is_empty()
                && of_interest(Bounds::of(entry, &window))
                && let Some(begin) = self.begin(entry, date)
            {
                found(index, begin);
            }
        }
    }

    /// When an entry begins that has the date for its own.
    fn begin(&mut self, entry: &Entry, date: Date) -> Option<Timestamp> {
        let place = self.calendar.place();
        let start = match entry.start {
            Start::Wall(time) => wall(place, date, time),
            Start::Sun(event) => self.calendar.sun(date, event),
        }?;
        let mut begin = start.checked_add(entry.shift.duration()).ok()?;
        if let Some(earliest) = entry.not_before {
            begin = begin.max(wall(place, date, earliest)?);
        }
        if let Some(latest) = entry.not_after {
            begin = begin.min(wall(place, date, latest)?);
        }
        Some(begin)
    }
}

/// Between which instants an entry begins that has a date for its own, whatever the sun does: `first` may be one of
/// them, `end` is none.
#[derive(Clone, Copy)]
struct Bounds {
    first: Timestamp,
    end: Timestamp,
}

impl Bounds {
    fn of(entry: &Entry, window: &Window) -> Self {
        let shift = entry.shift.duration();
        let (earlier_by, later_by) = (shift.min(SignedDuration::ZERO), shift.max(SignedDuration::ZERO));
        // Clamps are wall times of the date, so they lead out of neither bound.
        Self { first: later(window.start, earlier_by), end: later(window.end_of_wall_times(), later_by) }
    }
}

pub(crate) fn just_before(instant: Timestamp) -> Timestamp {
    later(instant, -SignedDuration::from_nanos(1))
}
