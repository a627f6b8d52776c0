//! How far looks can be dimmed on 8 bits.

use device::Chip;
use light::{
    Emitter, HUE_ERROR_MOST, Intensity, Look, STEPS_LEAST, WhiteLed, dim_advice, hue_error, lowest_usable_intensity,
};

fn look(colour: &str, intensity: f64) -> Look {
    let colours = vec![colour.parse().unwrap()];
    Look::builder().colours(colours).intensity(Intensity::new(intensity).unwrap()).build().unwrap()
}

fn kelvin(kelvin: f64, intensity: f64) -> Look {
    Look::builder().kelvin(kelvin).intensity(Intensity::new(intensity).unwrap()).build().unwrap()
}

fn lowest(look: &Look, emitter: Emitter) -> f64 {
    lowest_usable_intensity(look, &emitter).unwrap().intensity.get()
}

/// A pure channel has no hue to lose, so its steps decide. Source: CIE 15: 7.5 of 255 is a luminance of 2.941 %, L* 19.85.
#[test]
fn a_pure_channel_is_bounded_by_its_steps_alone() {
    let red = look("red", 100.0);
    assert_eq!(STEPS_LEAST, 8);
    assert_eq!(lowest(&red, Emitter::new(Chip::Ws2812b)), 20.0);
    assert_eq!(hue_error(&look("red", 20.0), &Emitter::new(Chip::Ws2812b)), 0.0);
}

#[test]
fn from_the_lowest_usable_intensity_on_the_hue_is_kept() {
    for colour in ["#3fb6a8", "wheat", "gold", "#8040ff", "#ff8000"] {
        for chip in Chip::ALL {
            let emitter = Emitter::new(chip);
            let lowest = lowest(&look(colour, 100.0), emitter);
            assert!((2.0..60.0).contains(&lowest), "{colour} on {}: {lowest}", chip.name());
            let mut intensity = lowest;
            while intensity <= 100.0 {
                assert!(hue_error(&look(colour, intensity), &emitter) <= HUE_ERROR_MOST);
                intensity += 0.5;
            }
            let below = look(colour, lowest - 0.5);
            assert!(!dim_advice(&below, &emitter).is_empty(), "{colour} on {}", chip.name());
            assert!(dim_advice(&look(colour, lowest), &emitter).is_empty());
        }
    }
}

#[test]
fn a_colour_that_is_lost_has_an_endless_error_and_darkness_has_none() {
    let emitter = Emitter::new(Chip::Ws2812b);
    assert_eq!(hue_error(&look("#3fb6a8", 1.0), &emitter), f64::INFINITY);
    assert_eq!(hue_error(&look("black", 50.0), &emitter), 0.0);
    assert_eq!(lowest_usable_intensity(&look("black", 50.0), &emitter), None);
    assert_eq!(lowest_usable_intensity(&look("#010101", 50.0), &emitter), None);
    assert!(dim_advice(&Look::dark(), &emitter).is_empty());
    assert!(dim_advice(&look("#3fb6a8", 0.0), &emitter).is_empty());
    assert!(dim_advice(&look("#010101", 90.0), &emitter)[0].contains("write that colour brighter"));
}

#[test]
fn the_white_channel_keeps_a_white_down_to_lower_intensities() {
    let (colours, white) = (Emitter::new(Chip::Sk6812), Emitter::new(Chip::Sk6812rgbw));
    assert!(lowest(&kelvin(4_500.0, 100.0), white) < lowest(&kelvin(4_500.0, 100.0), colours));
    let warm = white.with_white(WhiteLed::of_kelvin(2_700.0).unwrap());
    assert!(lowest(&kelvin(2_700.0, 100.0), warm) < lowest(&kelvin(2_700.0, 100.0), colours));
    let advice = dim_advice(&kelvin(2_400.0, 8.0), &colours).join("\n");
    assert!(advice.contains("white channel"), "{advice}");
    assert!(!dim_advice(&kelvin(2_400.0, 8.0), &white).join("\n").contains("a strip with a white channel"));
    assert_eq!(colours.with_white(WhiteLed::default()), colours);
}

#[test]
fn a_lower_global_brightness_of_clocked_chips_is_offered_where_it_helps() {
    let emitter = Emitter::new(Chip::Sk9822);
    let dim = look("#3fb6a8", 12.0);
    let advice = dim_advice(&dim, &emitter).join("\n");
    let global: u8 =
        advice.split("a global brightness of ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    assert!((1..31).contains(&global), "{advice}");
    assert!(hue_error(&dim, &emitter.with_global(global)) <= HUE_ERROR_MOST);
    assert!(!dim_advice(&dim, &Emitter::new(Chip::Ws2812b)).join("\n").contains("global"));
    assert_eq!(Emitter::new(Chip::Ws2812b).with_global(3), Emitter::new(Chip::Ws2812b));
}

#[test]
fn advice_says_how_much_of_the_span_gives_the_same_light() {
    let emitter = Emitter::new(Chip::Ws2812b);
    let dim = look("#3fb6a8", 12.0);
    let least = lowest(&dim, emitter);
    let advice = dim_advice(&dim, &emitter);
    assert!(
        advice[0].contains(&format!("{least} is the lowest")) || advice[0].contains(&format!("{least} has enough"))
    );
    // Source: CIE 15: the luminance of 12 is 1.4217 %.
    let luminance = ((least + 16.0) / 116.0_f64).powi(3);
    let part = (100.0 * 0.014_217 / luminance).round();
    assert!(advice[1].contains(&format!("{part} % of its \"span\"")), "{advice:?}");
}
