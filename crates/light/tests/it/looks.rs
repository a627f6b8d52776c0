//! Looks: their bounds, what they compile to, and the laws of dimming.

use light::{
    Colour, Compiled, Fade, Fraction, Intensity, LightError, Look, Motif, MotifName, Palette, Seconds, Span, Toward,
    kelvin_linear, luminance_of_intensity,
};
use proptest::prelude::*;

fn colour(text: &str) -> Colour {
    text.parse().unwrap()
}

fn look(colours: &[&str], intensity: f64) -> Look {
    Look::builder()
        .colours(colours.iter().map(|text| colour(text)).collect())
        .intensity(Intensity::new(intensity).unwrap())
        .build()
        .unwrap()
}

fn written(motif: Motif) -> String {
    let mut out = String::new();
    Look::builder().kelvin(2700.0).motif(motif).build().unwrap().compile().motif.write(&mut out);
    out
}

#[test]
fn white_at_full_intensity_is_full_duty() {
    assert_eq!(look(&["white"], 100.0).compile().channels, [[65535, 65535, 65535]]);
}

/// Sources: srgb-and-gamma-8bit.csv for the linear light (63, 182, 168: 0.0497066, 0.4677838,
/// 0.3915725; IEC 61966-2-1), dimming-lstar.csv for the luminance of 70 (0.4074938; CIE 15); the
/// products by hand.
#[test]
fn the_duty_is_linear_light_times_the_luminance_of_the_intensity() {
    let compiled = look(&["#3fb6a8"], 70.0).compile();
    let [row] = compiled.channels.as_slice() else { panic!("one colour") };
    for (duty, (light, channel)) in row.iter().zip([(0.049_706_6, "R"), (0.467_783_8, "G"), (0.391_572_5, "B")]) {
        let wanted = light * 0.407_493_8 * 65535.0;
        assert!((f64::from(*duty) - wanted).abs() < 1.0, "{channel}: {duty} for {wanted}");
    }
}

#[test]
fn a_white_by_kelvin_has_its_largest_channel_at_the_luminance() {
    let compiled = Look::builder().kelvin(2400.0).intensity(Intensity::new(50.0).unwrap()).build().unwrap().compile();
    let largest = compiled.channels.iter().flatten().copied().max().unwrap();
    // Source: CIE 15, dimming-lstar.csv: L* 50 is 12071 of 65535.
    assert_eq!(largest, 12071);
}

#[test]
fn dark_lights_nothing_over_the_whole_length() {
    let Compiled { channels, span, motif, floor } = Look::dark().compile();
    assert_eq!((channels, span, motif.name, floor), (vec![vec![0, 0, 0]], [0, 65535], MotifName::Steady, None));
}

#[test]
fn eight_colours_stay_in_order() {
    let names = ["red", "lime", "blue", "black", "white", "yellow", "cyan", "magenta"];
    let full = u16::MAX;
    assert_eq!(
        look(&names, 100.0).compile().channels,
        [
            [full, 0, 0],
            [0, full, 0],
            [0, 0, full],
            [0, 0, 0],
            [full, full, full],
            [full, full, 0],
            [0, full, full],
            [full, 0, full]
        ]
    );
}

#[test]
fn a_palette_has_one_to_eight_colours_or_one_temperature() {
    let nine = vec![Colour::BLACK; 9];
    assert_eq!(Palette::colours(vec![]), Err(LightError::ColourCount { count: 0 }));
    assert_eq!(Palette::colours(nine.clone()), Err(LightError::ColourCount { count: 9 }));
    assert_eq!(Palette::kelvin(999.9), Err(LightError::Kelvin { value: 999.9 }));
    assert_eq!(Palette::kelvin(12_000.1), Err(LightError::Kelvin { value: 12_000.1 }));
    assert!(matches!(Palette::kelvin(f64::NAN), Err(LightError::Kelvin { .. })));
    assert!(Palette::kelvin(1000.0).is_ok() && Palette::kelvin(12_000.0).is_ok());
    // A palette written by hand is caught when the look is built.
    assert_eq!(Look::builder().palette(Palette::Colours(nine)).build(), Err(LightError::ColourCount { count: 9 }));
    assert!(matches!(Look::builder().palette(Palette::Kelvin(f64::NAN)).build(), Err(LightError::Kelvin { .. })));
    assert_eq!(Look::builder().build(), Err(LightError::NoPalette));
    assert_eq!(Look::builder().kelvin(2700.0).colours(vec![Colour::BLACK]).build(), Err(LightError::TwoPalettes));
}

