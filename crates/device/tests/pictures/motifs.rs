//! What the seven motifs are, and the laws that hold for each of them.

use device::{DARK, DeviceLook, Duty, Motif, MotifName, Toward, render};
use proptest::prelude::*;

use crate::any::{self, picture};

const FULL: u16 = u16::MAX;
const WHITE: Duty = [FULL, FULL, FULL, 0];
const WHOLE: [u16; 2] = [0, FULL];

fn white(motif: Motif) -> DeviceLook {
    DeviceLook::new(&[WHITE], WHOLE, motif)
}

fn reds(look: &DeviceLook, unix_ms: u64, count: usize) -> Vec<u16> {
    look.pixels(unix_ms, count).map(|[red, ..]| red).collect()
}

proptest! {
    #[test]
    fn a_picture_is_a_pure_function_with_as_many_pixels_as_asked(
        look in any::look(), unix_ms in any::<u64>(), count in any::count()
    ) {
        let mut out = vec![[1; 4]; count];
        render(&look, unix_ms, &mut out);
        prop_assert_eq!(out, picture(&look, unix_ms, count));
    }

    #[test]
    fn everything_is_as_it_was_a_period_before(look in any::look(), unix_ms in 0_u64..1 << 62, count in any::count()) {
        let later = unix_ms + u64::from(look.motif().period_ms);
        prop_assert_eq!(picture(&look, unix_ms, count), picture(&look, later, count));
    }

    #[test]
    fn no_pixel_is_brighter_than_the_colours_or_below_the_floor(
        look in any::look(), unix_ms in any::<u64>(), count in any::count()
    ) {
        let floor = look.floor();
        for pixel in look.pixels(unix_ms, count) {
            for channel in 0..4 {
                let most = look.colours().map(|colour| colour[channel]).max().unwrap().max(floor[channel]);
                prop_assert!((floor[channel]..=most).contains(&pixel[channel]));
            }
        }
    }

    #[test]
    fn outside_the_span_there_is_the_floor_alone(look in any::look(), unix_ms in any::<u64>(), count in 1_usize..200) {
        let [from, to] = look.span().map(|end| f64::from(end) / 65_535.0 * count as f64);
        for (index, pixel) in look.pixels(unix_ms, count).enumerate() {
            if index as f64 + 1.0 < from || index as f64 > to {
                prop_assert_eq!(pixel, look.floor());
            }
        }
    }

    #[test]
    fn a_soft_motif_never_jumps(
        name in any::name(), width in 8_192_u16..=FULL, start in any::<bool>(), seed in any::<u16>(), at in 0_u64..4_000
    ) {
        let toward = if start { Toward::Start } else { Toward::End };
        let look = white(Motif { width, softness: FULL, toward, seed, ..Motif::new(name) });
        let (before, after) = (reds(&look, 1_000_000 + at, 30), reds(&look, 1_000_001 + at, 30));
        for (before, after) in before.iter().zip(&after) {
            // A millisecond is 1/4000 of the period; the steepest soft edge is `glint`'s, a sixteenth of a period wide,
            // where smoothstep rises 1.5 times as fast as a straight line.
            prop_assert!(u32::from(before.abs_diff(*after)) <= 65_535 * 16 * 3 / 2 / 4_000 + 64, "{before} to {after}");
        }
    }

    #[test]
    fn neighbours_in_a_soft_motif_are_close(name in any::name(), seed in any::<u16>(), unix_ms in any::<u64>()) {
        prop_assume!(name != MotifName::Glint);
        let look = white(Motif { softness: FULL, seed, ..Motif::new(name) });
        for pair in reds(&look, unix_ms, 400).windows(2) {
            // The steepest are the edges of `travel` and the embers of `hearth`, a quarter of the strip wide.
            prop_assert!(u32::from(pair[0].abs_diff(pair[1])) <= 65_535 * 4 * 3 / 2 / 400 + 64, "{pair:?}");
        }
    }

    #[test]
    fn toward_the_start_is_the_mirror_of_toward_the_end(
        travel in any::<bool>(), motif in any::motif(), unix_ms in any::<u64>(), count in 1_usize..150
    ) {
        let name = if travel { MotifName::Travel } else { MotifName::Unroll };
        let end = reds(&white(Motif { name, toward: Toward::End, ..motif }), unix_ms, count);
        let mut start = reds(&white(Motif { name, toward: Toward::Start, ..motif }), unix_ms, count);
        start.reverse();
        for (end, start) in end.iter().zip(&start) {
            // A pixel's middle is rounded down, and a hard edge is a pixel wide: 1/65536 of the strip more or less.
            prop_assert!(end.abs_diff(*start) <= u16::try_from(3 * count + 8).unwrap(), "{end} and {start}");
        }
    }
}

