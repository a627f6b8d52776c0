//! A daemon that stops and starts, and the dry run over what was recorded.

use std::collections::BTreeMap;

use jiff::Timestamp;
use kernel::links::{Effect, Happened, Happening, Link, Links, Remembered, Run, Stage, Verdict, replay};
use proptest::prelude::*;
use serde_json::json;

use crate::rig::{fixture, in_house, link, link_id, millis, seconds, start, told, verdicts};
use crate::streams::{
    Line, Player, a_link, effects, name, named, some_links, steps, steps_with_a_clock_that_is_set_back,
};

/// The machine after a stop and a start, with its runs written and read.
fn restarted(player: &Player, links: &[Link], recent: Vec<Happened>) -> (Links, Vec<Effect>) {
    let written = serde_json::to_string(&player.links.runs()).unwrap();
    let runs: Vec<Run> = serde_json::from_str(&written).unwrap();
    let remembered = Remembered { runs, counters: Vec::new(), recent };
    in_house(|house| Links::restored(named(links), remembered, player.now, house))
}

fn happened(lines: &[Line]) -> Vec<Happened> {
    lines.iter().filter_map(|line| line.happened.clone()).collect()
}

proptest! {
    #[test]
    fn a_restart_in_the_middle_changes_nothing(links in some_links(), before in steps(), after in steps()) {
        let mut player = Player::of(&links);
        let lines = player.play_all(&before);
        let mut anew = player.clone();
        let (links, at_start) = restarted(&player, &links, happened(&lines));
        anew.links = links;
        // what calmed just before is told again at most
        prop_assert!(at_start.iter().all(|effect| matches!(effect, Effect::Released { .. })), "{:?}", at_start);
        let mut expected = player.play_all(&after);
        expected.extend(player.run_out());
        let mut found = anew.play_all(&after);
        found.extend(anew.run_out());
        prop_assert_eq!(effects(&found), effects(&expected));
        prop_assert_eq!(
            found.into_iter().flat_map(|line| line.outcomes).collect::<Vec<_>>(),
            expected.into_iter().flat_map(|line| line.outcomes).collect::<Vec<_>>()
        );
    }

    #[test]
    fn a_restart_keeps_what_runs_and_what_rests(
        links in some_links(), steps in steps_with_a_clock_that_is_set_back(), remembers in any::<bool>(),
    ) {
        let mut player = Player::of(&links);
        let lines = player.play_all(&steps);
        let recent = if remembers { happened(&lines) } else { Vec::new() };
        prop_assert_eq!(restarted(&player, &links, recent).0.runs(), player.links.runs());
    }

    #[test]
    fn a_dry_run_tells_what_the_live_run_did(made in a_link(), steps in steps()) {
        let mut player = Player::of(std::slice::from_ref(&made));
        let mut lines = player.play_all(&steps);
        lines.extend(player.run_out());
        let replay = in_house(|house| replay(&name(0), &made, happened(&lines), house));
        // the stretches of all targets together
        let (mut open, mut stretches) = (BTreeMap::new(), Vec::new());
        for effect in effects(&lines) {
            match effect {
                Effect::Begin { to, since, stage, .. } => {
                    open.insert(to, (since, stage == Stage::Confirmed));
                }
                Effect::Extend { to, stage, .. } => open.get_mut(&to).unwrap().1 |= stage == Stage::Confirmed,
                Effect::End { to, at, .. } => {
                    let (since, confirmed) = open.remove(&to).unwrap();
                    stretches.push((since, at, confirmed));
                }
                _ => {}
            }
        }
        stretches.sort();
        let mut firings: Vec<(Timestamp, Timestamp, bool)> = Vec::new();
        for (since, until, confirmed) in stretches {
            match firings.last_mut() {
                Some(last) if since < last.1 => *last = (last.0, last.1.max(until), last.2 || confirmed),
                _ => firings.push((since, until, confirmed)),
            }
        }
        let found: Vec<_> = replay.firings.iter().map(|firing| (firing.begin, firing.end, firing.confirmed)).collect();
        prop_assert_eq!(found, firings);
        // what each event led to, and how many counted for which stretch
        let mut counts = BTreeMap::new();
        for line in &lines {
            if let Some(most) = line.outcomes.iter().map(|outcome| outcome.verdict).max() {
                *counts.entry(most).or_insert(0) += 1;
            }
        }
        prop_assert_eq!(&replay.counts, &counts);
        for firing in &replay.firings {
            let counted = lines.iter().filter(|line| {
                firing.begin <= line.at
                    && line.at < firing.end
                    && line.outcomes.iter().any(|outcome| outcome.verdict.is_counted())
            });
            prop_assert_eq!(counted.count() as u64, firing.pulses);
        }
    }

    #[test]
    fn a_dry_run_over_a_clock_that_was_set_back_comes_to_an_end(
        made in a_link(), steps in steps_with_a_clock_that_is_set_back(),
    ) {
        let lines = Player::of(std::slice::from_ref(&made)).play_all(&steps);
        let replay = in_house(|house| replay(&name(0), &made, happened(&lines), house));
        prop_assert!(replay.firings.iter().all(|firing| firing.begin < firing.end && firing.pulses > 0));
        let heard = lines.iter().filter(|line| !line.outcomes.is_empty()).count() as u64;
        prop_assert_eq!(replay.counts.values().sum::<u64>(), heard);
    }
}

