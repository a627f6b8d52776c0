//! Random links and random streams of what happens to them, and a player that keeps the minutes.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use kernel::FixtureId;
use kernel::links::{Effect, Happened, Happening, Heard, Link, LinkId, Links, Outcome};
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::rig::{fixture, in_house, link, link_id, millis, start};

pub(crate) const SENSORS: [&str; 2] = ["door", "hall"];

/// How an event is numbered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Number {
    Next,
    Repeated,
    Older,
}

/// Something that happens, so many milliseconds after what was before it.
#[derive(Debug, Clone)]
pub(crate) enum Step {
    Event {
        sensor: usize,
        event: &'static str,
        number: Number,
        wait: i64,
    },
    Boot {
        sensor: usize,
        wait: i64,
    },
    Tick {
        wait: i64,
    },
    /// The clock is set back.
    Back {
        by: i64,
    },
    Put {
        index: usize,
        link: Box<Link>,
    },
    Remove {
        index: usize,
    },
    Depart {
        fixture: &'static str,
    },
}

/// Mostly as fast as a storm, sometimes so slow that everything has run out.
fn wait() -> impl Strategy<Value = i64> {
    prop_oneof![8 => 0_i64..6_000, 3 => 0_i64..30_000, 1 => 0_i64..200_000]
}

fn event() -> impl Strategy<Value = Step> {
    let number = prop_oneof![8 => Just(Number::Next), 1 => Just(Number::Repeated), 1 => Just(Number::Older)];
    let event = prop_oneof![9 => Just("motion"), 1 => Just("door-opened")];
    let sensor = prop_oneof![1 => Just(0_usize), 3 => Just(1_usize)];
    (sensor, event, number, wait()).prop_map(|(sensor, event, number, wait)| Step::Event {
        sensor,
        event,
        number,
        wait,
    })
}

/// What goes on by itself while the clock runs on.
fn forward() -> impl Strategy<Value = Step> {
    prop_oneof![
        24 => event(),
        2 => (0_usize..2, wait()).prop_map(|(sensor, wait)| Step::Boot { sensor, wait }),
        3 => wait().prop_map(|wait| Step::Tick { wait }),
    ]
}

pub(crate) fn steps() -> impl Strategy<Value = Vec<Step>> {
    prop::collection::vec(forward(), 0..90)
}

pub(crate) fn steps_with_a_clock_that_is_set_back() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![12 => forward(), 1 => (0_i64..100_000).prop_map(|by| Step::Back { by })];
    prop::collection::vec(step, 0..90)
}

pub(crate) fn steps_with_edits() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        20 => forward(),
        2 => (0_i64..100_000).prop_map(|by| Step::Back { by }),
        2 => (0_usize..3, a_link()).prop_map(|(index, link)| Step::Put { index, link: Box::new(link) }),
        1 => (0_usize..3).prop_map(|index| Step::Remove { index }),
        1 => prop::sample::select(vec!["stairs", "hall", "shelf"]).prop_map(|fixture| Step::Depart { fixture }),
    ];
    prop::collection::vec(step, 0..90)
}

pub(crate) fn a_link() -> impl Strategy<Value = Link> {
    let from =
        prop::sample::select(vec![json!({"fixture": "hall"}), json!({"group": "eyes"}), json!({"fixture": "door"})]);
    let to = prop::sample::select(vec![
        json!({"fixture": "shelf"}),
        json!({"fixture": "stairs"}),
        json!({"group": "lights"}),
        json!({"fixture": "cellar"}),
        json!({"fixture": "hall"}),
        json!({"group": "nobody"}),
    ]);
    let run_on = prop_oneof![1_i64..=10, 1_i64..=120];
    let dead_time = prop_oneof![Just(0_i64), 0_i64..100];
    let pulses = prop_oneof![2 => Just(1_u8), 3 => 2_u8..=5, 1 => Just(10_u8)];
    let within = prop_oneof![Just(0.1), Just(4.0), Just(10.0), Just(60.0)];
    let between = prop::option::weighted(0.3, Just(json!(["dusk", "23:30"])));
    let event = prop_oneof![9 => Just("motion"), 1 => Just("door-opened")];
    let flags = (prop::bool::weighted(0.2), prop::bool::weighted(0.9));
    (from, event, to, run_on, dead_time, pulses, within, between, flags).prop_map(
        |(from, event, to, run_on, dead_time, pulses, within, between, (lit_only, enabled))| {
            let mut over = json!({
                "from": from, "event": event, "to": to, "run_on": run_on, "dead_time": dead_time,
                "confirm": {"pulses": pulses, "within": within}, "lit_only": lit_only, "enabled": enabled
            });
            if let Some(between) = between {
                over["between"] = between;
            }
            link(over)
        },
    )
}

/// That link with some members laid over it.
pub(crate) fn a_link_with(over: Value) -> impl Strategy<Value = Link> {
    let fixed = link(over.clone());
    a_link().prop_map(move |mut made| {
        for member in over.as_object().unwrap().keys() {
            match member.as_str() {
                "to" => made.to = fixed.to.clone(),
                "between" => made.between = fixed.between,
                "dead_time" => made.dead_time = fixed.dead_time,
                "run_on" => made.run_on = fixed.run_on,
                "lit_only" => made.lit_only = fixed.lit_only,
                "enabled" => made.enabled = fixed.enabled,
                other => panic!("{other} is not laid over"),
            }
        }
        made
    })
}

