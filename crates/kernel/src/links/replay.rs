//! The dry run: what a link would have done with events of the past.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::Timestamp;
use serde::Serialize;

use super::effect::{Effect, Heard, Verdict};
use super::link::{Link, LinkId};
use super::machine::{House, Links};
use super::run::Stage;
use crate::name::FixtureId;

/// Something that was recorded of a fixture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Happened {
    /// When it was heard.
    pub at: Timestamp,
    /// Of whom.
    pub fixture: FixtureId,
    /// What.
    pub what: Happening,
}

/// What was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Happening {
    /// Its controller started.
    Boot,
    /// A sensor of it saw something.
    Event {
        /// The event's name.
        event: Arc<str>,
        /// Its number.
        n: u64,
    },
}

/// One stretch of time in which a link would have run, on at least one target.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Firing {
    /// When it would have begun.
    pub begin: Timestamp,
    /// When it would have ended, the instant itself not included.
    pub end: Timestamp,
    /// How many events counted for it.
    pub pulses: u64,
    /// Whether it was confirmed; if not, a walkway was raised for a short time and no more.
    pub confirmed: bool,
}

/// What a dry run tells.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Replay {
    /// When it would have fired, in order.
    pub firings: Vec<Firing>,
    /// How many events led to what. Where one led to several things on several targets, it counts for that of which
    /// most came. Events that the link does not listen to count nowhere.
    pub counts: BTreeMap<Verdict, u64>,
    /// How often the storm guard would have set in.
    pub storms: u64,
}

/// Runs one link over events of the past by the very machine that runs it, as if nothing had run before. A run that the
/// last events began is followed to its end. To try a link that is switched off, hand over one that is on.
#[must_use]
pub fn replay(id: &LinkId, link: &Link, events: impl IntoIterator<Item = Happened>, house: &House<'_>) -> Replay {
    let mut links = Links::default();
    let mut told = Telling::default();
    let mut events = events.into_iter().peekable();
    let Some(first) = events.peek() else { return told.replay };
    links.put(id.clone(), link.clone(), first.at, house);
    for Happened { at, fixture, what } in events {
        match what {
            Happening::Boot => told.effects(&links.booted(&fixture, at)),
            Happening::Event { event, n } => {
                let Heard { effects, outcomes } = links.event(&fixture, &event, n, at, house);
                told.effects(&effects);
                if let Some(verdict) = outcomes.iter().map(|outcome| outcome.verdict).max() {
                    *told.replay.counts.entry(verdict).or_default() += 1;
                    if let Some(open) = told.open.as_mut().filter(|_| verdict.is_counted()) {
                        open.pulses += 1;
                    }
                }
            }
        }
    }
    while let Some(due) = links.next_deadline() {
        told.effects(&links.tick(due));
    }
    told.replay
}

/// Makes firings of effects.
#[derive(Default)]
struct Telling {
    replay: Replay,
    open: Option<Firing>,
    /// The targets on which it runs.
    running: BTreeSet<FixtureId>,
    /// The sensors that the guard has taken hold of, with the targets that it has told of.
    guarded: BTreeSet<(FixtureId, FixtureId)>,
}

impl Telling {
    fn effects(&mut self, effects: &[Effect]) {
        for effect in effects {
            match effect {
                Effect::Begin { to, since, until, stage, .. } => {
                    self.running.insert(to.clone());
                    let confirmed = *stage == Stage::Confirmed;
                    let new = Firing { begin: *since, end: *until, pulses: 0, confirmed };
                    self.open.get_or_insert(new).confirmed |= confirmed;
                }
                Effect::Extend { stage, .. } => {
                    if let Some(open) = &mut self.open {
                        open.confirmed |= *stage == Stage::Confirmed;
                    }
                }
                Effect::Changed { since, .. } => {
                    if let Some(open) = &mut self.open {
                        open.begin = open.begin.min(*since);
                    }
                }
                Effect::End { to, at, .. } => {
                    self.running.remove(to);
                    if self.running.is_empty()
                        && let Some(mut over) = self.open.take()
                    {
                        over.end = *at;
                        self.replay.firings.push(over);
                    }
                }
                Effect::HeldOn { sensor, to, .. } | Effect::Muted { sensor, to, .. } => {
                    if !self.guarded.iter().any(|(known, _)| known == sensor) {
                        self.replay.storms += 1;
                    }
                    self.guarded.insert((sensor.clone(), to.clone()));
                }
                Effect::Released { sensor, to, .. } => {
                    self.guarded.remove(&(sensor.clone(), to.clone()));
                }
            }
        }
    }
}
