//! A frame's current, and its ceiling.

use device::{Chip, Currents, DeviceLook, Layout, Limiter, Motif, Output, duty_sum};
use proptest::prelude::*;

use crate::any;

/// 20 mA a channel by custom, 1 mA idle.
const USUAL: Currents = Currents { channels: [2_000; 4], idle: 100 };

/// What a frame draws, in hundredths of a milliampere, reckoned in floating point from the bytes alone.
fn reckoned(chip: Chip, global: u8, frame: &[u8], wired: usize, currents: &Currents) -> f64 {
    let clocked = matches!(chip, Chip::Apa102 | Chip::Sk9822);
    let order = chip.order().to_string();
    let stride = order.len() + usize::from(clocked);
    let start = if clocked { 4 } else { 0 };
    let mut sum = f64::from(currents.idle) * wired as f64;
    for pixel in frame[start..start + stride * wired].chunks(stride) {
        for (byte, letter) in pixel[usize::from(clocked)..].iter().zip(order.chars()) {
            let full = f64::from(currents.channels["rgbw".find(letter).unwrap()]);
            sum += f64::from(*byte) / 255.0 * f64::from(global) / 31.0 * full;
        }
    }
    sum
}

/// Source: arithmetic on the customary 60 mA a pixel: 144 pixels are 8.64 A.
#[test]
fn full_white_of_144_pixels_is_8_64_amperes_above_idle() {
    let output = Output::new(Chip::Ws2812b, Layout::straight(0, 144));
    let mut frame = vec![0; output.bytes()];
    output.frame(&DeviceLook::new(&[[65_535; 4]], [0, 65_535], Motif::STEADY), 0, &mut frame).unwrap();
    assert_eq!(output.current(&frame, &USUAL), 864_000 + 14_400);
    let drawn = output.limit(&mut frame, &USUAL, 3_500);
    assert_eq!((drawn.wanted, drawn.drawn <= 350_000), (878_400, true));
    assert!(drawn.drawn > 346_000, "no more is taken away than has to be: {drawn:?}");
    assert_eq!(frame[0], frame[431]);
}

#[test]
fn a_frame_below_the_ceiling_is_left_alone() {
    let output = Output::new(Chip::Apa102, Layout::straight(0, 3)).with_global(9);
    let mut frame = vec![0; output.bytes()];
    output.frame(&DeviceLook::new(&[[9_000; 4]], [0, 65_535], Motif::STEADY), 0, &mut frame).unwrap();
    let before = frame.clone();
    let drawn = output.limit(&mut frame, &USUAL, 60_000);
    assert_eq!((frame, drawn.factor, drawn.wanted), (before, 65_536, drawn.drawn));
}

proptest! {
    #[test]
    fn no_frame_draws_more_than_the_ceiling(
        look in any::look(), unix_ms in any::<u64>(), pixels in 0_u32..150, skip in 0_u32..3,
        chip in proptest::sample::select(Chip::ALL.as_slice()), global in 0_u8..40,
        channels in any::<[u16; 4]>(), idle in 0_u16..400,
        ceiling in prop_oneof![0_u32..200, 0_u32..20_000, any::<u32>()],
    ) {
        let output = Output::new(chip, Layout::straight(skip, pixels)).with_global(global);
        let currents = Currents { channels, idle };
        let wired = output.layout().wired();
        let mut frame = vec![0; output.bytes()];
        output.frame(&look, unix_ms, &mut frame).unwrap();
        let wanted = reckoned(chip, output.global(), &frame, wired, &currents);
        let drawn = output.limit(&mut frame, &currents, ceiling);
        let now = reckoned(chip, output.global(), &frame, wired, &currents);
        let dark = f64::from(idle) * wired as f64;
        prop_assert!(now <= (f64::from(ceiling) * 100.0).max(dark) + 1e-6);
        prop_assert!((drawn.wanted as f64 - wanted - 0.5).abs() <= 0.501 && (drawn.drawn as f64 - now - 0.5).abs() <= 0.501);
        if wanted <= f64::from(ceiling) * 100.0 {
            prop_assert_eq!(drawn.factor, 65_536);
        }
    }

    #[test]
    fn nothing_that_is_handed_over_panics(frame in proptest::collection::vec(any::<u8>(), 0..80), ceiling in any::<u32>()) {
        for chip in Chip::ALL {
            let output = Output::new(chip, Layout::straight(u32::MAX, u32::MAX));
            let mut frame = frame.clone();
            output.limit(&mut frame, &USUAL, ceiling);
            let _ = output.current(&frame, &USUAL);
        }
    }

    #[test]
    fn the_limiter_keeps_the_ceiling_and_lets_go_slowly(
        look in any::look(), from in 0_u64..1 << 40, ceiling in 1_u32..2_000
    ) {
        let output = Output::new(Chip::Ws2812b, Layout::straight(0, 20));
        let mut limiter = Limiter::new();
        let mut last = 65_536;
        for ms in (0..3_000).step_by(20) {
            let mut frame = vec![0; output.bytes()];
            output.frame(&look, from + ms, &mut frame).unwrap();
            let drawn = limiter.limit(&output, &mut frame, &USUAL, ceiling, ms);
            prop_assert!(drawn.drawn <= u64::from(ceiling.max(20)) * 100);
            prop_assert!(drawn.factor <= last + 132, "20 ms of 10 s are 131 of 65536");
            last = drawn.factor;
        }
    }
}

#[test]
fn the_limiter_recovers_in_ten_seconds_at_any_frame_rate() {
    let output = Output::new(Chip::Ws2812b, Layout::straight(0, 1));
    for step in [1_usize, 16, 1_000] {
        let mut limiter = Limiter::new();
        let mut frame = [255; 3];
        assert!(limiter.limit(&output, &mut frame, &USUAL, 1, 0).factor == 0);
        let mut factor = 0;
        for ms in (step as u64..=10_000 + step as u64).step_by(step) {
            factor = limiter.limit(&output, &mut [255; 3], &USUAL, 100, ms).factor;
            if ms <= 9_900 {
                assert!(factor < 65_000, "{factor} after {ms} ms");
            }
        }
        assert!(factor >= 65_500, "{factor}");
    }
}

#[test]
fn duties_are_summed_by_channel() {
    assert_eq!(duty_sum([[1, 2, 3, 4], [10, 20, 30, 40], [65_535; 4]]), [65_546, 65_557, 65_568, 65_579]);
}
