//! The window in which a link acts: from one edge to another, each a wall time or an event of the sun.

use std::fmt;

use almanac::{Shift, Start, SunEvent};
use jiff::Timestamp;
use jiff::civil::{Date, Time};

/// One end of a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edge {
    /// A wall time or an event of the sun.
    pub start: Start,
    /// How much later, or earlier when negative.
    pub shift: Shift,
}

/// From when until when a link acts, day after day. The first instant is in it, the last is not.
///
/// The two edges of one night or day belong together: `["dusk","23:30"]` is an evening and `["22:00","sunrise"]` a
/// night. Where the sun has not set by half past eleven there is no such evening on that day, and the window stays
/// shut; it does not reach round to half past eleven of the next day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// When it opens.
    pub from: Edge,
    /// When it closes.
    pub to: Edge,
}

/// The edge as people read it: `dusk`, `dusk -PT30M`.
impl fmt::Display for Edge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.shift == Shift::NONE { self.start.fmt(f) } else { write!(f, "{} {}", self.start, self.shift) }
    }
}

impl Window {
    /// Whether it closes on the day after the one on which it opens.
    ///
    /// Two wall times tell it by their order, two events of the sun by theirs in a day. Of a wall time and an event
    /// what is told is the half of the day that each falls in (dawn and sunrise before noon, sunset and dusk after):
    /// only a window from the second half to the first crosses midnight.
    #[must_use]
    pub fn closes_next_day(&self) -> bool {
        match (self.from.start, self.to.start) {
            (Start::Wall(from), Start::Wall(to)) => (to, self.to.shift) <= (from, self.from.shift),
            (Start::Sun(from), Start::Sun(to)) => {
                (place_in_day(to), self.to.shift) <= (place_in_day(from), self.from.shift)
            }
            (from, to) => after_noon(from) && !after_noon(to),
        }
    }

    /// Whether an instant is in the window. `today` is the date of `at` at the place, and `when` gives the instant of
    /// an edge on a date there, shift included; nothing when there is none on that date. Where the sun does not come up
    /// at all on a date, let sunset and dusk be its first instant and dawn and sunrise its last: it is night.
    ///
    /// Edges are shifted by twelve hours at most, so the windows that open from two days before until the day after
    /// are all that could hold the instant.
    #[must_use]
    pub fn contains(&self, at: Timestamp, today: Date, when: &dyn Fn(&Edge, Date) -> Option<Timestamp>) -> bool {
        let mut day = Some(today);
        for _ in 0..2 {
            day = day.and_then(|day| day.yesterday().ok());
        }
        let mut opens = day.unwrap_or(Date::MIN);
        for _ in 0..4 {
            let Ok(next) = opens.tomorrow() else { return false };
            let closes = if self.closes_next_day() { next } else { opens };
            if let (Some(from), Some(to)) = (when(&self.from, opens), when(&self.to, closes))
                && from <= at
                && at < to
            {
                return true;
            }
            opens = next;
        }
        false
    }
}

/// Which of the four comes first in a day.
fn place_in_day(event: SunEvent) -> u8 {
    match event {
        SunEvent::Dawn => 0,
        SunEvent::Sunrise => 1,
        SunEvent::Sunset => 2,
        SunEvent::Dusk => 3,
    }
}

fn after_noon(start: Start) -> bool {
    match start {
        Start::Wall(time) => time >= Time::constant(12, 0, 0, 0),
        Start::Sun(event) => place_in_day(event) >= 2,
    }
}
