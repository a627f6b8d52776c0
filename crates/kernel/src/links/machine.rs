//! The state machine of all links of a house.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::effect::{Effect, Heard, Outcome, Verdict};
use super::later;
use super::link::{Link, LinkId, Party};
use super::run::{Run, RunningLook, Stage};
use super::sensor::{Guard, Sensor, Taken};
use super::window::Window;
use crate::name::{FixtureId, GroupName};

/// What the machine asks about the house while it works. Ask nothing of the machine in these.
#[derive(Clone, Copy)]
pub struct House<'a> {
    /// Whether a fixture is in a group.
    pub is_member: &'a dyn Fn(&FixtureId, &GroupName) -> bool,
    /// The members of a group, each once.
    pub members: &'a dyn Fn(&GroupName) -> Vec<FixtureId>,
    /// What a target is, for that link.
    pub target: &'a dyn Fn(&FixtureId, &Link) -> Target,
    /// Whether a window is open at an instant: [`Window::contains`] with the dates of the place.
    pub inside: &'a dyn Fn(&Window, Timestamp) -> bool,
}

/// What a target is at the moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Target {
    /// Whether it is there and has the link's look. A link never runs where it could only make dark what is lit.
    pub shows: bool,
    /// Whether it is a walkway: whether its document has a `floor`.
    pub walkway: bool,
    /// Whether it is showing anything but `dark`.
    pub lit: bool,
}

/// All links of a house, what runs by them, and what their sensors said.
#[derive(Debug, Clone, Default)]
pub struct Links {
    pub(super) links: BTreeMap<LinkId, Arc<Link>>,
    pub(super) sensors: BTreeMap<FixtureId, Sensor>,
    /// Which sensors' events are in a storm, so that not all have to be looked through.
    storms: BTreeSet<(FixtureId, Arc<str>)>,
    pub(super) runs: BTreeMap<(LinkId, FixtureId), Run>,
    /// The time of the last call.
    now: Option<Timestamp>,
}

/// One pulse that counts, for one link.
struct Pulse<'a> {
    at: Timestamp,
    sensor: &'a FixtureId,
    event: &'a Arc<str>,
    id: &'a LinkId,
    link: &'a Link,
    confirmed: bool,
    /// When the storm of this sensor will have calmed, if there is one.
    calm_at: Option<Timestamp>,
}

impl Links {
    /// Something was sensed at `at`, the time at which it is heard.
    pub fn event(&mut self, sensor: &FixtureId, event: &str, n: u64, at: Timestamp, house: &House<'_>) -> Heard {
        let mut heard = Heard { effects: self.advance(at), outcomes: Vec::new() };
        let event: Arc<str> = event.into();
        let listening = self.listening(sensor, &event, house);
        let taken = self.count(sensor, &event, n, at, &listening);
        for (id, link) in &listening {
            let mut outcome = |to, verdict| heard.outcomes.push(Outcome { link: id.clone(), to, verdict });
            let refused = match taken {
                _ if !link.enabled => Some(Verdict::Disabled),
                Taken::Duplicate => Some(Verdict::Duplicate),
                Taken::OutOfOrder => Some(Verdict::OutOfOrder),
                Taken::Fresh => {
                    link.between.is_some_and(|window| !(house.inside)(&window, at)).then_some(Verdict::OutsideWindow)
                }
            };
            if let Some(verdict) = refused {
                outcome(None, verdict);
                continue;
            }
            let pulses = self.sensors.entry(sensor.clone()).or_default().pulses(&event);
            let confirmed = pulses.within(at, link.confirm.within) >= usize::from(link.confirm.pulses);
            let calm_at = pulses.calm_at();
            let pulse = Pulse { at, sensor, event: &event, id, link, confirmed, calm_at };
            let targets = self.targets(&link.to, house);
            if targets.is_empty() {
                outcome(None, Verdict::CannotShow);
            }
            for to in targets {
                let target = (house.target)(&to, link);
                let verdict = self.pulse(&pulse, &to, target, &mut heard.effects);
                outcome(Some(to), verdict);
            }
        }
        heard
    }

    /// A fixture has started: its counter starts anew. What it sensed before stays true.
    pub fn booted(&mut self, fixture: &FixtureId, at: Timestamp) -> Vec<Effect> {
        let effects = self.advance(at);
        if let Some(sensor) = self.sensors.get_mut(fixture) {
            sensor.booted();
        }
        effects
    }