fn remembered(runs: Vec<Run>) -> Remembered {
    Remembered { runs, ..Remembered::default() }
}

fn run(link: &str, to: &str, since: f64, until: f64, stage: Stage) -> Run {
    Run {
        link: link_id(link),
        to: fixture(to),
        since: start() + seconds(since),
        until: start() + seconds(until),
        stage,
    }
}

#[test]
fn what_ran_out_while_nothing_was_running_ends_at_the_start() {
    let links = vec![(link_id("a"), link(json!({"to": {"group": "lights"}, "dead_time": 100})))];
    let runs = vec![run("a", "shelf", 0.0, 60.0, Stage::Confirmed), run("a", "stairs", 0.0, 90.0, Stage::Confirmed)];
    let (mut links, effects) =
        in_house(|house| Links::restored(links, remembered(runs), start() + seconds(70.0), house));
    assert_eq!(told(&effects), ["end shelf at 60"]);
    assert_eq!(links.next_deadline(), Some(start() + seconds(90.0)));
    // and its dead time is kept from its end
    let mut hear =
        |n, at| verdicts(&in_house(|house| links.event(&fixture("hall"), "motion", n, start() + seconds(at), house)));
    assert_eq!(hear(1, 159.0), [Verdict::DeadTime, Verdict::DeadTime]);
    assert_eq!(hear(2, 160.0), [Verdict::Begun, Verdict::DeadTime]);
}

#[test]
fn what_belongs_to_nothing_any_more_ends_at_the_start() {
    let links = vec![
        (link_id("off"), link(json!({"enabled": false}))),
        (link_id("moved"), link(json!({"to": {"fixture": "cellar"}}))),
    ];
    let of = |id| run(id, "shelf", 0.0, 60.0, Stage::Confirmed);
    let runs = vec![of("gone"), of("moved"), of("off"), run("gone", "hall", 0.0, 5.0, Stage::Resting)];
    let (links, effects) = in_house(|house| Links::restored(links, remembered(runs), start() + seconds(10.0), house));
    assert_eq!(told(&effects), ["end shelf at 10"; 3]);
    assert_eq!((links.runs(), links.next_deadline()), (vec![], None));
}

#[test]
fn a_clock_set_back_during_the_stop_lets_nothing_run_for_hours() {
    let links = vec![(link_id("a"), link(json!({"run_on": 90})))];
    let runs = vec![run("a", "shelf", 9000.0, 9090.0, Stage::Confirmed)];
    let (links, effects) = in_house(|house| Links::restored(links, remembered(runs), start(), house));
    assert_eq!(told(&effects), [""; 0]);
    assert_eq!(links.runs(), [run("a", "shelf", 0.0, 90.0, Stage::Confirmed)]);
}

#[test]
fn the_counter_is_known_again_after_a_start() {
    let links = vec![(link_id("a"), link(json!({})))];
    let counters = vec![(fixture("hall"), 17)];
    let remembered = Remembered { counters, ..Remembered::default() };
    let (mut links, _) = in_house(|house| Links::restored(links, remembered, start(), house));
    let mut hear = |n| verdicts(&in_house(|house| links.event(&fixture("hall"), "motion", n, start(), house)));
    assert_eq!(hear(17), [Verdict::Duplicate]);
    assert_eq!(hear(16), [Verdict::OutOfOrder]);
    assert_eq!(hear(18), [Verdict::Begun]);
}

#[test]
fn a_dry_run_shows_what_confirmation_would_have_spared() {
    // last night: three false pulses far apart, and one guest
    let at = |seconds: i64| start() + millis(seconds * 1000);
    let events: Vec<_> = [0, 600, 1800, 3000, 3005, 3010]
        .into_iter()
        .zip(1..)
        .map(|(s, n)| Happened {
            at: at(s),
            fixture: fixture("hall"),
            what: Happening::Event { event: "motion".into(), n },
        })
        .collect();
    let run = |over| in_house(|house| replay(&link_id("a"), &link(over), events.clone(), house));
    assert_eq!(run(json!({})).firings.len(), 4);
    let confirmed = run(json!({"confirm": {"pulses": 2, "within": 10}}));
    assert_eq!(confirmed.firings.len(), 1);
    let firing = &confirmed.firings[0];
    assert_eq!((firing.begin, firing.end, firing.pulses), (at(3005), at(3070), 2));
    assert_eq!(
        serde_json::to_value(&confirmed).unwrap(),
        json!({
            "firings": [{"begin": "2026-11-25T22:50:05Z", "end": "2026-11-25T22:51:10Z", "pulses": 2, "confirmed": true}],
            "counts": {"unconfirmed": 4, "begun": 1, "extended": 1},
            "storms": 0
        })
    );
    assert_eq!(run(json!({"event": "door-opened"})), kernel::links::Replay::default());
}

#[test]
fn a_storm_of_the_past_is_told_once() {
    let events: Vec<_> = (1..40)
        .map(|n| Happened {
            at: start() + millis(i64::try_from(n).unwrap() * 1000),
            fixture: fixture("hall"),
            what: Happening::Event { event: "motion".into(), n },
        })
        .collect();
    let told = in_house(|house| replay(&link_id("a"), &link(json!({"to": {"group": "lights"}})), events, house));
    assert_eq!((told.storms, told.firings.len()), (1, 1));
    assert_eq!(told.firings[0].end, start() + seconds(99.0));
}
