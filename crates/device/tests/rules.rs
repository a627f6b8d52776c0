//! The rules of a fixture, as laws over any sequence of messages and as the single cases of the contract.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use device::{Clock, Firmware, Keeper, PatchTaking, Pause, Taking, next_change, step, step_without_clock};
use proptest::prelude::*;

const NOW: u64 = 1_764_060_000_000;

/// Anything that can happen to a controller with its power on.
#[derive(Debug, Clone, Copy)]
enum Happening {
    Desired { rev: u64, now_ms: u64, retained: bool },
    Showing { rev: u64, now_ms: u64, retained: bool },
    Patch { from: u64, rev: u64 },
    BootSent(u32),
    AskSent(u32),
    Reconnected,
}

fn happen(keeper: &mut Keeper, happening: Happening, uptime: u64) {
    match happening {
        Happening::Desired { rev, now_ms, retained } => {
            keeper.on_desired(rev, now_ms, retained);
        }
        Happening::Showing { rev, now_ms, retained } => {
            keeper.on_showing(rev, now_ms, retained);
        }
        Happening::Patch { from, rev } => {
            keeper.on_patch(from, rev, uptime);
        }
        Happening::BootSent(random) if keeper.boot_message_due() => keeper.boot_sent(uptime, random),
        Happening::AskSent(random) if keeper.ask_due(uptime) => keeper.ask_sent(uptime, random),
        Happening::BootSent(_) | Happening::AskSent(_) => {}
        Happening::Reconnected => keeper.reconnected(uptime),
    }
}

fn firmware() -> impl Strategy<Value = Firmware> {
    prop_oneof![Just(Firmware::Showing), Just(Firmware::Agenda), Just(Firmware::Patch)]
}

fn rev() -> impl Strategy<Value = u64> {
    prop_oneof![9 => 0_u64..12, 1 => Just(u64::MAX)]
}

fn happening() -> impl Strategy<Value = Happening> {
    prop_oneof![
        (rev(), 0_u64..6, any::<bool>()).prop_map(|(rev, now_ms, retained)| Happening::Desired {
            rev,
            now_ms,
            retained
        }),
        (rev(), 0_u64..6, any::<bool>()).prop_map(|(rev, now_ms, retained)| Happening::Showing {
            rev,
            now_ms,
            retained
        }),
        (rev(), rev()).prop_map(|(from, rev)| Happening::Patch { from, rev }),
        any::<u32>().prop_map(Happening::BootSent),
        any::<u32>().prop_map(Happening::AskSent),
        Just(Happening::Reconnected),
    ]
}

