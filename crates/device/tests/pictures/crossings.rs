//! Crossing from look to look.

use device::{DARK, DeviceLook, Duty, Motif, MotifName, Now, Player};
use proptest::prelude::*;

use crate::any;

const UNIX: u64 = 1_764_060_000_000;

fn at(uptime_ms: u64) -> Now {
    Now { unix_ms: UNIX + uptime_ms, uptime_ms }
}

fn shown(player: &Player<'_>, uptime_ms: u64) -> Vec<Duty> {
    player.pixels(at(uptime_ms)).collect()
}

fn steady(duty: u16) -> DeviceLook {
    DeviceLook::new(&[[duty, duty, duty, 0]], [0, u16::MAX], Motif::STEADY)
}

#[test]
fn a_fade_is_eased_from_the_old_look_to_the_new() {
    let mut room = [DARK; 2];
    let mut player = Player::new(&mut room);
    player.set(steady(40_000), 2_000, at(5_000));
    let course: Vec<u16> = [5_000, 5_500, 6_000, 6_500, 7_000, 90_000].map(|ms| shown(&player, ms)[1][0]).to_vec();
    // Smoothstep of a quarter is 5/32, of three quarters 27/32.
    assert_eq!(course, [0, 6_250, 20_000, 33_750, 40_000, 40_000]);
}

#[test]
fn a_fade_of_nothing_changes_at_once() {
    let mut room = [DARK; 1];
    let mut player = Player::new(&mut room);
    player.set(steady(40_000), 0, at(5_000));
    assert_eq!(shown(&player, 5_000), [[40_000, 40_000, 40_000, 0]]);
}

#[test]
fn a_second_change_within_a_second_rests_first_and_the_last_of_several_counts() {
    let mut room = [DARK; 1];
    let mut player = Player::new(&mut room);
    player.set(steady(60_000), 0, at(0));
    player.set(steady(0), 0, at(100));
    player.set(steady(30_000), 0, at(200));
    assert_eq!((shown(&player, 499)[0][0], shown(&player, 500)[0][0]), (60_000, 30_000));
    player.set(steady(0), 0, at(1_500));
    assert_eq!(shown(&player, 1_500)[0][0], 0);
}

#[test]
fn a_message_that_comes_twice_starts_nothing_anew() {
    let mut room = [DARK; 1];
    let mut player = Player::new(&mut room);
    player.set(steady(60_000), 2_000, at(0));
    let half = shown(&player, 1_000);
    player.set(steady(60_000), 2_000, at(1_000));
    assert_eq!(shown(&player, 1_000), half);
    assert_eq!(shown(&player, 2_000)[0][0], 60_000);
}

#[test]
fn setting_the_clock_does_not_disturb_a_crossing() {
    let mut room = [DARK; 1];
    let mut player = Player::new(&mut room);
    player.set(steady(60_000), 2_000, Now { unix_ms: 0, uptime_ms: 0 });
    let half = player.pixels(Now { unix_ms: UNIX, uptime_ms: 1_000 }).next();
    assert_eq!(half, Some([30_000, 30_000, 30_000, 0]));
}

#[test]
fn a_moving_look_moves_by_the_clock_again_once_it_is_there() {
    let look = DeviceLook::new(&[[60_000; 4]], [0, u16::MAX], Motif::new(MotifName::Travel));
    let mut room = [DARK; 20];
    let mut player = Player::new(&mut room);
    player.set(look, 500, at(0));
    let still = shown(&player, 500);
    assert_eq!(still, shown(&player, 899));
    for ms in 900..2_000 {
        assert_eq!(shown(&player, ms), any::picture(&look, UNIX + ms, 20));
    }
    assert_eq!(still, any::picture(&look, UNIX + 900, 20));
    assert!(player.moves(at(9_000)));
    player.set(steady(1), 500, at(9_000));
    assert!(player.moves(at(9_499)) && !player.moves(at(9_500)));
}

proptest! {
    /// Smoothstep is at most 1.5 times as fast as a straight line, so a fade moves a channel by at most
    /// 1.5 · 65535 / fade a millisecond, and one part in 65536 of rounding on either side.
    #[test]
    fn nothing_jumps_by_more_than_its_fade_implies(
        changes in proptest::collection::vec((any::duty(), 0_u64..900, 50_u32..3_000), 1..12)
    ) {
        let mut room = [DARK; 1];
        let mut player = Player::new(&mut room);
        let mut last = DARK;
        let mut uptime_ms = 0;
        let mut shortest = u32::MAX;
        for (duty, after, fade_ms) in changes {
            for _ in 0..after {
                uptime_ms += 1;
                let [pixel] = shown(&player, uptime_ms)[..] else { panic!("one pixel") };
                for (before, now) in last.iter().zip(pixel) {
                    let most = 65_535 * 3 / 2 / shortest + 4;
                    prop_assert!(u32::from(before.abs_diff(now)) <= most, "{before} to {now} at {uptime_ms}");
                }
                last = pixel;
            }
            player.set(DeviceLook::new(&[duty], [0, u16::MAX], Motif::STEADY), fade_ms, at(uptime_ms));
            shortest = shortest.min(fade_ms);
            prop_assert_eq!(shown(&player, uptime_ms)[0], last, "the change itself is no jump");
        }
    }

    #[test]
    fn after_the_last_change_the_look_itself_shows(
        looks in proptest::collection::vec((any::look(), 0_u64..2_000, any::<u32>()), 1..6), later in 0_u64..10_000
    ) {
        let mut room = [DARK; 12];
        let mut player = Player::new(&mut room);
        let mut uptime_ms = 0;
        for (look, after, fade_ms) in &looks {
            uptime_ms += after;
            player.set(*look, *fade_ms, at(uptime_ms));
        }
        uptime_ms += u64::from(u32::MAX) + 2 * Player::REST_MS + later;
        let (look, ..) = looks.last().unwrap();
        prop_assert_eq!(shown(&player, uptime_ms), any::picture(look, UNIX + uptime_ms, 12));
    }
}
