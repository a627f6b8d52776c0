//! The bytes that a strip gets: rounding, order, white balance, layout, the frames of clocked chips, dither.

use device::{Chip, DeviceLook, Duty, Layout, Motif, Order, Output, Run};
use proptest::prelude::*;

use crate::any;

fn bytes(output: &Output<'_>, picture: &[Duty]) -> Vec<u8> {
    let mut out = vec![0xaa; output.bytes() + 3];
    let written = output.write(picture.iter().copied(), &mut out).unwrap();
    assert_eq!(out[written..], [0xaa; 3], "nothing beyond the frame is touched");
    out.truncate(written);
    out
}

const ONE_TO_FOUR: Duty = [257, 2 * 257, 3 * 257, 4 * 257];

#[test]
fn each_chip_has_its_order_of_bytes_and_another_may_be_named() {
    let of = |chip| bytes(&Output::new(chip, Layout::straight(0, 1)), &[ONE_TO_FOUR]);
    // Sources: see `Chip::order`.
    assert_eq!(of(Chip::Ws2811), [1, 2, 3]);
    assert_eq!(of(Chip::Ws2812b), [2, 1, 3]);
    assert_eq!(of(Chip::Ws2815), [2, 1, 3]);
    assert_eq!(of(Chip::Sk6812), [2, 1, 3]);
    assert_eq!(of(Chip::Sk6812rgbw), [2, 1, 3, 4]);
    let named = |chip, order| bytes(&Output::new(chip, Layout::straight(0, 1)).with_order(order), &[ONE_TO_FOUR]);
    assert_eq!(named(Chip::Ws2815, Order::parse("RGB").unwrap()), [1, 2, 3]);
    assert_eq!(named(Chip::Sk6812rgbw, Order::parse("wbrg").unwrap()), [4, 3, 1, 2]);
    assert_eq!(named(Chip::Ws2815, Order::GRBW), [2, 1, 3], "four bytes are not sent to a chip of three");
}

#[test]
fn an_order_names_each_channel_once() {
    for text in ["rgb", "grb", "bgr", "rbg", "gbr", "brg", "rgbw", "grbw", "wrgb", "bwgr"] {
        assert_eq!(Order::parse(text).unwrap().to_string(), text);
    }
    for text in ["", "rg", "rgbb", "rgw", "rgbx", "rgbwr", "rgb ", "grgb", "wwww"] {
        assert_eq!(Order::parse(text), None, "{text}");
    }
}

/// Source: APA102 data sheet as shown in public (read): start 32 zeros; for each pixel three ones, 5 bits of brightness,
/// then blue, green, red; end 32 ones. The further bytes are half a clock a pixel, from public analyses (memory).
#[test]
fn clocked_chips_have_a_start_a_header_a_pixel_and_an_end() {
    let of = |chip, pixels: usize| {
        bytes(&Output::new(chip, Layout::straight(0, u32::try_from(pixels).unwrap())), &vec![ONE_TO_FOUR; pixels])
    };
    assert_eq!(of(Chip::Apa102, 2), [0, 0, 0, 0, 0xff, 3, 2, 1, 0xff, 3, 2, 1, 0xff, 0xff, 0xff, 0xff, 0xff]);
    assert_eq!(of(Chip::Sk9822, 1), [0, 0, 0, 0, 0xff, 3, 2, 1, 0, 0, 0, 0, 0]);
    assert_eq!(of(Chip::Apa102, 144).len(), 4 + 144 * 4 + 4 + 9);
}

#[test]
fn a_lower_global_brightness_keeps_the_light_and_gains_steps() {
    let output = Output::new(Chip::Sk9822, Layout::straight(0, 1)).with_global(4);
    let frame = bytes(&output, &[[257, 8_192, 65_535, 0]]);
    // 31/4 of 1, of 31.875 (rounded once, from 16 bits), and of more than there is.
    assert_eq!(frame[4..8], [0xe4, 255, 247, 8]);
    assert_eq!(Output::new(Chip::Ws2812b, Layout::straight(0, 1)).with_global(4).global(), 31);
}

#[test]
fn white_balance_is_in_thousandths_of_linear_light() {
    let output = Output::new(Chip::Ws2811, Layout::straight(0, 1)).with_balance([1_000, 500, 0, 9]);
    assert_eq!(bytes(&output, &[[65_535, 65_535, 65_535, 0]]), [255, 128, 0]);
    assert_eq!(output.with_balance([9_999; 4]), Output::new(Chip::Ws2811, Layout::straight(0, 1)));
}

fn numbered(count: u16) -> Vec<Duty> {
    (1..=count).map(|number| [number * 257, 0, 0, 0]).collect()
}

fn reds(layout: Layout<'_>) -> Vec<u8> {
    let count = u16::try_from(layout.picture()).unwrap();
    bytes(&Output::new(Chip::Ws2811, layout), &numbered(count)).chunks(3).map(|pixel| pixel[0]).collect()
}

#[test]
fn a_layout_skips_reverses_and_folds() {
    assert_eq!(reds(Layout::straight(2, 3)), [0, 0, 1, 2, 3]);
    assert_eq!(reds(Layout::new(0, 4, &[])), [1, 2, 3, 4]);
    assert_eq!(reds(Layout::new(1, 4, &[[3, 0]])), [0, 4, 3, 2, 1]);
    // Folded at a corner whose pixel is hidden.
    assert_eq!(reds(Layout::new(0, 7, &[[0, 2], [6, 4]])), [1, 2, 3, 0, 6, 5, 4]);
    assert_eq!(reds(Layout::new(0, 3, &[[7, 9], [5, 1]])), [0, 2, 1], "what is beyond the strip is left out");
    assert_eq!(Layout::straight(3, 0).picture(), 0);
}

