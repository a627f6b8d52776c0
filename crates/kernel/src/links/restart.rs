//! A daemon that starts again: what ran goes on, and what sensors said lately is known again.

use std::collections::BTreeSet;
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::effect::Effect;
use super::link::{Link, LinkId};
use super::machine::{House, Links, Target, end};
use super::replay::{Happened, Happening};
use super::run::Run;
use super::sensor::{Guard, Sensor, Taken};
use super::{STORM_SPAN, later};
use crate::name::FixtureId;

/// What is known when the daemon starts again.
#[derive(Debug, Clone, Default)]
pub struct Remembered {
    /// The runs as [`Links::runs`] gave them last.
    pub runs: Vec<Run>,
    /// The number of the last event counted of each fixture since its last boot.
    pub counters: Vec<(FixtureId, u64)>,
    /// What was recorded lately, in order: the last minutes, for pulses and storms. May be empty.
    pub recent: Vec<Happened>,
}

impl Links {
    /// The links after a restart, and what has to be done at once. What ended or calmed while nothing was running is
    /// told here, a second time where it had been told just before the stop.
    #[must_use]
    pub fn restored(
        links: impl IntoIterator<Item = (LinkId, Link)>,
        remembered: Remembered,
        now: Timestamp,
        house: &House<'_>,
    ) -> (Self, Vec<Effect>) {
        let mut new = Self::default();
        new.links = links.into_iter().map(|(id, link)| (id, Arc::new(link))).collect();
        for (fixture, n) in remembered.counters {
            new.sensors.insert(fixture, Sensor::counted(n));
        }
        new.recall(remembered.recent, &remembered.runs, house);
        let mut effects = new.advance(now);
        for mut run in remembered.runs {
            let Some(link) = new.links.get(&run.link) else {
                effects.extend(run.is_active().then(|| end(&run, now)));
                continue;
            };
            let kept = link.enabled && new.targets(&link.to, house).contains(&run.to);
            if run.is_active() && !kept {
                effects.push(end(&run, now));
                continue;
            }
            // should the clock have been set back meanwhile, nothing runs longer than if it had just been extended
            let longest = if run.is_active() { link.run_on.max(STORM_SPAN) } else { SignedDuration::ZERO };
            run.until = run.until.min(later(now, longest));
            run.since = run.since.min(now);
            new.runs.insert((run.link.clone(), run.to.clone()), run);
        }
        effects.extend(new.advance(now));
        (new, effects)
    }

    /// Counts what was recorded, and lets nothing come of it: it came of it then.
    fn recall(&mut self, recent: Vec<Happened>, runs: &[Run], house: &House<'_>) {
        // numbers that were taken are in the record, so the counter is only needed for those of whom it says nothing
        for fixture in recent.iter().map(|happened| &happened.fixture).collect::<BTreeSet<_>>() {
            self.sensors.remove(fixture);
        }
        for Happened { at, fixture, what } in recent {
            self.advance(at);
            let (event, n) = match what {
                Happening::Boot => {
                    self.sensors.entry(fixture).or_default().booted();
                    continue;
                }
                Happening::Event { event, n } => (event, n),
            };
            let listening = self.listening(&fixture, &event, house);
            if self.count(&fixture, &event, n, at, &listening) != Taken::Fresh {
                continue;
            }
            for (id, link) in listening {
                if !link.enabled || !link.between.is_none_or(|window| (house.inside)(&window, at)) {
                    continue;
                }
                for to in self.targets(&link.to, house) {
                    let target = (house.target)(&to, &link);
                    let ran = |run: &Run| run.is_active() && run.link == id && run.to == to && run.since <= at;
                    let guard = match target {
                        Target { shows: false, .. } => continue,
                        Target { walkway: false, .. } => Guard::Muted,
                        Target { .. } if runs.iter().any(ran) => Guard::Held,
                        Target { .. } => continue,
                    };
                    self.guard(&fixture, &event, (id.clone(), to), guard);
                }
            }
        }
    }
}
