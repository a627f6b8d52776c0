//! What holds for every stream of events, whatever the links and however the clock is set.

use std::collections::{BTreeMap, BTreeSet};

use jiff::SignedDuration;
use kernel::FixtureId;
use kernel::links::{Effect, Link, LinkId, STORM, STORM_SPAN, Stage, Verdict};
use proptest::prelude::*;
use serde_json::json;

use crate::rig::{fixture, in_house, inside, is_walkway, link, millis};
use crate::streams::{
    Line, Player, Step, a_link, a_link_with, effects, name, named, some_links, steps,
    steps_with_a_clock_that_is_set_back, steps_with_edits,
};

type Key = (LinkId, FixtureId);

fn key(effect: &Effect) -> Key {
    (effect.link().clone(), effect.to().clone())
}

fn minutes(links: &[Link], steps: &[Step]) -> Vec<Line> {
    let mut player = Player::of(links);
    let mut lines = player.play_all(steps);
    lines.extend(player.run_out());
    lines
}

fn links_of(links: &[Link]) -> BTreeMap<LinkId, Link> {
    named(links).into_iter().collect()
}

/// When the events of a sensor came that count, in time that had gone by.
fn pulses(lines: &[Line], sensor: &FixtureId, event: &str) -> Vec<SignedDuration> {
    let counts = |line: &&Line| matches!(&line.event, Some((from, name, true)) if from == sensor && *name == event);
    lines.iter().filter(counts).map(|line| line.elapsed).collect()
}

/// Between which times a sensor is in a storm, by a reckoning of its own.
fn storms(pulses: &[SignedDuration]) -> Vec<(SignedDuration, SignedDuration)> {
    let mut storms: Vec<(SignedDuration, SignedDuration)> = Vec::new();
    let mut until: Option<SignedDuration> = None;
    for (index, at) in pulses.iter().enumerate() {
        let so_far = &pulses[..=index];
        let calm = || so_far[so_far.len() - 1 - STORM / 2] + STORM_SPAN;
        if until.is_some_and(|until| *at < until) {
            until = Some(calm());
            storms.last_mut().unwrap().1 = calm();
        } else if so_far.iter().filter(|when| **when + STORM_SPAN >= *at).count() > STORM {
            until = Some(calm());
            storms.push((*at, calm()));
        } else {
            until = None;
        }
    }
    storms
}