proptest! {
    #[test]
    fn the_revision_held_never_goes_backwards_except_at_power_on(
        firmware in firmware(),
        happenings in prop::collection::vec(happening(), 0..60),
    ) {
        let mut keeper = Keeper::new(firmware);
        let mut held = 0;
        for (uptime, happening) in (0_u64..).step_by(400).zip(happenings) {
            happen(&mut keeper, happening, uptime);
            prop_assert!(keeper.have() >= held, "{happening:?}");
            held = keeper.have();
        }
        keeper.power_on();
        prop_assert_eq!(keeper, Keeper::new(firmware));
        prop_assert_eq!(keeper.have(), 0);
        prop_assert!(keeper.boot_message_due());
    }

    #[test]
    fn a_message_heard_twice_changes_nothing_the_second_time(
        firmware in firmware(),
        before in prop::collection::vec(happening(), 0..40),
        message in happening(),
    ) {
        let mut keeper = Keeper::new(firmware);
        for (uptime, happening) in (0_u64..).step_by(400).zip(before) {
            happen(&mut keeper, happening, uptime);
        }
        let uptime = 1_000_000;
        match message {
            Happening::Desired { rev, now_ms, retained } => {
                keeper.on_desired(rev, now_ms, retained);
                let once = keeper;
                let again = keeper.on_desired(rev, now_ms, retained);
                prop_assert!(matches!(again, Taking::Again | Taking::Ignore), "{again:?}");
                prop_assert_eq!(keeper, once);
            }
            Happening::Showing { rev, now_ms, retained } => {
                keeper.on_showing(rev, now_ms, retained);
                let once = keeper;
                let again = keeper.on_showing(rev, now_ms, retained);
                prop_assert!(matches!(again, Taking::Again | Taking::Ignore), "{again:?}");
                prop_assert_eq!(keeper, once);
            }
            Happening::Patch { from, rev } => {
                keeper.on_patch(from, rev, uptime);
                let once = keeper;
                prop_assert_ne!(keeper.on_patch(from, rev, uptime), PatchTaking::Apply);
                prop_assert_eq!(keeper, once);
            }
            Happening::BootSent(_) | Happening::AskSent(_) | Happening::Reconnected => {}
        }
    }

    #[test]
    fn a_patch_is_applied_only_to_the_very_revision_that_it_starts_from(
        held in 0_u64..8, from in 0_u64..8, rev in 0_u64..8,
    ) {
        let mut keeper = Keeper::new(Firmware::Patch);
        keeper.on_desired(held, NOW, false);
        let taking = keeper.on_patch(from, rev, 0);
        let expected = match (rev > held, from == held) {
            (false, _) => PatchTaking::Ignore,
            (true, true) => PatchTaking::Apply,
            (true, false) => PatchTaking::Ask,
        };
        prop_assert_eq!(taking, expected);
        prop_assert_eq!(keeper.have(), if expected == PatchTaking::Apply { rev } else { held });
    }

    #[test]
    fn whatever_happens_a_fixture_that_lacks_an_answer_asks_again_within_a_minute(
        firmware in firmware(),
        happenings in prop::collection::vec(happening(), 0..60),
    ) {
        let mut keeper = Keeper::new(firmware);
        let mut uptime = 0;
        for happening in happenings {
            uptime += 400;
            happen(&mut keeper, happening, uptime);
            if keeper.is_waiting() && !keeper.boot_message_due() {
                let due = keeper.next_ask().unwrap();
                prop_assert!(due <= uptime + u64::from(Pause::MOST_MS));
                prop_assert!(keeper.ask_due(due));
                prop_assert!(due == 0 || !keeper.ask_due(due - 1));
            } else {
                prop_assert_eq!(keeper.next_ask(), None);
            }
        }
    }

    #[test]
    fn pauses_double_to_the_longest_and_jitter_within_the_upper_half(
        first in 1_u32..5_000, most in 0_u32..100_000, randoms in prop::collection::vec(any::<u32>(), 1..40),
    ) {
        let mut pause = Pause::new(first, most);
        let mut length = u64::from(first);
        for random in randoms {
            let ms = pause.next(random);
            prop_assert!(ms >= length / 2 && ms <= length, "{ms} of {length}");
            length = (length * 2).min(u64::from(most.max(first)));
        }
        pause.reset();
        prop_assert_eq!(pause, Pause::new(first, most));
    }

    #[test]
    fn the_agenda_steps_to_the_latest_change_not_after_now(
        mut agenda in prop::collection::vec((0_u64..100, 0_u16..40), 0..32), now in 0_u64..100,
    ) {
        let found = step(&agenda, now);
        // Said another way: sort by time, keep the order within a second, take the last that has begun.
        agenda.sort_by_key(|&(at, _)| at);
        let expected = agenda.iter().rev().find(|&&(at, _)| at <= now).map(|&(_, look)| look);
        prop_assert_eq!(found, expected);
        let next = agenda.iter().map(|&(at, _)| at).find(|&at| at > now);
        prop_assert_eq!(next_change(&agenda, now), next);
    }

    #[test]
    fn between_two_changes_the_look_stays(
        agenda in prop::collection::vec((0_u64..1_000, 0_u16..40), 1..32), now in 0_u64..1_000, later in 0_u64..1_000,
    ) {
        let until = next_change(&agenda, now).unwrap_or(u64::MAX);
        if later >= now && later < until {
            prop_assert_eq!(step(&agenda, later), step(&agenda, now));
        }
    }

    #[test]
    fn the_clock_runs_with_uptime_from_what_a_live_message_said(
        now in 0_u64..4_000_000_000_000, set_at in 0_u64..1_000_000_000, passed in 0_u64..1_000_000_000,
    ) {
        let mut clock = Clock::unset();
        prop_assert_eq!(clock.unix_ms(set_at), None);
        clock.hear(now, true, set_at);
        prop_assert!(!clock.is_set(), "a retained message set the clock");
        clock.hear(now, false, set_at);
        prop_assert_eq!(clock.unix_ms(set_at + passed), Some(now + passed));
        clock.hear(now + 77, true, set_at + passed);
        prop_assert_eq!(clock.unix_ms(set_at + passed), Some(now + passed));
    }

    #[test]
    fn the_uptime_of_a_coming_second_is_when_the_clock_reaches_it(
        now in 0_u64..4_000_000_000_000, set_at in 0_u64..1_000_000_000, ahead in 1_u64..1_000_000,
    ) {
        let mut clock = Clock::unset();
        clock.set(now, set_at);
        let at = now / 1_000 + ahead;
        let uptime = clock.uptime_of(at).unwrap();
        prop_assert_eq!(clock.unix_seconds(uptime), Some(at));
        prop_assert_eq!(clock.unix_seconds(uptime - 1), Some(at - 1));
    }

    #[test]
    fn no_number_from_outside_makes_it_overflow(now in any::<u64>(), at in any::<u64>(), uptime in any::<u64>()) {
        let mut clock = Clock::unset();
        clock.hear(now, false, at);
        prop_assert!(clock.unix_ms(uptime).is_some());
        prop_assert!(clock.uptime_of(at).is_some());
        let mut keeper = Keeper::new(Firmware::Patch);
        keeper.boot_sent(uptime, u32::MAX);
        keeper.on_patch(now, at, uptime);
        keeper.on_desired(at, now, false);
        prop_assert!(keeper.next_ask().is_none_or(|due| due >= uptime));
    }
}