#[test]
fn steady_spreads_the_colours_from_the_first_pixel_to_the_last_in_linear_light() {
    let look = DeviceLook::new(&[[FULL, 0, 0, 0], [0, FULL, 0, 0], [0, 0, FULL, 0]], WHOLE, Motif::STEADY);
    assert_eq!(
        picture(&look, 7, 5),
        [[FULL, 0, 0, 0], [32_768, 32_768, 0, 0], [0, FULL, 0, 0], [0, 32_768, 32_768, 0], [0, 0, FULL, 0]]
    );
    for count in [2, 3, 144, 1_000, 5_000] {
        let picture = picture(&look, 7, count);
        assert_eq!((picture[0], picture[count - 1]), ([FULL, 0, 0, 0], [0, 0, FULL, 0]), "{count} pixels");
    }
    assert_eq!(picture(&look, 7, 1), [[FULL, 0, 0, 0]]);
    assert_eq!(picture(&look, 7, 0), Vec::<Duty>::new());
}

#[test]
fn a_span_lights_the_pixels_whose_middle_is_in_it_and_at_least_one() {
    let lit = |span, count| reds(&DeviceLook::new(&[WHITE], span, Motif::STEADY), 0, count);
    // A fifth of 144 is 28.8: the middle of the 29th pixel, 28.5, is in it.
    assert_eq!(lit([0, 13_107], 144).iter().filter(|red| **red > 0).count(), 29);
    assert_eq!(lit([32_768, FULL], 4), [0, 0, FULL, FULL]);
    assert_eq!(lit([FULL, 32_768], 4), [0, 0, FULL, FULL]);
    assert_eq!(lit([0, 1], 4), [FULL, 0, 0, 0]);
    assert_eq!(lit([FULL, FULL], 4), [0, 0, 0, FULL]);
    assert_eq!(lit([30_000, 30_001], 1), [FULL]);
}

#[test]
fn a_floor_lies_beneath_everything_over_the_whole_strip() {
    let floor = [300, 0, 20, 0];
    let look = DeviceLook::new(&[[200, 900, 0, 0]], [0, 32_767], Motif::STEADY).with_floor(floor);
    assert_eq!(picture(&look, 0, 2), [[300, 900, 20, 0], floor]);
    assert_eq!(picture(&DeviceLook::dark().with_floor(floor), 9, 3), [floor; 3]);
}

#[test]
fn swell_is_dark_once_and_full_once_in_its_period() {
    for softness in [0, 32_768, FULL] {
        let look = white(Motif { softness, ..Motif::new(MotifName::Swell) });
        assert_eq!(reds(&look, 4_000, 3), [0; 3]);
        assert_eq!(reds(&look, 6_000, 3), [FULL; 3]);
        let course: Vec<u16> = (0..=4_000).map(|ms| reds(&look, ms, 1)[0]).collect();
        assert!(course[..=2_000].is_sorted() && course[2_000..].iter().rev().is_sorted());
    }
}

#[test]
fn travel_moves_one_stretch_along_and_round() {
    let look = white(Motif { softness: 0, width: 16_384, ..Motif::new(MotifName::Travel) });
    let lit = |ms| reds(&look, ms, 16).iter().map(|red| u8::from(*red > 32_768)).collect::<Vec<u8>>();
    assert_eq!(lit(4_250), [1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1]);
    assert_eq!(lit(6_000), [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0]);
    for ms in 0..4_000 {
        let sum: u32 = reds(&look, ms, 16).iter().map(|red| u32::from(*red)).sum();
        assert!((3 * 65_535..=5 * 65_535).contains(&sum), "{sum} at {ms}");
    }
}

#[test]
fn unroll_lights_up_from_one_end_and_goes_dark_from_the_same() {
    let look = white(Motif { softness: 0, ..Motif::new(MotifName::Unroll) });
    let lit = |ms| reds(&look, ms, 8).iter().map(|red| u8::from(*red > 32_768)).collect::<Vec<u8>>();
    assert_eq!(lit(0), [0; 8]);
    assert_eq!(lit(1_000), [1, 1, 1, 1, 0, 0, 0, 0]);
    assert_eq!(lit(2_000), [1; 8]);
    assert_eq!(lit(3_000), [0, 0, 0, 0, 1, 1, 1, 1]);
}

