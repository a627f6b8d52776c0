//! The solved timetable: at which instants its entries begin, and which of them holds.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};

use crate::calendar::{Calendar, days_later, later, wall};
use crate::{Entry, Place, Start};

/// How far back the entry that holds may have begun: it holds for less than this.
pub(crate) const LOOK_BACK: SignedDuration = SignedDuration::from_hours(400 * 24);

/// How many dates are looked ahead: the longest wait for a 29 February on a given day of the week is 40 years.
const DATES_AHEAD: i32 = 41 * 366;

/// From how many dates on either side of its own a beginning may be overtaken: shifts of 12 hours each way make one,
/// a date of unusual length another.
const NEIGHBOURS: i32 = 2;

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

    fn meets(self, other: Self) -> bool {
        self.0 & other.0 != 0
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
    /// Those of every day of the year.
    daily: Some64,
    earliest_shift: SignedDuration,
    latest_shift: SignedDuration,
    pub(crate) calendar: Calendar<'a>,
}

impl<'a> Solved<'a> {
    pub(crate) fn new(entries: &'a [Entry], place: &'a Place) -> Self {
        let unheard =
            |index: usize, entry: &Entry| entries.iter().skip(index + 1).any(|later| later.begins_whenever(entry));
        let heard = Some64::of(entries, |index, entry| !unheard(index, entry));
        let daily =
            Some64::of(entries, |index, entry| heard.has(index) && entry.days.is_none() && entry.dates.is_none());
        let shifts = || entries.iter().map(|entry| entry.shift.duration());
        Self {
            entries,
            heard,
            daily,
            earliest_shift: shifts().fold(SignedDuration::ZERO, SignedDuration::min),
            latest_shift: shifts().fold(SignedDuration::ZERO, SignedDuration::max),
            calendar: Calendar::new(place),
        }
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
        let far = later(at, SignedDuration::from_hours(24 * i64::from(DATES_AHEAD)));
        let mut other = None;
        let mut after = at;
        for _ in 0..TIES {
            let Some(begin) = self.first(self.heard.without(same), after) else { break };
            match self.last(self.heard, begin, later(begin, -LOOK_BACK)) {
                // At this very instant one of the same begins too, and stands later in the list.
                Some(winner) if same.has(winner.entry) && begin < far => after = begin,
                Some(winner) if same.has(winner.entry) => break,
                // Which one does hold can no longer be told.
                _ if self.calendar.is_spent() => break,
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
        let mut upto = just_before(held.since);
        let mut begin = None;
        while let Some(other) = self.last(self.heard.without(same), upto, floor) {
            match self.last(self.heard, other.since, later(other.since, -LOOK_BACK)) {
                Some(winner) if same.has(winner.entry) => upto = just_before(other.since),
                _ if self.calendar.is_spent() => break,
                _ => {
                    begin = self.first(same, other.since);
                    break;
                }
            }
        }
        self.calendar.begin_search();
        let begin = begin.unwrap_or_else(|| match self.last(self.heard, floor, later(floor, -LOOK_BACK)) {
            Some(winner) if same.has(winner.entry) => winner.since,
            _ => self.first(same, floor).unwrap_or(held.since),
        });
        // In between they may have lapsed: whichever began with none of them in the 400 days before began anew.
        let mut run = held.since;
        while begin < later(run, -LOOK_BACK) && !self.always_comes(same) {
            self.calendar.begin_search();
            match self.first(same, just_before(later(run, -LOOK_BACK))) {
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
            self.calendar.begin_search();
            match self.last(same, lapse, since) {
                Some(next) => since = next.since,
                None if self.calendar.is_spent() => return None,
                None => return Some(lapse),
            }
        }
    }

    /// Whether one of the entries is sure to come again within 400 days, for ever: each wall time comes daily,
    /// and every event of the sun at least once a year, at the poles too.
    fn always_comes(&self, which: Some64) -> bool {
        which.meets(self.daily)
    }

    /// The last beginning of one of the entries not after `upto`, but after `floor`.
    fn last(&mut self, which: Some64, upto: Timestamp, floor: Timestamp) -> Option<Held> {
        let mut best: Option<Held> = None;
        if which.is_empty() {
            return None;
        }
        let mut date = days_later(self.calendar.date_at(upto), NEIGHBOURS);
        let mut dates_left = i32::MAX;
        let first_date = days_later(self.calendar.date_at(floor), -NEIGHBOURS);
        while date >= first_date && dates_left > 0 && !self.calendar.is_spent() {
            if self.any_on(date, which) {
                let bounds = self.bounds(date)?;
                if bounds.first <= upto && floor < bounds.end && best.is_none_or(|best| best.since < bounds.end) {
                    let begun = self.begun(date).iter().rev();
                    let found = begun.copied().find(|held| held.since <= upto && which.has(held.entry));
                    best = best.max(found.filter(|held| floor < held.since));
                }
            }
            dates_left -= 1;
            if best.is_some() {
                dates_left = dates_left.min(NEIGHBOURS);
            }
            date = date.yesterday().ok()?;
        }
        best
    }

    /// The first beginning of one of the entries after an instant.
    fn first(&mut self, which: Some64, after: Timestamp) -> Option<Timestamp> {
        let mut best: Option<Timestamp> = None;
        if which.is_empty() {
            return None;
        }
        let mut date = days_later(self.calendar.date_at(after), -NEIGHBOURS);
        let mut dates_left = DATES_AHEAD;
        while dates_left > 0 && !self.calendar.is_spent() {
            if self.any_on(date, which) {
                let Some(bounds) = self.bounds(date) else { break };
                if after < bounds.end && best.is_none_or(|best| bounds.first < best) {
                    let begun = self.begun(date).iter();
                    let found = begun.copied().find(|held| after < held.since && which.has(held.entry));
                    best = [best, found.map(|held| held.since)].into_iter().flatten().min();
                }
            }
            dates_left -= 1;
            if best.is_some() {
                dates_left = dates_left.min(NEIGHBOURS);
            }
            let Ok(tomorrow) = date.tomorrow() else { break };
            date = tomorrow;
        }
        best
    }

    /// Whether one of the entries may begin on the date, by its days and dates.
    fn any_on(&self, date: Date, which: Some64) -> bool {
        which.meets(self.daily) || self.on(date).any(|(index, _)| which.has(index))
    }

    /// The entries whose days and dates allow the date.
    fn on(&self, date: Date) -> impl Iterator<Item = (usize, &'a Entry)> + use<'a> {
        let (heard, weekday) = (self.heard, date.weekday());
        self.entries.iter().enumerate().filter(move |(index, entry)| {
            heard.has(*index)
                && entry.days.is_none_or(|days| days.contains(weekday))
                && entry.dates.is_none_or(|dates| dates.contains(date))
        })
    }

    /// Between which instants the entries of a date begin, whatever the sun does.
    fn bounds(&mut self, date: Date) -> Option<Bounds> {
        let window = self.calendar.window(date)?;
        // Clamps are wall times of the date, so they lead out of neither bound.
        let first = later(window.start, self.earliest_shift);
        Some(Bounds { first, end: later(window.end_of_wall_times(), self.latest_shift) })
    }

    /// The entries that have the date for their own, in the order of their beginnings.
    fn begun(&mut self, date: Date) -> &[Held] {
        let known = self.calendar.day(date).is_none_or(|day| day.begun.is_some() || day.window.is_empty());
        if !known {
            let mut begun = Vec::with_capacity(self.entries.len());
            for (index, entry) in self.on(date) {
                begun.extend(self.begin(entry, date).map(|since| Held { since, entry: index }));
            }
            begun.sort_unstable();
            if let Some(day) = self.calendar.day(date) {
                day.begun = Some(begun);
            }
        }
        self.calendar.day(date).and_then(|day| day.begun.as_deref()).unwrap_or_default()
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

/// Between which instants the entries of a date begin: `first` may be one of them, `end` is none.
#[derive(Clone, Copy)]
struct Bounds {
    first: Timestamp,
    end: Timestamp,
}

pub(crate) fn just_before(instant: Timestamp) -> Timestamp {
    later(instant, -SignedDuration::from_nanos(1))
}
