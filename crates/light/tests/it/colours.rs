//! What colours may be written as, and what is said to those that may not.

use light::{Colour, LightError};
use proptest::prelude::*;

fn refusal(text: &str) -> LightError {
    text.parse::<Colour>().expect_err(text)
}

/// Source: CSS Color 4 sections 5.1, 5.2 and 7.
#[test]
fn the_forms_of_css_are_one_colour() {
    let wanted = Colour::from_rgb8(0x33, 0x66, 0x99);
    for text in [
        "#369",
        "#369f",
        "#336699",
        "#336699ff",
        "#336699FF",
        " #369 ",
        "rgb(51 102 153)",
        "rgb(51, 102, 153)",
        "RGB(20% 40% 60%)",
        "rgba(51 102 153 / 1)",
        "rgba(51, 102, 153, 100%)",
        "rgb(5.1e1 102 153)",
    ] {
        assert_eq!(text.parse::<Colour>(), Ok(wanted), "{text}");
    }
}

/// Source: CSS Color 4 section 4.4 (`none` counts as 0) and 5.1 (a component out of range is
/// clamped).
#[test]
fn a_missing_component_is_0_and_one_out_of_range_is_clamped() {
    assert_eq!("rgb(none 102 none)".parse(), Ok(Colour::from_rgb8(0, 102, 0)));
    assert_eq!("rgb(300 -20 120%)".parse(), Ok(Colour::from_rgb8(255, 0, 255)));
}

#[test]
fn a_translucent_colour_is_refused_with_intensity_as_advice() {
    for text in
        ["#3698", "#33669900", "rgb(51 102 153 / 0.5)", "hsla(210, 50%, 40%, 99%)", "transparent", "rgb(0 0 0 / none)"]
    {
        let error = refusal(text);
        assert!(matches!(error, LightError::TranslucentColour { .. }), "{text}: {error:?}");
        assert!(error.to_string().contains("\"intensity\""));
    }
}

#[test]
fn hex_digits_without_their_sign_are_told_to_write_it() {
    for text in ["bad", "fade", "336699", "336699ff", "369"] {
        assert!(refusal(text).to_string().contains(&format!("write \"#{text}\"")), "{text}");
    }
}

#[test]
fn a_form_of_another_colour_space_is_named_in_its_refusal() {
    for (text, form) in [
        ("oklch(60% 0.15 50)", "oklch"),
        ("lab(50% 20 30)", "lab"),
        ("lch(50% 20 30)", "lch"),
        ("oklab(0.5 0.1 0)", "oklab"),
        ("hwb(120 10% 10%)", "hwb"),
        ("color(srgb 1 0 0)", "color"),
    ] {
        assert_eq!(refusal(text), LightError::ColourForm { form: form.into() });
    }
}

#[test]
fn what_is_no_colour_is_refused_with_examples() {
    for text in [
        "",
        " ",
        "#",
        "#12",
        "#12345",
        "#1234567",
        "#ggg",
        "bleu",
        "currentcolor",
        "rgb",
        "rgb(",
        "rgb()",
        "rgb(1 2)",
        "rgb(1 2 3",
        "rgb(1 2 3 4 5)",
        "rgb(nan 0 0)",
        "rgb(inf 0 0)",
        "rgb(0 -infinity 0)",
        "rgb(calc(1 + 2) 0 0)",
        "rgb(from red r g b)",
        "hsl(from red h s l)",
        "hsl(nan 50% 50%)",
        "hsv(1 2 3)",
        "hsva(1 2 3 4)",
        "rgb (1 2 3)x",
        "дом",
        "#дом",
        "rgb(дом 0 0)",
        "rgb(1 2 3 / nan)",
    ] {
        let error = refusal(text);
        assert!(matches!(error, LightError::UnknownColour { .. }), "{text}: {error:?}");
        assert!(error.to_string().contains("#3fb6a8"));
    }
}

#[test]
fn a_long_text_is_not_repeated_whole() {
    assert!(refusal(&"ж".repeat(4000)).to_string().chars().count() < 250);
}

proptest! {
    #[test]
    fn any_text_is_a_colour_within_bounds_or_refused(text in "\\PC{0,24}") {
        if let Ok(colour) = text.parse::<Colour>() {
            prop_assert!(colour.linear().into_iter().all(|light| (0.0..=1.0).contains(&light)));
        }
    }

    #[test]
    fn any_function_of_numbers_is_a_colour_within_bounds_or_refused(
        text in "(rgb|hsl|rgba|hsla)\\([-+.0-9e%, /a-z]{0,24}\\)"
    ) {
        if let Ok(colour) = text.parse::<Colour>() {
            prop_assert!(colour.linear().into_iter().all(|light| (0.0..=1.0).contains(&light)));
        }
    }

    #[test]
    fn every_8_bit_colour_reads_back_from_its_text(red: u8, green: u8, blue: u8) {
        let colour = Colour::from_rgb8(red, green, blue);
        prop_assert_eq!(colour.to_string().parse(), Ok(colour));
        prop_assert_eq!(format!("rgb({red}, {green}, {blue})").parse(), Ok(colour));
    }
}