#[test]
fn hearth_is_restless_everywhere_and_dark_nowhere() {
    let look = white(Motif { softness: 0, ..Motif::new(MotifName::Hearth) });
    let mut seen = vec![(FULL, 0); 60];
    for ms in (0..4_000).step_by(20) {
        for (seen, red) in seen.iter_mut().zip(reds(&look, ms, 60)) {
            *seen = (seen.0.min(red), seen.1.max(red));
        }
    }
    assert!(seen.iter().all(|(least, most)| *least >= 8_191 && most - least > 16_000), "{seen:?}");
}

#[test]
fn glint_flashes_the_asked_share_of_points_each_by_itself() {
    let look = white(Motif { softness: FULL, width: 16_384, ..Motif::new(MotifName::Glint) });
    let mut lit = 0;
    for ms in (0..4_000).step_by(50) {
        lit += reds(&look, ms, 500).iter().filter(|red| **red > 0).count();
    }
    // A quarter of 500 points at each of 80 instants, within three parts in a hundred of all.
    assert!((8_800..11_200).contains(&lit), "{lit}");
    let none = white(Motif { width: 0, ..Motif::new(MotifName::Glint) });
    assert!((0..4_000).step_by(50).all(|ms| reds(&none, ms, 100).iter().filter(|red| **red > 0).count() <= 2));
}

#[test]
fn wander_takes_each_pixel_through_the_list_in_order_or_against_it() {
    let list = [[FULL, 0, 0, 0], [0, FULL, 0, 0], [0, 0, FULL, 0], WHITE];
    for (toward, order) in [(Toward::End, [0, 1, 2, 3]), (Toward::Start, [0, 3, 2, 1])] {
        let look = DeviceLook::new(&list, WHOLE, Motif { toward, ..Motif::new(MotifName::Wander) });
        let passed: Vec<Duty> = (0..4).map(|step| picture(&look, 8_000 + step * 1_000, 1)[0]).collect();
        assert_eq!(passed, order.map(|index: usize| list[index]));
        assert_eq!(picture(&look, 8_000, 4), list);
    }
}

/// Mixed first and lifted afterwards, both channels would lie on the floor half way, darker than either colour.
#[test]
fn a_floor_makes_no_dip_between_two_colours_that_wander() {
    let list = [[FULL, 0, 0, 0], [0, FULL, 0, 0]];
    let look = DeviceLook::new(&list, WHOLE, Motif::new(MotifName::Wander)).with_floor([40_000, 40_000, 0, 0]);
    for ms in 4_000..8_000 {
        let [red, green, ..] = picture(&look, ms, 1)[0];
        assert!((105_534..=105_536).contains(&(u32::from(red) + u32::from(green))), "{red} and {green} at {ms}");
    }
}

#[test]
fn seeds_set_fixtures_apart_and_the_same_seed_keeps_them_together() {
    for name in MotifName::ALL.into_iter().filter(|name| *name != MotifName::Steady) {
        let two = [[FULL, 0, 0, 0], [0, FULL, 0, 0]];
        let of = |seed| picture(&DeviceLook::new(&two, WHOLE, Motif { seed, ..Motif::new(name) }), 1_500, 60);
        assert_ne!(of(0), of(1), "{name:?}");
        assert_ne!(of(1), of(2), "{name:?}");
        assert_eq!(of(1), of(1), "{name:?}");
    }
}

#[test]
fn what_a_message_should_not_have_said_shows_something_sensible() {
    let nine = [[9, 0, 0, 0]; 9];
    assert_eq!(DeviceLook::new(&nine, WHOLE, Motif::STEADY).colours().len(), 8);
    assert_eq!(picture(&DeviceLook::new(&[], WHOLE, Motif::STEADY), 0, 2), [DARK; 2]);
    assert_eq!(white(Motif { period_ms: 0, ..Motif::new(MotifName::Swell) }).motif().period_ms, 400);
    for name in MotifName::ALL {
        assert_eq!(MotifName::parse(name.as_str()), Some(name));
        let look = white(Motif { period_ms: u32::MAX, ..Motif::new(name) });
        assert_eq!(picture(&look, u64::MAX, 5_000).len(), 5_000);
    }
    assert_eq!((MotifName::parse("Steady"), Toward::parse("start")), (None, Some(Toward::Start)));
}