proptest! {
    #[test]
    fn effects_tell_a_story_without_gaps(links in some_links(), steps in steps_with_edits()) {
        let mut player = Player::of(&links);
        let (mut active, mut guarded) = (BTreeMap::new(), BTreeSet::new());
        let mut lines: Vec<_> = Vec::new();
        for step in &steps {
            let line = player.play(step);
            prop_assert!(player.links.next_deadline().is_none_or(|due| due > line.at), "a deadline in the past");
            lines.push((line, player.clone()));
        }
        while let Some(due) = player.links.next_deadline() {
            let wait = i64::try_from(due.duration_since(player.now).as_millis()).unwrap();
            lines.push((player.play(&Step::Tick { wait }), player.clone()));
        }
        for (line, player) in &lines {
            for effect in &line.effects {
                match effect {
                    Effect::Begin { since, until, .. } => {
                        prop_assert!(*since == line.at && line.at < *until);
                        prop_assert!(active.insert(key(effect), *until).is_none(), "begun twice");
                    }
                    Effect::Extend { until, .. } => {
                        let before = active.insert(key(effect), *until);
                        prop_assert!(before.is_some_and(|before| before <= *until), "extended to an earlier end");
                    }
                    Effect::Changed { until, .. } => prop_assert!(active.insert(key(effect), *until).is_some()),
                    Effect::End { .. } => prop_assert!(active.remove(&key(effect)).is_some(), "ended twice"),
                    Effect::HeldOn { sensor, .. } => {
                        prop_assert!(active.contains_key(&key(effect)) && is_walkway(effect.to()));
                        prop_assert!(guarded.insert((key(effect), sensor.clone())));
                    }
                    Effect::Muted { sensor, .. } => {
                        prop_assert!(!is_walkway(effect.to()));
                        prop_assert!(guarded.insert((key(effect), sensor.clone())));
                    }
                    Effect::Released { sensor, .. } => {
                        prop_assert!(guarded.remove(&(key(effect), sensor.clone())));
                    }
                }
            }
            // what the effects have told is what is running
            for target in ["shelf", "stairs", "cellar", "hall", "attic"] {
                let running = player.links.running_on(&fixture(target), line.at);
                let told: BTreeMap<_, _> = active.iter().filter(|((_, to), _)| to.as_str() == target).collect();
                prop_assert_eq!(running.len(), told.len());
                prop_assert!(running.windows(2).all(|pair| (pair[0].since, &pair[0].link) < (pair[1].since, &pair[1].link)));
                for run in running {
                    prop_assert!(run.since <= line.at && line.at < run.until);
                    prop_assert_eq!(told.get(&(run.link, fixture(target))), Some(&&run.until));
                }
            }
        }
        prop_assert!(active.is_empty() && guarded.is_empty(), "left over: {:?} {:?}", active, guarded);
    }

    #[test]
    fn nothing_shows_without_the_pulses_that_confirm_it(
        links in some_links(), steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let (lines, links) = (minutes(&links, &steps), links_of(&links));
        let mut raised = BTreeSet::new();
        for (index, line) in lines.iter().enumerate() {
            for effect in &line.effects {
                let confirmed = match effect {
                    Effect::Begin { stage, .. } | Effect::Extend { stage, .. } => *stage == Stage::Confirmed,
                    Effect::End { .. } => {
                        raised.remove(&key(effect));
                        continue;
                    }
                    _ => continue,
                };
                let (sensor, event, counts) = line.event.as_ref().unwrap();
                prop_assert!(counts);
                let link = &links[effect.link()];
                let came = pulses(&lines[..=index], sensor, event);
                let enough = came.iter().filter(|at| **at + link.confirm.within >= line.elapsed).count()
                    >= usize::from(link.confirm.pulses);
                let begins = matches!(effect, Effect::Begin { .. });
                if confirmed && (begins || raised.remove(&key(effect))) {
                    prop_assert!(enough, "{:?} was not confirmed", effect);
                } else if !confirmed {
                    prop_assert!(!enough && is_walkway(effect.to()));
                    raised.insert(key(effect));
                }
            }
        }
    }

    #[test]
    fn on_a_walkway_every_pulse_lights_or_keeps_the_light(
        made in a_link_with(json!({"to": {"fixture": "stairs"}, "dead_time": 0, "lit_only": false, "enabled": true})),
        steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let mut player = Player::of(std::slice::from_ref(&made));
        for step in &steps {
            let line = player.play(step);
            for outcome in &line.outcomes {
                let shut = made.between.is_some_and(|window| !inside(&window, line.at));
                if line.event.as_ref().is_some_and(|(.., counts)| *counts) && !shut {
                    prop_assert!(outcome.verdict.is_counted(), "{:?}", outcome);
                    prop_assert!(!player.links.running_on(&fixture("stairs"), line.at + millis(999)).is_empty());
                }
            }
        }
    }

    #[test]
    fn nothing_begins_or_is_extended_outside_the_window(
        made in a_link_with(json!({"between": ["dusk", "23:30"]})), steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let window = made.between.unwrap();
        for line in minutes(&[made], &steps) {
            let open = inside(&window, line.at);
            for effect in &line.effects {
                let acts = matches!(effect, Effect::Begin { .. } | Effect::Extend { .. } | Effect::HeldOn { .. } | Effect::Muted { .. });
                prop_assert!(open || !acts, "{:?}", effect);
            }
            prop_assert!(open || line.outcomes.iter().all(|outcome| !outcome.verdict.is_counted()));
        }
    }

    #[test]
    fn a_run_ends_just_run_on_after_the_last_event_that_counted(
        links in some_links(), steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let (lines, links) = (minutes(&links, &steps), links_of(&links));
        let (mut counted, mut stages) = (BTreeMap::<Key, SignedDuration>::new(), BTreeMap::new());
        for line in &lines {
            let mut ended = Vec::new();
            for effect in &line.effects {
                match effect {
                    Effect::Begin { stage, .. } | Effect::Extend { stage, .. } => {
                        stages.insert(key(effect), *stage);
                    }
                    Effect::End { at, .. } => {
                        let link = &links[effect.link()];
                        let ran = line.elapsed_at(*at) - counted[&key(effect)];
                        let stage = stages.remove(&key(effect)).unwrap();
                        ended.push(key(effect));
                        let due = match stage {
                            Stage::Confirmed => link.run_on,
                            _ => link.run_on.min(link.confirm.within.max(SignedDuration::from_secs(5))),
                        };
                        if is_walkway(effect.to()) {
                            prop_assert!(due <= ran && ran <= due.max(STORM_SPAN), "{:?} not {:?}", ran, due);
                        } else {
                            prop_assert_eq!(ran, due);
                        }
                    }
                    _ => {}
                }
            }
            for outcome in line.outcomes.iter().filter(|outcome| outcome.verdict.is_counted()) {
                counted.insert((outcome.link.clone(), outcome.to.clone().unwrap()), line.elapsed);
            }
        }
    }

    #[test]
    fn nothing_begins_in_the_dead_time(links in some_links(), steps in steps_with_a_clock_that_is_set_back()) {
        let (lines, links) = (minutes(&links, &steps), links_of(&links));
        let (mut ended, mut stages) = (BTreeMap::new(), BTreeMap::new());
        let rests = |ended: &BTreeMap<Key, SignedDuration>, key: &Key, line: &Line| {
            ended.get(key).is_some_and(|end| line.elapsed < *end + links[&key.0].dead_time)
        };
        for line in &lines {
            for effect in &line.effects {
                match effect {
                    Effect::Begin { stage, .. } | Effect::Extend { stage, .. } => {
                        let begins = matches!(effect, Effect::Begin { .. });
                        prop_assert!(!begins || !rests(&ended, &key(effect), line), "{:?}", effect);
                        stages.insert(key(effect), *stage);
                    }
                    Effect::End { at, .. } if stages.remove(&key(effect)) == Some(Stage::Confirmed) => {
                        ended.insert(key(effect), line.elapsed_at(*at));
                    }
                    _ => {}
                }
            }
            // and nobody is turned away for it otherwise
            for outcome in line.outcomes.iter().filter(|outcome| outcome.verdict == Verdict::DeadTime) {
                prop_assert!(rests(&ended, &(outcome.link.clone(), outcome.to.clone().unwrap()), line));
            }
        }
    }

    #[test]
    fn the_storm_guard_sets_in_and_lets_go(
        made in a_link_with(json!({"enabled": true, "lit_only": false, "dead_time": 0})),
        steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let lines = minutes(std::slice::from_ref(&made), &steps);
        let storms: BTreeMap<_, _> =
            crate::streams::SENSORS.map(fixture).map(|id| (id.clone(), storms(&pulses(&lines, &id, &made.event)))).into();
        let in_storm = |sensor, at| storms[sensor].iter().any(|(from, to)| *from <= at && at < *to);
        for line in &lines {
            for outcome in &line.outcomes {
                let (sensor, ..) = line.event.as_ref().unwrap();
                let Some(to) = outcome.to.as_ref().filter(|_| outcome.verdict != Verdict::CannotShow) else { continue };
                // muted just while there is a storm, and a walkway never
                prop_assert_eq!(outcome.verdict == Verdict::Muted, in_storm(sensor, line.elapsed) && !is_walkway(to));
            }
            for effect in &line.effects {
                match effect {
                    Effect::HeldOn { sensor, .. } | Effect::Muted { sensor, .. } => {
                        prop_assert!(in_storm(sensor, line.elapsed));
                    }
                    // a walkway does not go out in a storm, unless its window is shut
                    Effect::Released { sensor, at, .. } => {
                        let over = storms[sensor].iter().any(|(_, to)| *to == line.elapsed_at(*at));
                        prop_assert!(over || (made.between.is_some() && is_walkway(effect.to())), "{:?}", effect);
                    }
                    _ => {}
                }
            }
        }
        // what was held or muted is let go of once for each time
        let (mut held, mut released) = (0, 0);
        for effect in effects(&lines) {
            match effect {
                Effect::HeldOn { .. } | Effect::Muted { .. } => held += 1,
                Effect::Released { .. } => released += 1,
                _ => {}
            }
        }
        prop_assert_eq!(held, released);
    }

    #[test]
    fn duplicates_and_latecomers_change_nothing(links in some_links(), steps in steps_with_a_clock_that_is_set_back()) {
        let lines = minutes(&links, &steps);
        let without: Vec<_> = steps
            .iter()
            .zip(&lines)
            .map(|(step, line)| match (step, &line.event) {
                (Step::Event { wait, .. }, Some((.., false))) => Step::Tick { wait: *wait },
                _ => step.clone(),
            })
            .collect();
        prop_assert_eq!(effects(&minutes(&links, &without)), effects(&lines));
        for line in &lines {
            let refused = [Verdict::Duplicate, Verdict::OutOfOrder, Verdict::Disabled];
            if let Some((.., counts)) = line.event {
                for outcome in &line.outcomes {
                    let uncounted = [Verdict::Duplicate, Verdict::OutOfOrder].contains(&outcome.verdict);
                    let right = if counts { !uncounted } else { refused.contains(&outcome.verdict) };
                    prop_assert!(right);
                }
            }
        }
    }

    #[test]
    fn what_is_delivered_again_after_a_boot_does_not_count_twice(first in 1_u64..500, sent in 1_u64..12, again in 1_u64..12) {
        let mut player = Player::of(&[link(json!({}))]);
        let hall = fixture("hall");
        let mut hear = |n, at| in_house(|house| player.links.event(&hall, "motion", n, crate::rig::start() + millis(at), house)).outcomes[0].verdict;
        for n in first..first + sent {
            hear(n, 0);
        }
        player.links.booted(&hall, crate::rig::start() + millis(1));
        // the last few, in order, as a broker delivers what was not acknowledged
        let mut hear = |n| in_house(|house| player.links.event(&hall, "motion", n, crate::rig::start() + millis(2), house)).outcomes[0].verdict;
        for n in first + sent - again.min(sent)..first + sent {
            if n > 1 && first > 1 {
                prop_assert_eq!(hear(n), Verdict::Duplicate);
            }
        }
        // and then the counter's own, from its beginning
        for n in 0..20 {
            prop_assert!(![Verdict::Duplicate, Verdict::OutOfOrder].contains(&hear(n)), "{}", n);
        }
    }

    #[test]
    fn nothing_comes_of_a_link_that_is_switched_off(links in some_links(), before in steps(), after in steps_with_a_clock_that_is_set_back()) {
        let mut player = Player::of(&links);
        player.play_all(&before);
        for (index, made) in links.iter().enumerate() {
            player.play(&Step::Put { index, link: Box::new(Link { enabled: false, ..made.clone() }) });
        }
        prop_assert_eq!(player.links.next_deadline(), None);
        for line in player.play_all(&after) {
            prop_assert_eq!(&line.effects, &[]);
            prop_assert!(line.outcomes.iter().all(|outcome| outcome.verdict == Verdict::Disabled));
        }
    }

    #[test]
    fn it_does_not_matter_how_often_someone_ticks(links in some_links(), steps in steps(), parts in 1_i64..5) {
        let ticked: Vec<_> = steps
            .iter()
            .flat_map(|step| {
                let mut step = step.clone();
                let (Step::Event { wait, .. } | Step::Boot { wait, .. } | Step::Tick { wait }) = &mut step else {
                    return vec![step];
                };
                let part = *wait / parts;
                *wait -= part * (parts - 1);
                let mut steps = vec![Step::Tick { wait: part }; usize::try_from(parts - 1).unwrap()];
                steps.push(step);
                steps
            })
            .collect();
        prop_assert_eq!(effects(&minutes(&links, &ticked)), effects(&minutes(&links, &steps)));
    }

    #[test]
    fn a_clock_that_is_set_back_moves_everything_and_changes_nothing_else(
        links in prop::collection::vec(a_link(), 1..4), before in steps(), after in steps(), by in 1_i64..10_000_000,
    ) {
        let links: Vec<_> = links.into_iter().map(|link| Link { between: None, ..link }).collect();
        let mut still = Player::of(&links);
        still.play_all(&before);
        let mut moved = still.clone();
        moved.play(&Step::Back { by });
        let mut still_lines = still.play_all(&after);
        still_lines.extend(still.run_out());
        let mut moved_lines = moved.play_all(&after);
        moved_lines.extend(moved.run_out());
        let moved_back: Vec<_> = effects(&still_lines).into_iter().map(|effect| earlier(effect, by)).collect();
        prop_assert_eq!(effects(&moved_lines), moved_back);
    }

    #[test]
    fn an_edit_never_makes_a_run_longer_than_its_new_run_on(links in some_links(), steps in steps(), edited in a_link()) {
        let mut player = Player::of(&links);
        player.play_all(&steps);
        player.play(&Step::Put { index: 0, link: Box::new(edited.clone()) });
        for run in player.links.runs().into_iter().filter(|run| run.link == name(0) && run.is_active()) {
            prop_assert!(edited.enabled && run.until <= player.now + edited.run_on);
        }
    }
}

