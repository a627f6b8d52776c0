//! What can be wrong with a look, in words that say what to write instead.

use thiserror::Error;

/// Why a piece of a look was refused. The text names the value and what to write in its place.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LightError {
    /// The text is no colour in any of the accepted forms.
    #[error(
        "\"{text}\" is not a colour: write hex such as \"#3fb6a8\", a CSS name such as \"wheat\", \"rgb(63 182 168)\" or \"hsl(174 49% 48%)\""
    )]
    UnknownColour {
        /// The text as given, shortened if long.
        text: String,
    },
    /// The text is a colour in a CSS form other than hex, name, `rgb()` or `hsl()`.
    #[error(
        "\"{form}()\" colours are not taken, since what they mean beyond sRGB cannot be shown as written: write the colour as hex, a CSS name, rgb() or hsl()"
    )]
    ColourForm {
        /// The name of the function, shortened if long.
        form: String,
    },
    /// Hexadecimal digits without their number sign.
    #[error("\"{text}\" looks like a hex colour without its sign: write \"#{text}\"")]
    HexWithoutSign {
        /// The digits as given.
        text: String,
    },
    /// A colour with an alpha other than 1: a light cannot let its background through.
    #[error(
        "\"{text}\" is translucent, which a light cannot be: leave the alpha out and dim the look by \"intensity\""
    )]
    TranslucentColour {
        /// The text as given, shortened if long.
        text: String,
    },
    /// A colour temperature outside the range, in kelvin, or not a number.
    #[error("{value} is no colour temperature that can be shown: write 1000 (ember) to 12000 (blue sky), in kelvin")]
    Kelvin {
        /// The value as given, in kelvin.
        value: f64,
    },
    /// An intensity outside 0 to 100, or not a number.
    #[error("{value} is no intensity: write 0 (dark) to 100 (full)")]
    Intensity {
        /// The value as given.
        value: f64,
    },
    /// A fraction outside 0 to 1, or not a number.
    #[error("{value} is no fraction: write 0 to 1, such as 0.25 for a quarter")]
    Fraction {
        /// The value as given.
        value: f64,
    },
    /// A span that is not `0 <= from < to <= 1`, or narrower than the device's grid.
    #[error(
        "[{from}, {to}] is no span: write [from, to] as fractions of the length with 0 <= from < to <= 1, such as [0, 0.2]"
    )]
    Span {
        /// Where it begins, as given.
        from: f64,
        /// Where it ends, as given.
        to: f64,
    },
    /// A motif's period outside 0.4 to 3600 seconds, or not a number.
    #[error(
        "{value} is no period for a motif: write 0.4 to 3600 seconds; shorter would flash more than three times a second (WCAG 2.3.1)"
    )]
    Seconds {
        /// The value as given, in seconds.
        value: f64,
    },
    /// A fade outside 0 to 3600 seconds, or not a number.
    #[error("{value} is no length for a fade: write 0 (at once) to 3600 seconds")]
    Fade {
        /// The value as given, in seconds.
        value: f64,
    },
    /// A measured white LED that gives no light, or more than one does.
    #[error(
        "{linear:?} is no light of a white LED: write its red, green and blue as 0 to 10 times the strip's own at full duty, one of them above 0"
    )]
    WhiteLed {
        /// The linear light as given.
        linear: [f64; 3],
    },
    /// No motif has this name.
    #[error("there is no motif \"{text}\": write one of steady, swell, travel, unroll, hearth, glint, wander")]
    UnknownMotif {
        /// The name as given, shortened if long.
        text: String,
    },
    /// A direction other than the two.
    #[error("\"{text}\" is no direction: write \"end\" or \"start\"")]
    UnknownToward {
        /// The text as given, shortened if long.
        text: String,
    },
    /// A seed outside 0 to 65535.
    #[error("{value} is no seed: write a whole number from 0 to 65535")]
    Seed {
        /// The value as given.
        value: i64,
    },
    /// No colour at all, or more than eight.
    #[error("{count} colours do not make a look: write 1 to 8")]
    ColourCount {
        /// How many there were.
        count: usize,
    },
    /// A look with neither colours nor a colour temperature.
    #[error("the look has no colour: write \"colours\" (1 to 8) or \"kelvin\" (1000 to 12000)")]
    NoPalette,
    /// A look with colours and a colour temperature both.
    #[error("the look has both \"colours\" and \"kelvin\": keep one and leave the other out")]
    TwoPalettes,
    /// A drift through so many colours in so short a period could flash too fast.
    #[error(
        "{colours} colours in {seconds} s could flash more than three times a second (WCAG 2.3.1): write {least} seconds or more, or fewer colours"
    )]
    FlashesTooFast {
        /// How many colours the look drifts through.
        colours: usize,
        /// The period as given, in seconds.
        seconds: f64,
        /// The shortest period for so many colours, in seconds.
        least: f64,
    },
}

/// As much of `text` as a message should repeat: outside data may be kilobytes long.
pub(crate) fn excerpt(text: &str) -> String {
    const LONGEST: usize = 40;
    match text.char_indices().nth(LONGEST) {
        None => text.to_owned(),
        Some((cut, _)) => format!("{}…", text.get(..cut).unwrap_or_default()),
    }
}