    /// Time has come to the next deadline, or anywhere else.
    pub fn tick(&mut self, now: Timestamp) -> Vec<Effect> {
        self.advance(now)
    }

    /// A link is new or was edited. What runs by it goes on with the new look, no longer than the new `run_on` from now;
    /// it ends where the link is switched off or has other targets.
    pub fn put(&mut self, id: LinkId, link: Link, now: Timestamp, house: &House<'_>) -> Vec<Effect> {
        let mut effects = self.advance(now);
        self.release(|(link, _), _| *link == id, now, &mut effects);
        let targets = if link.enabled { self.targets(&link.to, house) } else { Vec::new() };
        let other_look = self.links.get(&id).is_some_and(|before| before.look != link.look);
        for run in self.runs.values_mut().filter(|run| run.link == id && run.is_active()) {
            if !targets.contains(&run.to) {
                effects.push(end(run, now));
                rest(run, now);
                continue;
            }
            let before = run.until;
            run.until = before.min(later(now, link.run_on));
            if other_look || run.until != before {
                let (link, to) = (run.link.clone(), run.to.clone());
                effects.push(Effect::Changed { link, to, since: run.since, until: run.until });
            }
        }
        self.links.insert(id, Arc::new(link));
        self.forget_rested(now);
        self.forget_unheard();
        effects
    }

    /// A link is taken away. What runs by it ends.
    pub fn remove(&mut self, id: &LinkId, now: Timestamp) -> Vec<Effect> {
        let mut effects = self.advance(now);
        self.release(|(link, _), _| link == id, now, &mut effects);
        self.runs.retain(|_, run| {
            let gone = run.link == *id;
            effects.extend((gone && run.is_active()).then(|| end(run, now)));
            !gone
        });
        self.links.remove(id);
        self.forget_unheard();
        effects
    }

    /// A fixture is taken away. What runs on it ends; what runs elsewhere by its sensor runs out.
    pub fn departed(&mut self, fixture: &FixtureId, now: Timestamp) -> Vec<Effect> {
        let mut effects = self.advance(now);
        self.release(|(_, to), _| to == fixture, now, &mut effects);
        for (sensor, event) in self.storms.clone() {
            if sensor == *fixture {
                self.calm(&sensor, &event, now, &mut effects);
            }
        }
        self.sensors.remove(fixture);
        self.runs.retain(|_, run| {
            let gone = run.to == *fixture;
            effects.extend((gone && run.is_active()).then(|| end(run, now)));
            !gone
        });
        effects
    }