/// The effect, had the clock said so much less.
fn earlier(mut effect: Effect, by: i64) -> Effect {
    match &mut effect {
        Effect::Begin { since, until, .. } | Effect::Changed { since, until, .. } => {
            *since -= millis(by);
            *until -= millis(by);
        }
        Effect::Extend { until: at, .. }
        | Effect::End { at, .. }
        | Effect::HeldOn { at, .. }
        | Effect::Muted { at, .. }
        | Effect::Released { at, .. } => *at -= millis(by),
    }
    effect
}

#[test]
fn the_streams_reach_every_verdict_and_effect() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut verdicts, mut kinds) = (BTreeSet::new(), BTreeSet::new());
    for _ in 0..400 {
        let links = some_links().new_tree(&mut runner).unwrap().current();
        let steps = steps_with_a_clock_that_is_set_back().new_tree(&mut runner).unwrap().current();
        for line in minutes(&links, &steps) {
            verdicts.extend(line.outcomes.iter().map(|outcome| outcome.verdict));
            kinds.extend(line.effects.iter().map(|effect| match effect {
                Effect::Begin { .. } => "begin",
                Effect::Extend { .. } => "extend",
                Effect::Changed { .. } => "changed",
                Effect::End { .. } => "end",
                Effect::HeldOn { .. } => "held",
                Effect::Muted { .. } => "muted",
                Effect::Released { .. } => "released",
            }));
        }
    }
    assert_eq!((verdicts.len(), kinds.len()), (12, 7), "{verdicts:?} {kinds:?}");
}