#[test]
fn a_retained_desired_is_taken_when_newer_and_does_not_end_the_asking() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    keeper.boot_sent(0, 0);
    assert_eq!(keeper.on_desired(7, NOW, true), Taking::Take);
    assert!(keeper.is_waiting(), "a stored message has no usable time, so a live one is still wanted");
    assert_eq!(keeper.on_desired(7, NOW + 5, false), Taking::Renew);
    assert!(!keeper.is_waiting());
}

#[test]
fn firmware_that_lives_on_showing_is_content_with_a_stored_one() {
    let mut keeper = Keeper::new(Firmware::Showing);
    keeper.boot_sent(0, 0);
    assert_eq!(keeper.on_desired(9, NOW, false), Taking::Ignore);
    assert!(keeper.is_waiting());
    assert_eq!(keeper.on_showing(7, NOW, true), Taking::Take);
    assert!(!keeper.is_waiting());
    assert_eq!(keeper.have(), 7);
}

#[test]
fn at_the_revision_held_a_newer_agenda_is_taken_and_an_older_stored_one_is_not() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    keeper.boot_sent(0, 0);
    assert_eq!(keeper.on_desired(7, NOW, false), Taking::Take);
    assert_eq!(keeper.on_desired(7, NOW - 1, true), Taking::Ignore);
    assert_eq!(keeper.on_desired(7, NOW - 1, false), Taking::Again);
    assert_eq!(keeper.on_desired(7, NOW + 1, true), Taking::Renew);
    assert_eq!(keeper.on_desired(6, NOW + 9, false), Taking::Ignore);
}

#[test]
fn a_live_message_of_a_clock_that_was_put_back_is_taken_and_a_late_one_is_not() {
    const MINUTE: u64 = 60_000;
    let mut showing = Keeper::new(Firmware::Showing);
    let mut agenda = Keeper::new(Firmware::Agenda);
    showing.boot_sent(0, 0);
    agenda.boot_sent(0, 0);
    assert_eq!(showing.on_showing(3, NOW, false), Taking::Take);
    assert_eq!(agenda.on_desired(3, NOW, false), Taking::Take);
    assert_eq!(showing.on_showing(3, NOW - MINUTE + 1, false), Taking::Again, "messages may overtake each other");
    assert_eq!(showing.on_showing(3, NOW - MINUTE, true), Taking::Ignore, "stored news is of any age");
    assert_eq!(showing.on_showing(3, NOW - MINUTE, false), Taking::Renew);
    assert_eq!(agenda.on_desired(3, NOW - 2 * MINUTE, false), Taking::Renew);
    assert_eq!(agenda.on_desired(3, NOW - MINUTE, false), Taking::Renew, "time goes on from there");
    assert_eq!(showing.on_showing(2, NOW - 9 * MINUTE, false), Taking::Ignore, "an older revision never");
}

