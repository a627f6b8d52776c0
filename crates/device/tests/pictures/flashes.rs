//! Nothing flashes more than three times in a second: WCAG 2.3.1.
//!
//! WCAG 2.2, definition of "general flash": a pair of opposing changes in relative luminance of 10 % or more of the
//! maximum relative luminance (1.0), where the relative luminance of the darker image is below 0.80; success criterion
//! 2.3.1: no more than three of them in any one-second period. Counted for every pixel by itself, which is stricter than
//! WCAG's share of the field of view.

use device::{Chip, Currents, DeviceLook, Duty, Layout, Limiter, Now, Output, Player};
use proptest::prelude::*;

use crate::any;

/// The relative luminance of a pixel by WCAG 2.2 (the weights of linear red, green and blue). Where white is used it
/// counts with a weight of one, and the maximum is that of all four.
fn luminance([red, green, blue, white]: Duty, with_white: bool) -> f64 {
    let [red, green, blue, white] = [red, green, blue, white].map(|duty| f64::from(duty) / 65_535.0);
    let colours = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
    if with_white { (colours + white) / 2.0 } else { colours }
}

/// Finds the opposing changes in the course of one pixel's luminance.
#[derive(Debug, Clone, Default)]
struct Watch {
    rising: Option<bool>,
    extreme: f64,
    changes: Vec<u64>,
}

impl Watch {
    fn see(&mut self, ms: u64, luminance: f64) {
        let Some(rising) = self.rising else {
            if self.changes.is_empty() && self.extreme == 0.0 {
                self.extreme = luminance;
            }
            // No direction yet: the first change of 10 % in either counts.
            if (luminance - self.extreme).abs() >= 0.1 {
                self.rising = Some(luminance > self.extreme);
                self.extreme = luminance;
                self.changes.push(ms);
            }
            return;
        };
        if (luminance > self.extreme) == rising {
            self.extreme = luminance;
        } else if (luminance - self.extreme).abs() >= 0.1 && luminance.min(self.extreme) < 0.8 {
            self.rising = Some(!rising);
            self.extreme = luminance;
            self.changes.push(ms);
        }
    }

    /// The most flashes in any second: pairs of opposing changes.
    fn worst(&self) -> usize {
        let in_second = |from: &u64| self.changes.iter().filter(|at| (*from..from + 1_000).contains(*at)).count() / 2;
        self.changes.iter().map(in_second).max().unwrap_or(0)
    }
}

fn worst(pictures: impl Iterator<Item = (u64, Vec<Duty>)>, with_white: bool) -> usize {
    let mut watches: Vec<Watch> = Vec::new();
    for (ms, picture) in pictures {
        watches.resize_with(picture.len(), Watch::default);
        for (watch, pixel) in watches.iter_mut().zip(picture) {
            watch.see(ms, luminance(pixel, with_white));
        }
    }
    watches.iter().map(Watch::worst).max().unwrap_or(0)
}

fn uses_white(look: &DeviceLook) -> bool {
    look.floor()[3] > 0 || look.colours().any(|colour| colour[3] > 0)
}

#[test]
fn the_count_is_that_of_wcag() {
    let course =
        |at: fn(u64) -> u16| worst((0..3_000).step_by(5).map(move |ms| (ms, vec![[at(ms), at(ms), at(ms), 0]])), false);
    // Square waves of 2, 3, 4 and 10 Hz; one of 4 Hz that changes by 9 %; one that stays above 0.80.
    assert_eq!(course(|ms| if ms % 500 < 250 { 65_535 } else { 0 }), 2);
    assert_eq!(course(|ms| if ms % 340 < 170 { 65_535 } else { 0 }), 3);
    assert_eq!(course(|ms| if ms % 250 < 125 { 65_535 } else { 0 }), 4);
    assert_eq!(course(|ms| if ms % 100 < 50 { 65_535 } else { 0 }), 10);
    assert_eq!(course(|ms| if ms % 250 < 125 { 5_898 } else { 0 }), 0);
    assert_eq!(course(|ms| if ms % 250 < 125 { 65_535 } else { 54_000 }), 0);
}

