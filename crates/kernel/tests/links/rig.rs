//! A small house to try links in: two sensors, four lights, a machine and a watch.

use document::Value;
use jiff::{SignedDuration, Timestamp};
use kernel::links::{Effect, Heard, House, Link, LinkId, Links, Outcome, Stage, Target, Verdict, Window};
use kernel::{FixtureId, GroupName};
use serde_json::json;

pub(crate) const NIGHT: &str = "2026-11-25T22:00:00Z";

pub(crate) fn start() -> Timestamp {
    NIGHT.parse().unwrap()
}

pub(crate) fn fixture(id: &str) -> FixtureId {
    id.parse().unwrap()
}

pub(crate) fn link_id(id: &str) -> LinkId {
    id.parse().unwrap()
}

pub(crate) fn millis(ms: i64) -> SignedDuration {
    SignedDuration::from_millis(ms)
}

pub(crate) fn seconds(s: f64) -> SignedDuration {
    SignedDuration::try_from_secs_f64(s).unwrap()
}

/// A link from the hall's sensor to the shelf, with what is given laid over it.
pub(crate) fn link(over: Value) -> Link {
    let mut document =
        json!({"from": {"fixture": "hall"}, "event": "motion", "to": {"fixture": "shelf"}, "look": "greet"});
    document.as_object_mut().unwrap().extend(over.as_object().unwrap().clone());
    Link::read(&document).unwrap().0
}

/// `eyes` are the sensors at the door and in the hall; `lights` are the shelf and the stairs; nobody is in any other.
pub(crate) fn members(group: &GroupName) -> Vec<FixtureId> {
    match group.as_str() {
        "eyes" => vec![fixture("door"), fixture("hall")],
        "lights" => vec![fixture("shelf"), fixture("stairs")],
        _ => Vec::new(),
    }
}

pub(crate) fn is_walkway(id: &FixtureId) -> bool {
    id.as_str() == "stairs"
}

/// The stairs are a walkway, nothing is lit in the cellar, and the attic has no looks.
pub(crate) fn target(id: &FixtureId, _: &Link) -> Target {
    Target { shows: id.as_str() != "attic", walkway: is_walkway(id), lit: id.as_str() != "cellar" }
}

/// Windows open for a minute and a half and are then shut for as long.
pub(crate) fn inside(_: &Window, at: Timestamp) -> bool {
    at.as_second().div_euclid(90) % 2 == 0
}

pub(crate) fn in_house<R>(ask: impl FnOnce(&House<'_>) -> R) -> R {
    let is_member = |id: &FixtureId, group: &GroupName| members(group).contains(id);
    ask(&House { is_member: &is_member, members: &members, target: &target, inside: &inside })
}

/// The machine with a watch in hand, for stories: seconds are counted from the start.
pub(crate) struct Story {
    pub(crate) links: Links,
    n: u64,
}

impl Story {
    pub(crate) fn of<const N: usize>(links: [(&str, Link); N]) -> Self {
        let mut story = Self { links: Links::default(), n: 0 };
        for (id, link) in links {
            assert_eq!(in_house(|house| story.links.put(link_id(id), link, start(), house)), []);
        }
        story
    }

    pub(crate) fn motion(&mut self, sensor: &str, at: f64) -> Heard {
        self.n += 1;
        self.event(sensor, "motion", self.n, at)
    }

    pub(crate) fn event(&mut self, sensor: &str, event: &str, n: u64, at: f64) -> Heard {
        in_house(|house| self.links.event(&fixture(sensor), event, n, start() + seconds(at), house))
    }

    pub(crate) fn tick(&mut self, at: f64) -> Vec<Effect> {
        self.links.tick(start() + seconds(at))
    }

    /// The links that run on a target, first to last begun.
    pub(crate) fn on(&self, target: &str, at: f64) -> Vec<String> {
        let running = self.links.running_on(&fixture(target), start() + seconds(at));
        running.iter().map(|run| run.link.to_string()).collect()
    }

    /// When what runs on a target ends, in seconds from the start.
    pub(crate) fn until(&self, target: &str, at: f64) -> Option<f64> {
        let running = self.links.running_on(&fixture(target), start() + seconds(at));
        running.last().map(|run| run.until.duration_since(start()).as_secs_f64())
    }
}

pub(crate) fn verdicts(heard: &Heard) -> Vec<Verdict> {
    heard.outcomes.iter().map(|Outcome { verdict, .. }| *verdict).collect()
}

/// An effect in a few words, times in seconds from the start.
pub(crate) fn told(effects: &[Effect]) -> Vec<String> {
    let s = |at: &Timestamp| at.duration_since(start()).as_secs_f64();
    let stage = |stage: &Stage| if *stage == Stage::Raised { " raised" } else { "" };
    let told = |effect: &Effect| match effect {
        Effect::Begin { to, until, stage: at, .. } => format!("begin {to} until {}{}", s(until), stage(at)),
        Effect::Extend { to, until, stage: at, .. } => format!("extend {to} until {}{}", s(until), stage(at)),
        Effect::Changed { to, since, until, .. } => format!("changed {to} {} until {}", s(since), s(until)),
        Effect::End { to, at, .. } => format!("end {to} at {}", s(at)),
        Effect::HeldOn { to, sensor, .. } => format!("hold {to} for {sensor}"),
        Effect::Muted { to, sensor, .. } => format!("mute {to} for {sensor}"),
        Effect::Released { to, sensor, at, .. } => format!("release {to} for {sensor} at {}", s(at)),
    };
    effects.iter().map(told).collect()
}
