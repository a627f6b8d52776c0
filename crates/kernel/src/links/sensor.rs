//! What is remembered of a fixture's sensors: the number of the last event, the last pulses, and storms.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::link::LinkId;
use super::{STORM, STORM_SPAN, later};
use crate::name::FixtureId;

/// How many pulses are remembered: enough to see a storm and to confirm any link.
const REMEMBERED: usize = STORM + 1;

/// Whether an event counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Taken {
    /// It does.
    Fresh,
    /// It was counted before.
    Duplicate,
    /// A newer one was counted before.
    OutOfOrder,
}

/// What the storm guard does to a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Guard {
    /// Keeps it on.
    Held,
    /// Leaves it alone.
    Muted,
}

/// What the guard has told of, by link and target.
pub(super) type Guards = BTreeMap<(LinkId, FixtureId), Guard>;

/// One fixture, as far as its events go.
#[derive(Debug, Clone, Default)]
pub(super) struct Sensor {
    /// The number of the last event counted since the last boot.
    last: Option<u64>,
    /// The last events counted since the last boot.
    taken: VecDeque<(u64, Timestamp)>,
    /// The last ones before it: what a broker may deliver again.
    before_boot: VecDeque<(u64, Timestamp)>,
    /// Pulses by the name of the event; only of events that a link listens to.
    pub(super) events: BTreeMap<Arc<str>, Pulses>,
}

impl Sensor {
    /// The last number is known from elsewhere, but not when it came.
    pub(super) fn counted(n: u64) -> Self {
        Self { last: Some(n), ..Self::default() }
    }

    /// The counter starts anew.
    pub(super) fn booted(&mut self) {
        self.last = None;
        self.before_boot.append(&mut self.taken);
        shorten(&mut self.before_boot);
    }

    /// Takes an event's number, or says why not.
    pub(super) fn take(&mut self, n: u64, at: Timestamp) -> Taken {
        match self.last {
            Some(last) if n == last => return Taken::Duplicate,
            Some(last) if n < last => return Taken::OutOfOrder,
            _ => {}
        }
        // a counter that started anew is at 0 or 1 and goes on by ones; anything else that was counted shortly before
        // the boot is that very event, delivered again
        let goes_on = self.last.map_or(n <= 1, |last| n == last.saturating_add(1));
        let recent = later(at, -STORM_SPAN);
        if !goes_on && self.before_boot.iter().any(|(before, when)| *before == n && *when >= recent) {
            return Taken::Duplicate;
        }
        self.last = Some(n);
        self.taken.push_back((n, at));
        shorten(&mut self.taken);
        Taken::Fresh
    }

    /// The pulses of an event.
    pub(super) fn pulses(&mut self, event: &Arc<str>) -> &mut Pulses {
        self.events.entry(Arc::clone(event)).or_default()
    }

    /// Moves everything in time.
    pub(super) fn shift(&mut self, by: SignedDuration) {
        for (_, when) in self.taken.iter_mut().chain(&mut self.before_boot) {
            *when = later(*when, by);
        }
        for when in self.events.values_mut().flat_map(|pulses| &mut pulses.at) {
            *when = later(*when, by);
        }
    }
}

/// The last pulses of one event of one fixture.
#[derive(Debug, Clone, Default)]
pub(super) struct Pulses {
    /// When they came, the latest last.
    at: VecDeque<Timestamp>,
    /// What the guard does, while there is a storm.
    pub(super) storm: Option<Guards>,
}

impl Pulses {
    /// Counts a pulse; true when a storm begins with it.
    pub(super) fn count(&mut self, at: Timestamp) -> bool {
        self.at.push_back(at);
        shorten(&mut self.at);
        let begins = self.storm.is_none() && self.within(at, STORM_SPAN) > STORM;
        if begins {
            self.storm = Some(Guards::new());
        }
        begins
    }

    /// How many came in that time up to `at`, both ends included; at most as many as are remembered.
    pub(super) fn within(&self, at: Timestamp, span: SignedDuration) -> usize {
        let from = later(at, -span);
        self.at.iter().filter(|when| **when >= from).count()
    }

    /// When the storm, if there is one, will have calmed, should nothing more come.
    pub(super) fn calm_at(&self) -> Option<Timestamp> {
        self.storm.as_ref()?;
        let deciding = self.at.len().checked_sub(STORM / 2 + 1)?;
        self.at.get(deciding).map(|when| later(*when, STORM_SPAN))
    }
}

fn shorten<T>(list: &mut VecDeque<T>) {
    while list.len() > REMEMBERED {
        list.pop_front();
    }
}