/// A look of strong contrast and the shortest period: where it would go wrong first.
fn hasty_look() -> impl Strategy<Value = DeviceLook> {
    let ends = || prop_oneof![Just([0_u16; 4]), Just([u16::MAX, u16::MAX, u16::MAX, 0])];
    let colours = prop_oneof![ends().prop_map(|end| vec![end]), proptest::collection::vec(ends(), 1..9)];
    (colours, any::motif(), 0_u32..400).prop_map(|(colours, motif, period_ms)| {
        let motif = device::Motif { period_ms, ..motif };
        DeviceLook::new(&colours, [0, u16::MAX], motif)
    })
}

fn any_look() -> impl Strategy<Value = DeviceLook> {
    prop_oneof![any::look(), hasty_look()]
}

/// Changes of look: which, how many milliseconds after the one before, and over how many.
fn changes() -> impl Strategy<Value = Vec<(usize, u64, u32)>> {
    let after = prop_oneof![Just(0_u64), 1..200_u64, 200..1_500_u64];
    let fade_ms = prop_oneof![2 => Just(0_u32), 2 => 1..700_u32, 1 => 700..9_000_u32];
    let any = proptest::collection::vec((0_usize..4, after, fade_ms), 1..25);
    // Somebody who leans on a switch.
    let hasty = (30_u64..500, prop_oneof![Just(0_u32), 1..100_u32])
        .prop_map(|(after, fade_ms)| (0..40).map(|which| (which, after, fade_ms)).collect());
    prop_oneof![any, hasty]
}

/// 300 of each law, or as many as `PROPTEST_CASES` asks for.
fn cases() -> u32 {
    std::env::var("PROPTEST_CASES").ok().and_then(|cases| cases.parse().ok()).unwrap_or(300)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_look_flashes_more_than_three_times_a_second(
        look in any_look(), from in 0_u64..1 << 40, count in prop_oneof![Just(1_usize), Just(2), Just(9)]
    ) {
        let pictures = (0..2_600).step_by(4).map(|ms| (ms, any::picture(&look, from + ms, count)));
        let worst = worst(pictures, uses_white(&look));
        prop_assert!(worst <= 3, "{worst} flashes");
    }

    #[test]
    fn no_changes_of_look_flash_more_than_three_times_a_second(
        looks in proptest::collection::vec(any_look(), 2..5),
        changes in changes(),
        from in 0_u64..1 << 40,
    ) {
        let mut room = [[0; 4]; 6];
        let mut player = Player::new(&mut room);
        let mut pending = changes.into_iter().peekable();
        let mut due = 0;
        let mut pictures = Vec::new();
        let mut uptime_ms = 77;
        let end = loop {
            let now = Now { unix_ms: from + uptime_ms, uptime_ms };
            while let Some((which, after, fade_ms)) = pending.next_if(|(_, after, _)| due + after <= uptime_ms) {
                player.set(looks[which % looks.len()], fade_ms, now);
                due += after;
            }
            pictures.push((uptime_ms, player.pixels(now).collect()));
            if pending.peek().is_none() && uptime_ms > due + 2_000 {
                break uptime_ms;
            }
            uptime_ms += 4;
        };
        let white = looks.iter().any(uses_white);
        let worst = worst(pictures.into_iter(), white);
        prop_assert!(worst <= 3, "{worst} flashes in {end} ms");
    }

    /// A limit that followed each frame by itself would pump: of two points the one that stays would dim while the other
    /// flashes.
    #[test]
    fn a_limiter_makes_no_more_flashes_of_a_look(
        look in any_look(), from in 0_u64..1 << 40, pixels in 1_u32..7, ceiling in 1_u32..150
    ) {
        let output = Output::new(Chip::Ws2811, Layout::straight(0, pixels));
        let currents = Currents { channels: [1_000; 4], idle: 0 };
        let mut limiter = Limiter::new();
        let pictures = (0..3_000).step_by(8).map(|ms| {
            let mut frame = vec![0; output.bytes()];
            output.frame(&look, from + ms, &mut frame).unwrap();
            limiter.limit(&output, &mut frame, &currents, ceiling, ms);
            let duty = |pixel: &[u8]| [0, 1, 2, 3].map(|channel| pixel.get(channel).map_or(0, |byte| u16::from(*byte) * 257));
            (ms, frame.chunks(3).map(duty).collect())
        });
        let worst = worst(pictures, false);
        prop_assert!(worst <= 3, "{worst} flashes");
    }
}