pub(crate) fn some_links() -> impl Strategy<Value = Vec<Link>> {
    prop::collection::vec(a_link(), 1..4)
}

/// A line of the minutes.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// What the clock said.
    pub(crate) at: Timestamp,
    /// How much time the machine can have seen go by since the start: a clock that is set back stands still.
    pub(crate) elapsed: SignedDuration,
    /// The event that was heard, and whether it is one that counts.
    pub(crate) event: Option<(FixtureId, &'static str, bool)>,
    pub(crate) effects: Vec<Effect>,
    pub(crate) outcomes: Vec<Outcome>,
    pub(crate) happened: Option<Happened>,
}

impl Line {
    /// An instant of this line in time that has gone by.
    pub(crate) fn elapsed_at(&self, at: Timestamp) -> SignedDuration {
        self.elapsed + at.duration_since(self.at)
    }
}

/// Plays steps upon a machine.
#[derive(Clone)]
pub(crate) struct Player {
    pub(crate) links: Links,
    pub(crate) now: Timestamp,
    elapsed: SignedDuration,
    last: BTreeMap<usize, u64>,
}

impl Player {
    pub(crate) fn of(links: &[Link]) -> Self {
        let mut player =
            Self { links: Links::default(), now: start(), elapsed: SignedDuration::ZERO, last: BTreeMap::new() };
        for (id, link) in named(links) {
            in_house(|house| player.links.put(id, link, start(), house));
        }
        player
    }

    fn to(&mut self, wait: i64) -> Timestamp {
        self.now += millis(wait);
        self.elapsed += millis(wait.max(0));
        self.now
    }

    pub(crate) fn play(&mut self, step: &Step) -> Line {
        let mut line = Line {
            at: self.now,
            elapsed: self.elapsed,
            event: None,
            effects: Vec::new(),
            outcomes: Vec::new(),
            happened: None,
        };
        match step {
            Step::Event { sensor, event, number, wait } => {
                let at = self.to(*wait);
                let last = self.last.get(sensor).copied();
                let (n, counts) = match (number, last) {
                    (Number::Repeated, Some(last)) => (last, false),
                    (Number::Older, Some(last)) if last > 0 => (last - 1, false),
                    (_, last) => (last.map_or(1, |last| last + 1), true),
                };
                if counts {
                    self.last.insert(*sensor, n);
                }
                let from = fixture(SENSORS[*sensor]);
                let Heard { effects, outcomes } = in_house(|house| self.links.event(&from, event, n, at, house));
                line.happened =
                    Some(Happened { at, fixture: from.clone(), what: Happening::Event { event: (*event).into(), n } });
                (line.effects, line.outcomes, line.event) = (effects, outcomes, Some((from, *event, counts)));
            }
            Step::Boot { sensor, wait } => {
                let at = self.to(*wait);
                self.last.remove(sensor);
                let from = fixture(SENSORS[*sensor]);
                line.effects = self.links.booted(&from, at);
                line.happened = Some(Happened { at, fixture: from, what: Happening::Boot });
            }
            Step::Tick { wait } => {
                let at = self.to(*wait);
                line.effects = self.links.tick(at);
            }
            Step::Back { by } => {
                let at = self.to(-by);
                line.effects = self.links.tick(at);
            }
            Step::Put { index, link } => {
                line.effects = in_house(|house| self.links.put(name(*index), (**link).clone(), self.now, house));
            }
            Step::Remove { index } => line.effects = self.links.remove(&name(*index), self.now),
            Step::Depart { fixture: gone } => {
                line.effects = self.links.departed(&fixture(gone), self.now);
                if let Some(sensor) = SENSORS.iter().position(|sensor| sensor == gone) {
                    self.last.remove(&sensor);
                }
            }
        }
        (line.at, line.elapsed) = (self.now, self.elapsed);
        line
    }

    pub(crate) fn play_all(&mut self, steps: &[Step]) -> Vec<Line> {
        steps.iter().map(|step| self.play(step)).collect()
    }

    /// Ticks at every deadline until there is none.
    pub(crate) fn run_out(&mut self) -> Vec<Line> {
        let mut lines = Vec::new();
        while let Some(due) = self.links.next_deadline() {
            let wait = i64::try_from(due.duration_since(self.now).as_millis()).unwrap();
            lines.push(self.play(&Step::Tick { wait }));
        }
        lines
    }
}

pub(crate) fn name(index: usize) -> LinkId {
    link_id(["a", "b", "c"][index])
}

pub(crate) fn named(links: &[Link]) -> Vec<(LinkId, Link)> {
    links.iter().cloned().enumerate().map(|(index, link)| (name(index), link)).collect()
}

pub(crate) fn effects(lines: &[Line]) -> Vec<Effect> {
    lines.iter().flat_map(|line| line.effects.clone()).collect()
}