#[test]
fn stored_news_of_before_the_clock_was_put_back_is_no_answer_to_an_ask() {
    let mut keeper = Keeper::new(Firmware::Showing);
    keeper.boot_sent(0, 0);
    keeper.on_showing(3, NOW, false);
    assert!(!keeper.is_waiting());
    keeper.reconnected(1_000);
    assert!(keeper.is_waiting());
    keeper.on_showing(3, NOW - 3_600_000, true);
    assert!(keeper.is_waiting(), "what is stored is older than what is held");
    assert_eq!(keeper.on_showing(3, NOW - 3_599_000, false), Taking::Renew);
    assert!(!keeper.is_waiting());
}

#[test]
fn an_answer_that_was_asked_for_is_taken_even_when_the_daemons_clock_was_put_back() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    keeper.boot_sent(0, 0);
    keeper.on_desired(7, NOW, false);
    keeper.reconnected(60_000);
    assert!(keeper.ask_due(60_000));
    keeper.ask_sent(60_000, 0);
    assert_eq!(keeper.on_desired(7, NOW - 3_600_000, false), Taking::Renew);
    assert!(!keeper.is_waiting());
}

#[test]
fn a_patch_that_does_not_fit_is_asked_about_until_that_revision_is_held() {
    let mut keeper = Keeper::new(Firmware::Patch);
    keeper.boot_sent(0, 0);
    keeper.on_desired(3, NOW, false);
    assert_eq!(keeper.on_patch(4, 5, 10_000), PatchTaking::Ask);
    assert!(keeper.ask_due(10_000));
    keeper.ask_sent(10_000, 0);
    assert!(!keeper.ask_due(10_499), "the first pause is at least half a second");
    // An answer made before the revision of that patch is taken, but is not the one that is wanted.
    assert_eq!(keeper.on_desired(4, NOW + 1, false), Taking::Take);
    assert!(keeper.is_waiting());
    assert_eq!(keeper.on_desired(5, NOW + 2, false), Taking::Take);
    assert!(!keeper.is_waiting());
}

#[test]
fn the_boot_message_is_due_again_when_it_was_lost_and_not_after_a_mere_reconnection() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    keeper.boot_sent(0, 0);
    keeper.reconnected(100);
    assert!(!keeper.boot_message_due());
    keeper.boot_lost();
    keeper.reconnected(200);
    assert!(keeper.boot_message_due());
    assert!(!keeper.ask_due(u64::MAX));
}

#[test]
fn an_answer_heard_before_the_boot_message_went_out_does_not_take_its_place() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    assert_eq!(keeper.on_desired(2, NOW, false), Taking::Take);
    assert!(keeper.boot_message_due());
}

#[test]
fn pauses_without_an_answer_grow_from_a_second_to_a_minute() {
    let mut keeper = Keeper::new(Firmware::Agenda);
    keeper.boot_sent(0, u32::MAX);
    let mut uptime = 0;
    let mut pauses = Vec::new();
    for _ in 0..8 {
        let due = keeper.next_ask().unwrap();
        pauses.push((due - uptime).div_ceil(1_000));
        uptime = due;
        keeper.ask_sent(uptime, u32::MAX);
    }
    assert_eq!(pauses, [1, 2, 4, 8, 16, 32, 60, 60]);
}

#[test]
fn without_a_clock_the_look_that_held_when_the_agenda_was_written_is_shown() {
    assert_eq!(step_without_clock(&[(200, 'b'), (100, 'a'), (300, 'c')]), Some('a'));
    assert_eq!(step_without_clock::<char>(&[]), None);
}

#[test]
fn after_an_answer_the_pauses_begin_short_again() {
    let mut keeper = Keeper::new(Firmware::Patch);
    keeper.boot_sent(0, u32::MAX);
    for _ in 0..5 {
        keeper.ask_sent(keeper.next_ask().unwrap(), u32::MAX);
    }
    keeper.on_desired(1, NOW, false);
    assert_eq!(keeper.next_ask(), None);
    keeper.on_patch(2, 3, 500_000);
    keeper.ask_sent(500_000, u32::MAX);
    assert_eq!(keeper.next_ask(), Some(500_999));
}
