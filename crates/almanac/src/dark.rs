//! The dark hours of a place, in which a walkway keeps its floor.

use jiff::Timestamp;

use crate::Place;
use crate::calendar::Calendar;

/// The dark hours between two instants: from sunset to sunrise at the place, each as its begin and its end, which
/// is not in it; in the order of time, apart from each other, cut off at `from` and `to`.
///
/// In the polar night all of it is dark, in the polar day none. Sunset and sunrise bound them, not civil dusk
/// and dawn, since stairwells and landings are dark before the street is.
#[must_use]
pub fn dark_hours(place: &Place, from: Timestamp, to: Timestamp) -> Vec<(Timestamp, Timestamp)> {
    let mut calendar = Calendar::new(place);
    let mut hours: Vec<(Timestamp, Timestamp)> = Vec::new();
    let mut add = |begin: Timestamp, end: Timestamp| {
        let (begin, end) = (begin.max(from), end.min(to));
        match hours.last_mut() {
            _ if end <= begin => {}
            Some((_, last)) if *last == begin => *last = end,
            _ => hours.push((begin, end)),
        }
    };
    let mut next = calendar.window_at(from);
    while let Some(window) = next.filter(|window| window.start < to) {
        if let Some(darkness) = calendar.darkness(window.date) {
            let (mut dark, mut since) = (darkness.at_start, window.start);
            for &(turn, falls) in &darkness.turns {
                if dark {
                    add(since, turn);
                }
                (dark, since) = (falls, turn);
            }
            if dark {
                add(since, window.end);
            }
        }
        next = window.date.tomorrow().ok().and_then(|date| calendar.window(date));
    }
    hours
}

impl Calendar<'_> {
    /// Whether it is dark at an instant.
    pub(crate) fn is_dark(&mut self, instant: Timestamp) -> bool {
        let Some(window) = self.window_at(instant) else { return true };
        let Some(darkness) = self.darkness(window.date) else { return true };
        darkness.turns.iter().rev().find(|turn| turn.0 <= instant).map_or(darkness.at_start, |turn| turn.1)
    }

    /// The first nightfall or end of night after an instant.
    pub(crate) fn turn_after(&mut self, instant: Timestamp) -> Option<Timestamp> {
        let mut date = self.window_at(instant)?.date;
        for _ in 0..TURN_WITHIN_DAYS {
            if let Some(turn) = self.darkness(date)?.turns.iter().find(|turn| turn.0 > instant) {
                return Some(turn.0);
            }
            date = date.tomorrow().ok()?;
        }
        None
    }

    /// The last nightfall or end of night not after an instant, but after `floor`.
    pub(crate) fn turn_upto(&mut self, instant: Timestamp, floor: Timestamp) -> Option<Timestamp> {
        let mut window = self.window_at(instant)?;
        for _ in 0..TURN_WITHIN_DAYS {
            if window.end <= floor {
                return None;
            }
            if let Some(turn) = self.darkness(window.date)?.turns.iter().rev().find(|turn| turn.0 <= instant) {
                return Some(turn.0).filter(|turn| *turn > floor);
            }
            window = self.window(window.date.yesterday().ok()?)?;
        }
        None
    }
}

/// At the poles the sun rises and sets once a year; nowhere does it do so more seldom.
const TURN_WITHIN_DAYS: u32 = 400;
