//! The white channel: the light stays what it was.

use light::{Colour, Intensity, LightError, Look, WhiteLed, kelvin_linear};
use proptest::prelude::*;

const FULL: f64 = 65_535.0;

fn any_white() -> impl Strategy<Value = WhiteLed> {
    prop_oneof![
        (1_000.0..=12_000.0).prop_map(|kelvin| WhiteLed::of_kelvin(kelvin).unwrap()),
        [0.0..=2.0, 0.0..=2.0, 0.001..=2.0].prop_map(|linear| WhiteLed::measured(linear).unwrap()),
    ]
}

proptest! {
    #[test]
    fn colours_and_white_together_are_the_light_that_was_asked_for(
        linear in [0.0..=1.0, 0.0..=1.0, 0.0..=1.0], white in any_white()
    ) {
        let [red, green, blue, of_white] = white.split(linear).map(|duty| f64::from(duty) / FULL);
        for ((colour, asked), part) in [red, green, blue].into_iter().zip(linear).zip(white.linear()) {
            // Half a step of the colour's own rounding, no matter how bright the white is.
            prop_assert!((colour + of_white * part - asked).abs() <= 0.501 / FULL, "{colour} + {of_white} * {part}");
        }
    }

    #[test]
    fn white_gives_all_that_it_can(linear in [0.0..=1.0, 0.0..=1.0, 0.0..=1.0], white in any_white()) {
        let [red, green, blue, of_white] = white.split(linear);
        // Either white is at its most, or a colour that white has a part in has nothing left but roundings.
        let spent = [red, green, blue].into_iter().zip(white.linear());
        prop_assert!(of_white == 65_535 || spent.clone().any(|(duty, part)| part > 0.0 && f64::from(duty) <= 2.0 + part));
    }
}

#[test]
fn a_white_of_the_leds_own_temperature_is_white_alone() {
    let white = WhiteLed::of_kelvin(3_000.0).unwrap();
    let look = Look::builder().kelvin(3_000.0).intensity(Intensity::new(50.0).unwrap()).build().unwrap();
    let compiled = look.compile_with_white(white);
    let [row] = compiled.channels.as_slice() else { panic!("one colour") };
    // Source: CIE 15, dimming-lstar.csv: L* 50 is 12071 of 65535, 12070.7 before rounding; white is rounded down.
    assert_eq!(row[3], 12_070);
    assert!(row[..3].iter().all(|duty| *duty <= 1), "{row:?}");
}

#[test]
fn a_pure_colour_needs_no_white_and_strips_without_it_have_three_channels() {
    let red = Look::builder().colours(vec![Colour::from_rgb8(255, 0, 0)]).build().unwrap();
    assert_eq!(red.compile_with_white(WhiteLed::default()).channels, [[65_535, 0, 0, 0]]);
    assert_eq!(red.compile().channels, [[65_535, 0, 0]]);
}

#[test]
fn the_usual_white_is_neutral_and_a_measured_one_has_to_give_light() {
    assert_eq!(WhiteLed::default().linear(), kelvin_linear(4_500.0).unwrap());
    for linear in [[0.0; 3], [f64::NAN, 1.0, 1.0], [1.0, -0.1, 1.0], [1.0, 1.0, 10.1]] {
        assert!(matches!(WhiteLed::measured(linear), Err(LightError::WhiteLed { .. })), "{linear:?}");
    }
    assert!(matches!(WhiteLed::of_kelvin(900.0), Err(LightError::Kelvin { .. })));
}