#[test]
fn what_is_out_of_bounds_is_refused_with_the_bounds() {
    for value in [-0.001, 100.001, f64::NAN, f64::INFINITY] {
        assert!(Intensity::new(value).unwrap_err().to_string().contains("0 (dark) to 100 (full)"));
    }
    for value in [-0.001, 1.001, f64::NAN, f64::NEG_INFINITY] {
        assert!(Fraction::new(value).unwrap_err().to_string().contains("write 0 to 1"));
    }
    for value in [0.0, 0.399, 3600.1, -4.0, f64::NAN] {
        assert!(Seconds::new(value).unwrap_err().to_string().contains("0.4 to 3600"));
    }
    for value in [-0.1, 3600.1, f64::NAN] {
        assert!(Fade::new(value).unwrap_err().to_string().contains("0 (at once) to 3600"));
    }
    for value in [-1, 65_536, i64::MIN, i64::MAX] {
        assert!(Motif::seed(value).unwrap_err().to_string().contains("0 to 65535"));
    }
    assert_eq!((Motif::seed(0), Motif::seed(65_535)), (Ok(0), Ok(65_535)));
    assert_eq!(Fade::new(2.0).unwrap().milliseconds(), 2000);
}

#[test]
fn a_span_is_ordered_within_the_length_and_lights_something() {
    for (from, to) in
        [(0.5, 0.5), (0.6, 0.5), (-0.1, 0.5), (0.5, 1.1), (f64::NAN, 1.0), (0.0, f64::NAN), (0.5, 0.500_000_1)]
    {
        assert!(matches!(Span::new(from, to), Err(LightError::Span { .. })), "[{from}, {to}]");
    }
    assert_eq!(Span::new(0.0, 0.2).unwrap().to_u16(), [0, 13107]);
    assert_eq!(Span::new(0.0, 1.0).unwrap(), Span::WHOLE);
}

#[test]
fn an_unknown_motif_is_told_the_seven() {
    let message = "blink".parse::<MotifName>().unwrap_err().to_string();
    for name in MotifName::ALL {
        assert!(message.contains(name.as_str()));
        assert_eq!(name.as_str().parse(), Ok(name));
    }
    assert!("Steady".parse::<MotifName>().is_err());
    assert!("left".parse::<Toward>().unwrap_err().to_string().contains("\"end\" or \"start\""));
    assert_eq!(("end".parse(), "start".parse()), (Ok(Toward::End), Ok(Toward::Start)));
}