    /// When [`Links::tick`] has something to do by time alone, if ever; always later than the last call.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Timestamp> {
        let ends = self.runs.values().filter(|run| run.is_active()).map(|run| run.until);
        let calms = self.storms.iter().filter_map(|(sensor, event)| self.calm_at(sensor, event));
        ends.chain(calms).min()
    }

    /// What runs on a target at `now`, in the order in which it began: the last one shows, and when it ends, the one
    /// before it. Of two that began at the same instant the one whose id comes later in the alphabet is the later.
    #[must_use]
    pub fn running_on(&self, target: &FixtureId, now: Timestamp) -> Vec<RunningLook> {
        let mut running: Vec<_> = self
            .runs
            .values()
            .filter(|run| run.to == *target && run.is_active() && now < run.until)
            .filter_map(|run| {
                let look = Arc::clone(&self.links.get(&run.link)?.look);
                Some(RunningLook { link: run.link.clone(), look, since: run.since, until: run.until })
            })
            .collect();
        running.sort_by_key(|run| run.since);
        running
    }

    /// All that must survive a restart: what runs, and what has ended so lately that its dead time is not over.
    #[must_use]
    pub fn runs(&self) -> Vec<Run> {
        self.runs.values().cloned().collect()
    }

    /// The link of that id.
    #[must_use]
    pub fn get(&self, id: &LinkId) -> Option<&Link> {
        self.links.get(id).map(|link| &**link)
    }

    /// All links, in the order of their ids.
    pub fn iter(&self) -> impl Iterator<Item = (&LinkId, &Link)> {
        self.links.iter().map(|(id, link)| (id, &**link))
    }

    pub(super) fn listening(&self, sensor: &FixtureId, event: &str, house: &House<'_>) -> Vec<(LinkId, Arc<Link>)> {
        let listens = |link: &Link| link.listens(sensor, event, |group| (house.is_member)(sensor, group));
        let links = self.links.iter().filter(|(_, link)| listens(link));
        links.map(|(id, link)| (id.clone(), Arc::clone(link))).collect()
    }

    pub(super) fn targets(&self, to: &Party, house: &House<'_>) -> Vec<FixtureId> {
        match to {
            Party::Fixture(id) => vec![id.clone()],
            Party::Group(group) => (house.members)(group),
        }
    }

    /// Takes the number of an event and counts its pulse, where a link that is switched on listens.
    pub(super) fn count(
        &mut self,
        sensor: &FixtureId,
        event: &Arc<str>,
        n: u64,
        at: Timestamp,
        listening: &[(LinkId, Arc<Link>)],
    ) -> Taken {
        let record = self.sensors.entry(sensor.clone()).or_default();
        let taken = record.take(n, at);
        if taken != Taken::Fresh || !listening.iter().any(|(_, link)| link.enabled) {
            return taken;
        }
        let pulses = record.pulses(event);
        if pulses.count(at) {
            self.storms.insert((sensor.clone(), Arc::clone(event)));
        }
        taken
    }

    /// What a pulse that counts does to one target.
    fn pulse(&mut self, pulse: &Pulse<'_>, to: &FixtureId, target: Target, effects: &mut Vec<Effect>) -> Verdict {
        if !target.shows {
            return Verdict::CannotShow;
        }
        let Pulse { at, sensor, link, .. } = *pulse;
        let key = (pulse.id.clone(), to.clone());
        if pulse.calm_at.is_some() && !target.walkway {
            if self.guard(sensor, pulse.event, key, Guard::Muted) {
                effects.push(Effect::Muted { link: pulse.id.clone(), to: to.clone(), sensor: sensor.clone(), at });
            }
            return Verdict::Muted;
        }
        let held_until = pulse.calm_at.unwrap_or(at);
        let raised_until = later(at, link.raise()).max(held_until);
        let confirmed_until = later(at, link.run_on).max(held_until);
        let verdict = match self.runs.get_mut(&key) {
            Some(run) if run.is_active() => {
                let before = run.stage;
                let until = match before {
                    Stage::Raised if !pulse.confirmed && !target.walkway => return Verdict::Unconfirmed,
                    Stage::Raised if !pulse.confirmed => raised_until,
                    _ => {
                        run.stage = Stage::Confirmed;
                        confirmed_until
                    }
                };
                if until > run.until || run.stage != before {
                    run.until = run.until.max(until);
                    let (link, to) = (pulse.id.clone(), to.clone());
                    effects.push(Effect::Extend { link, to, until: run.until, stage: run.stage });
                }
                if run.stage == before { Verdict::Extended } else { Verdict::Begun }
            }
            Some(run) if at < later(run.until, link.dead_time) => return Verdict::DeadTime,
            _ => {
                let (until, stage, verdict) = match (pulse.confirmed, target.walkway) {
                    _ if link.lit_only && !target.lit => return Verdict::Unlit,
                    (true, _) => (confirmed_until, Stage::Confirmed, Verdict::Begun),
                    (false, true) => (raised_until, Stage::Raised, Verdict::Raised),
                    (false, false) => return Verdict::Unconfirmed,
                };
                let run = Run { link: key.0.clone(), to: to.clone(), since: at, until, stage };
                self.runs.insert(key.clone(), run);
                let look = Arc::clone(&link.look);
                effects.push(Effect::Begin { link: pulse.id.clone(), to: to.clone(), look, since: at, until, stage });
                verdict
            }
        };
        if pulse.calm_at.is_some() && self.guard(sensor, pulse.event, key, Guard::Held) {
            effects.push(Effect::HeldOn { link: pulse.id.clone(), to: to.clone(), sensor: sensor.clone(), at });
        }
        verdict
    }

    /// Notes what the storm guard does; true when that is news.
    pub(super) fn guard(
        &mut self,
        sensor: &FixtureId,
        event: &Arc<str>,
        key: (LinkId, FixtureId),
        guard: Guard,
    ) -> bool {
        let storm = self.sensors.get_mut(sensor).and_then(|sensor| sensor.events.get_mut(event)?.storm.as_mut());
        storm.is_some_and(|guards| guards.insert(key, guard) != Some(guard))
    }

    fn calm_at(&self, sensor: &FixtureId, event: &str) -> Option<Timestamp> {
        self.sensors.get(sensor)?.events.get(event)?.calm_at()
    }

    /// The storm of an event is over.
    fn calm(&mut self, sensor: &FixtureId, event: &Arc<str>, at: Timestamp, effects: &mut Vec<Effect>) {
        self.storms.remove(&(sensor.clone(), Arc::clone(event)));
        let pulses = self.sensors.get_mut(sensor).and_then(|sensor| sensor.events.get_mut(event));
        for ((link, to), _) in pulses.and_then(|pulses| pulses.storm.take()).into_iter().flatten() {
            effects.push(Effect::Released { link, to, sensor: sensor.clone(), at });
        }
    }

    /// Lets go of some, while the storm goes on.
    fn release(
        &mut self,
        which: impl Fn(&(LinkId, FixtureId), Guard) -> bool,
        at: Timestamp,
        effects: &mut Vec<Effect>,
    ) {
        for (sensor, event) in &self.storms {
            let storm = self.sensors.get_mut(sensor).and_then(|sensor| sensor.events.get_mut(event)?.storm.as_mut());
            let Some(guards) = storm else { continue };
            guards.retain(|key, guard| {
                let released = which(key, *guard);
                if released {
                    let (link, to) = key.clone();
                    effects.push(Effect::Released { link, to, sensor: sensor.clone(), at });
                }
                !released
            });
        }
    }

    /// Forgets the pulses of events that no link that is switched on listens to any more.
    fn forget_unheard(&mut self) {
        let heard: BTreeSet<_> =
            self.links.values().filter(|link| link.enabled).map(|link| Arc::clone(&link.event)).collect();
        for sensor in self.sensors.values_mut() {
            sensor.events.retain(|event, _| heard.contains(event));
        }
        self.storms.retain(|(_, event)| heard.contains(event));
    }

    /// Comes to an instant: ends what is due, lets go of storms that have calmed, sets everything back with the clock.
    pub(super) fn advance(&mut self, now: Timestamp) -> Vec<Effect> {
        let mut effects = Vec::new();
        if let Some(before) = self.now
            && now < before
        {
            self.shift(now.duration_since(before), &mut effects);
        }
        self.now = Some(now);
        // in the order of time, so that it does not matter how often someone ticks; a storm calms before a run ends
        while let Some(due) = self.next_deadline().filter(|due| *due <= now) {
            for (sensor, event) in self.storms.clone() {
                if self.calm_at(&sensor, &event).is_none_or(|calm| calm <= due) {
                    self.calm(&sensor, &event, due, &mut effects);
                }
            }
            let ending: Vec<_> = self
                .runs
                .iter()
                .filter(|(_, run)| run.is_active() && run.until <= due)
                .map(|(key, _)| key.clone())
                .collect();
            for key in ending {
                // what was held on ends all the same once its link's window is shut
                self.release(|of, guard| *of == key && guard == Guard::Held, due, &mut effects);
                if let Some(run) = self.runs.get_mut(&key) {
                    effects.push(end(run, due));
                    rest(run, due);
                }
            }
        }
        self.forget_rested(now);
        effects
    }

    fn forget_rested(&mut self, now: Timestamp) {
        let links = &self.links;
        self.runs.retain(|_, run| {
            let dead_time = links.get(&run.link).map_or(SignedDuration::ZERO, |link| link.dead_time);
            run.is_active() || now < later(run.until, dead_time)
        });
    }

    fn shift(&mut self, by: SignedDuration, effects: &mut Vec<Effect>) {
        for sensor in self.sensors.values_mut() {
            sensor.shift(by);
        }
        for run in self.runs.values_mut() {
            run.since = later(run.since, by);
            run.until = later(run.until, by);
            if run.is_active() {
                let (link, to) = (run.link.clone(), run.to.clone());
                effects.push(Effect::Changed { link, to, since: run.since, until: run.until });
            }
        }
    }
}

pub(super) fn end(run: &Run, at: Timestamp) -> Effect {
    Effect::End { link: run.link.clone(), to: run.to.clone(), at }
}

/// A run that is over. A raise leaves no dead time: it is as if its end were long ago.
fn rest(run: &mut Run, at: Timestamp) {
    run.until = if run.stage == Stage::Confirmed { at } else { Timestamp::MIN };
    run.stage = Stage::Resting;
}