#[test]
fn several_outputs_share_one_picture() {
    let picture = numbered(6);
    let (first, second) = (Layout::straight(0, 4), Layout::new(0, 2, &[[1, 0]]));
    let second = Output::new(Chip::Ws2811, second);
    assert_eq!(bytes(&second, &picture[first.picture()..]), [6, 0, 0, 5, 0, 0]);
}

#[test]
fn a_frame_that_does_not_fit_is_not_written() {
    let output = Output::new(Chip::Ws2812b, Layout::straight(0, 2));
    let mut short = [7; 5];
    assert_eq!(output.write([ONE_TO_FOUR; 2], &mut short), None);
    assert_eq!(short, [7; 5]);
}

#[test]
fn four_dithered_frames_have_the_mean_of_the_duty_in_quarters_of_a_step() {
    let output = Output::new(Chip::Sk9822, Layout::straight(0, 3));
    for duty in (0..=u16::MAX).step_by(41) {
        let mut sums = [0_u32; 3];
        for frame in u32::MAX - 1..=u32::MAX {
            for frame in [frame, frame.wrapping_add(2)] {
                let mut out = vec![0; output.bytes()];
                output.write_dithered([[duty, 0, 0, 0]; 3], frame, &mut out).unwrap();
                for (sum, pixel) in sums.iter_mut().zip(out[4..16].chunks(4)) {
                    *sum += u32::from(pixel[3]);
                }
            }
        }
        let wanted = f64::from(duty) / 257.0 * 4.0;
        assert!(sums.iter().all(|sum| (f64::from(*sum) - wanted).abs() <= 0.51), "{sums:?} for {wanted}");
    }
}

/// The rule is common practice; the figures are those of `Chip`.
#[test]
fn dither_is_for_chips_and_lengths_that_are_refreshed_fast_enough() {
    let fits = |chip, pixels, fps| Output::new(chip, Layout::straight(0, pixels)).dither_fits(8_000_000, fps);
    assert!(fits(Chip::Apa102, 144, 400) && fits(Chip::Sk9822, 144, 1_000));
    assert!(!fits(Chip::Apa102, 144, 300), "a pattern of four frames would be seen");
    assert!(!fits(Chip::Apa102, 5_000, 400), "so many pixels are not sent in time");
    assert!(!fits(Chip::Ws2812b, 30, 400), "its PWM is too slow");
    assert!(fits(Chip::Sk6812, 60, 400) && !fits(Chip::Sk6812, 144, 400));
    assert!(!Output::new(Chip::Apa102, Layout::straight(0, 144)).with_global(8).dither_fits(8_000_000, 400));
    assert!(!fits(Chip::Sk9822, 1, 0));
}

proptest! {
    #[test]
    fn a_frame_is_its_picture_in_physical_order(
        look in any::look(), unix_ms in any::<u64>(), skip in 0_u32..4, pixels in 0_u32..60,
        runs in proptest::collection::vec((0_u32..70, 0_u32..70).prop_map(Run::from), 0..4),
        chip in proptest::sample::select(Chip::ALL.as_slice()),
    ) {
        let layout = Layout::new(skip, pixels, &runs);
        let output = Output::new(chip, layout);
        let picture = any::picture(&look, unix_ms, layout.picture());
        let mut out = vec![0xaa; output.bytes()];
        prop_assert_eq!(output.frame(&look, unix_ms, &mut out), Some(out.len()));
        prop_assert_eq!(&out, &bytes(&output, &picture));
        // By itself: where each pixel goes, and what stands there.
        let mut wanted = vec![[0_u16; 4]; layout.wired()];
        let mut places = Vec::new();
        if runs.is_empty() {
            places.extend(0..pixels);
        }
        for [from, to] in &runs {
            let run: Vec<u32> =
                if from <= to { (*from..=*to).collect() } else { (*to..=*from).rev().collect() };
            places.extend(run.into_iter().filter(|place| *place < pixels));
        }
        prop_assert_eq!(places.len(), picture.len());
        for (place, pixel) in places.iter().zip(&picture) {
            if let Some(wanted) = wanted.get_mut((place + skip) as usize) {
                *wanted = *pixel;
            }
        }
        let clocked = matches!(chip, Chip::Apa102 | Chip::Sk9822);
        let order = chip.order().to_string();
        let mut at = if clocked { 4 } else { 0 };
        for pixel in wanted {
            if clocked {
                prop_assert_eq!(out[at], 0xff);
                at += 1;
            }
            for letter in order.chars() {
                let duty = pixel["rgbw".find(letter).unwrap()];
                prop_assert_eq!(out[at], (f64::from(duty) / 65_535.0 * 255.0 + 0.5).floor() as u8);
                at += 1;
            }
        }
    }
}

#[test]
fn endless_runs_do_not_take_endless_time() {
    let runs = [[0, u32::MAX], [u32::MAX, 0]];
    let output = Output::new(Chip::Ws2812b, Layout::new(u32::MAX, 10, &runs));
    assert_eq!(output.frame(&DeviceLook::dark(), 0, &mut [0; 8]), None);
    let output = Output::new(Chip::Ws2812b, Layout::new(0, 10, &runs));
    let look = DeviceLook::new(&[[65_535; 4]], [0, 65_535], Motif::STEADY);
    assert_eq!(output.frame(&look, 0, &mut [0; 64]), Some(30));
}