#[test]
fn a_motif_is_written_by_position_and_steady_by_its_name_alone() {
    assert_eq!(written(Motif::STEADY), r#"["steady"]"#);
    let unroll = Motif { seconds: Seconds::new(1.5).unwrap(), toward: Toward::Start, ..Motif::new(MotifName::Unroll) };
    assert_eq!(written(unroll), r#"["unroll",1500,16384,32768,"start",0]"#);
    let full = Motif {
        seconds: Seconds::new(3600.0).unwrap(),
        width: Fraction::WHOLE,
        softness: Fraction::NONE,
        seed: 65_535,
        ..Motif::new(MotifName::Hearth)
    };
    assert_eq!(written(full), r#"["hearth",3600000,65535,0,"end",65535]"#);
    assert_eq!(written(Motif::new(MotifName::Swell)), r#"["swell",4000,16384,32768,"end",0]"#);
}

/// Source: WCAG 2.2 success criterion 2.3.1: no more than three flashes in any one second. A cycle
/// of n colours has at most n/2 flashes.
#[test]
fn no_period_lets_a_motif_flash_more_than_three_times_a_second() {
    const { assert!(1.0 / Seconds::SHORTEST < 3.0) };
    for count in 1..=8_usize {
        let drift = |seconds: f64| {
            let motif = Motif { seconds: Seconds::new(seconds).unwrap(), ..Motif::new(MotifName::Wander) };
            Look::builder().colours(vec![Colour::BLACK; count]).motif(motif).build()
        };
        let flashes = (count / 2).max(1) as f64;
        let least = (0.2 * count as f64).max(Seconds::SHORTEST);
        let accepted = drift(least).unwrap();
        assert!(flashes * 1000.0 / f64::from(accepted.compile().motif.period_ms) <= 3.0);
        if count >= 3 {
            let error = drift(least - 0.01).unwrap_err();
            assert!(matches!(error, LightError::FlashesTooFast { colours, .. } if colours == count));
            assert!(error.to_string().contains("WCAG 2.3.1"));
        }
    }
    // Colours that stay on their pixels do not add flashes.
    let swell = Motif { seconds: Seconds::new(Seconds::SHORTEST).unwrap(), ..Motif::new(MotifName::Swell) };
    assert!(Look::builder().colours(vec![Colour::BLACK; 8]).motif(swell).build().is_ok());
}

#[test]
fn another_intensity_leaves_the_rest_of_a_look() {
    let evening = look(&["wheat", "gold"], 60.0);
    let floor = evening.at_intensity(Intensity::new(8.0).unwrap());
    assert_eq!((floor.palette(), floor.span(), floor.motif()), (evening.palette(), evening.span(), evening.motif()));
    assert_eq!(floor.intensity().get(), 8.0);
}

/// Source: common practice; the locus runs from red to blue without turning back.
#[test]
fn a_higher_colour_temperature_is_never_redder() {
    let mut before = kelvin_linear(1000.0).unwrap();
    assert_eq!(before[0], 1.0);
    for step in 1..=1100 {
        let next = kelvin_linear(1000.0 + f64::from(step) * 10.0).unwrap();
        assert!(next.iter().all(|light| (0.0..=1.0).contains(light)));
        assert!(next[2] >= before[2] && next[0] <= before[0], "at step {step}");
        before = next;
    }
}

fn any_colours() -> impl Strategy<Value = Vec<Colour>> {
    proptest::collection::vec(any::<[u8; 3]>().prop_map(|[r, g, b]| Colour::from_rgb8(r, g, b)), 1..=8)
}

proptest! {
    #[test]
    fn a_brighter_intensity_never_dims_a_channel(colours in any_colours(), one in 0.0..=100.0, other in 0.0..=100.0) {
        let (low, high) = if one <= other { (one, other) } else { (other, one) };
        let at = |value: f64| {
            let look = Look::builder().colours(colours.clone()).intensity(Intensity::new(value).unwrap());
            look.build().unwrap().compile().channels
        };
        for (low, high) in at(low).iter().flatten().zip(at(high).iter().flatten()) {
            prop_assert!(low <= high);
        }
    }

    #[test]
    fn intensity_and_luminance_are_inverse(intensity in 0.0..=100.0) {
        let back = light::intensity_of_luminance(luminance_of_intensity(intensity));
        prop_assert!((back - intensity).abs() < 1e-9);
    }

    #[test]
    fn any_number_has_a_luminance_within_bounds(value in any::<f64>()) {
        prop_assert!((0.0..=1.0).contains(&luminance_of_intensity(value)));
    }

    #[test]
    fn a_compiled_span_is_never_empty(from in 0.0..=1.0, to in 0.0..=1.0) {
        if let Ok(span) = Span::new(from, to) {
            let [from, to] = span.to_u16();
            prop_assert!(from < to);
        }
    }

    #[test]
    fn a_written_motif_is_one_line_of_json_without_spaces(
        name in 0_usize..7, seconds in 0.4..=3600.0, width in 0.0..=1.0, softness in 0.0..=1.0, seed: u16
    ) {
        let motif = Motif {
            name: MotifName::ALL[name],
            seconds: Seconds::new(seconds).unwrap(),
            width: Fraction::new(width).unwrap(),
            softness: Fraction::new(softness).unwrap(),
            toward: Toward::End,
            seed,
        };
        let text = written(motif);
        let inner = text.strip_prefix('[').unwrap().strip_suffix(']').unwrap();
        let parts: Vec<&str> = inner.split(',').collect();
        prop_assert_eq!(parts.len(), if motif.name == MotifName::Steady { 1 } else { 6 });
        prop_assert_eq!(parts[0], format!("\"{}\"", motif.name));
        if let [_, period, width_text, softness_text, toward, seed_text] = parts.as_slice() {
            prop_assert!((period.parse::<f64>().unwrap() - seconds * 1000.0).abs() <= 0.5);
            prop_assert!((width_text.parse::<f64>().unwrap() - width * 65535.0).abs() <= 0.5);
            prop_assert!((softness_text.parse::<f64>().unwrap() - softness * 65535.0).abs() <= 0.5);
            prop_assert_eq!(*toward, "\"end\"");
            prop_assert_eq!(seed_text.parse::<u16>().unwrap(), seed);
        }
    }
}
