//! The laws that hold for every plan and instant: agenda, deadline and showing agree.

use almanac::{Override, Plan, Until, agenda, next_deadline, showing};
use jiff::{SignedDuration, Timestamp};
use proptest::prelude::*;

/// Instants within a few seconds of each other, in steps of half a second, so that plans' ends,
/// edits and questions fall on one another often.
fn instant() -> impl Strategy<Value = Timestamp> {
    (0_i64..40)
        .prop_map(|halves| Timestamp::from_second(1_764_060_000).unwrap() + SignedDuration::from_millis(halves * 500))
}

fn until() -> impl Strategy<Value = Until> {
    prop_oneof![
        3 => instant().prop_map(Until::At),
        1 => Just(Until::NextChange),
        1 => Just(Until::Released),
    ]
}

fn plan() -> impl Strategy<Value = Plan> {
    let name = prop_oneof![Just("evening".to_owned()), Just("greet".to_owned()), Just("dark".to_owned())];
    let held = (name.clone(), until()).prop_map(|(look, until)| Override { look, until });
    (prop::bool::weighted(0.8), prop::option::of(name), prop::option::of(held))
        .prop_map(|(lit, default, owners_override)| Plan { lit, default, owners_override, ..Plan::default() })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn the_change_that_covers_an_instant_is_what_shows_then(
        plan in plan(), edited_at in instant(), from in instant(), to in instant(), now in instant()
    ) {
        let changes = agenda(&plan, edited_at, from, to);
        prop_assert!(!changes.is_empty());
        if now < from || (now >= to && now != from) {
            return Ok(());
        }
        let covering = changes.iter().rev().find(|change| change.at <= now).unwrap();
        let shown = showing(&plan, edited_at, now);
        prop_assert_eq!(&covering.look, &shown.look);
        prop_assert_eq!(covering.because, shown.because);
        prop_assert_eq!(covering.until, shown.until);
        if from >= edited_at {
            prop_assert_eq!(Some(covering.at), shown.since);
        }
    }

    #[test]
    fn an_agenda_is_in_order_without_a_gap(plan in plan(), edited_at in instant(), from in instant(), to in instant()) {
        let changes = agenda(&plan, edited_at, from, to);
        prop_assert!(changes[0].at <= from);
        for pair in changes.windows(2) {
            prop_assert!(pair[0].at < pair[1].at);
            prop_assert!(pair[1].at > from && pair[1].at < to);
            prop_assert_eq!(pair[0].until, Some(pair[1].at));
        }
        // Nothing is foreseen after the last change within the time asked for.
        let last = changes.last().unwrap();
        prop_assert!(last.until.is_none_or(|end| end >= to));
    }

    #[test]
    fn since_and_until_enclose_the_instant_and_nothing_changes_between(
        plan in plan(), edited_at in instant(), now in instant(), other in instant()
    ) {
        let shown = showing(&plan, edited_at, now);
        prop_assert!(shown.since.is_none_or(|since| since <= now));
        prop_assert!(shown.until.is_none_or(|until| until > now));
        let between = shown.since.is_some_and(|since| since <= other) && shown.until.is_none_or(|until| other < until);
        if between {
            prop_assert_eq!(showing(&plan, edited_at, other), shown);
        }
    }

    #[test]
    fn nothing_changes_before_the_deadline(plan in plan(), edited_at in instant(), now in instant(), later in instant()) {
        let deadline = next_deadline(&plan, now);
        prop_assert!(deadline.is_none_or(|deadline| deadline > now));
        let shown = showing(&plan, edited_at, now);
        if let Some(until) = shown.until {
            prop_assert_eq!(deadline, Some(until));
        }
        if later >= now && deadline.is_none_or(|deadline| later < deadline) {
            let then = showing(&plan, edited_at, later);
            prop_assert_eq!((then.look, then.because), (shown.look, shown.because));
            prop_assert_eq!(plan.override_at(later), plan.override_at(now));
        }
    }

    #[test]
    fn what_is_not_lit_is_always_dark(plan in plan(), edited_at in instant(), now in instant()) {
        let unlit = Plan { lit: false, ..plan };
        prop_assert_eq!(showing(&unlit, edited_at, now).look, "dark");
    }
}
