//! Colours as their owner writes them: CSS Color 4 text to sRGB and to linear light.

use std::fmt;
use std::str::FromStr;

use palette::Srgb;

use crate::LightError;
use crate::error::excerpt;

/// A colour within sRGB (IEC 61966-2-1), as a look names it.
///
/// Read from the text forms of CSS Color 4 that stay within sRGB: hex (`#rgb`, `#rrggbb`), the 148
/// names of its section 6.1, `rgb()` and `hsl()` (also written `rgba()` and `hsla()`, with commas
/// or spaces). Letters may be of either case. A component out of range is brought to the nearer
/// end, as CSS does. Refused are: an alpha other than 1, since a light lets nothing through; forms
/// of other colour spaces, since most of what they can name is outside sRGB; and `calc()` and
/// relative colours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Colour {
    srgb: [f64; 3],
}

impl Colour {
    /// Nothing lit.
    pub const BLACK: Self = Self { srgb: [0.0; 3] };

    /// A colour from its 8-bit sRGB codes.
    #[must_use]
    pub fn from_rgb8(red: u8, green: u8, blue: u8) -> Self {
        Self { srgb: [red, green, blue].map(|code| f64::from(code) / 255.0) }
    }

    /// The nearest sRGB colour to linear light, 0 to 1 a channel. What is out of range is brought
    /// to the nearer end.
    #[must_use]
    pub fn from_linear(linear: [f64; 3]) -> Self {
        let [red, green, blue] = linear.map(unit);
        let srgb = Srgb::<f64>::from_linear(palette::LinSrgb::new(red, green, blue));
        Self { srgb: [srgb.red, srgb.green, srgb.blue].map(unit) }
    }

    /// The encoded sRGB components, 0 to 1.
    #[must_use]
    pub fn srgb(self) -> [f64; 3] {
        self.srgb
    }

    /// The linear light of red, green and blue, 0 to 1, by IEC 61966-2-1.
    #[must_use]
    pub fn linear(self) -> [f64; 3] {
        let [red, green, blue] = self.srgb;
        let linear = Srgb::new(red, green, blue).into_linear::<f64>();
        [linear.red, linear.green, linear.blue].map(unit)
    }
}

/// The colour as `#rrggbb`, each component rounded half up to 8 bits.
impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [red, green, blue] = self.srgb.map(|value| (value * 255.0 + 0.5).floor() as u8);
        write!(f, "#{red:02x}{green:02x}{blue:02x}")
    }
}

impl FromStr for Colour {
    type Err = LightError;

    fn from_str(text: &str) -> Result<Self, LightError> {
        let trimmed = text.trim();
        refuse_other_forms(trimmed)?;
        let parsed = csscolorparser::parse(trimmed).map_err(|_| LightError::UnknownColour { text: excerpt(text) })?;
        let [red, green, blue, alpha] = parsed.to_array();
        let srgb = [red, green, blue].map(exact_code);
        if !alpha.is_finite() || srgb.iter().any(|value| !value.is_finite()) {
            return Err(LightError::UnknownColour { text: excerpt(text) });
        }
        if alpha < 1.0 {
            return Err(LightError::TranslucentColour { text: excerpt(text) });
        }
        Ok(Self { srgb: srgb.map(unit) })
    }
}

/// The parser reads more than CSS Color 4 and more than this crate takes; what it should not see is
/// sent back here.
fn refuse_other_forms(text: &str) -> Result<(), LightError> {
    let unknown = || LightError::UnknownColour { text: excerpt(text) };
    if text.starts_with('#') {
        return Ok(());
    }
    let Some((form, arguments)) = text.split_once('(') else {
        let hex = matches!(text.len(), 3 | 4 | 6 | 8) && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        return if hex { Err(LightError::HexWithoutSign { text: text.to_owned() }) } else { Ok(()) };
    };
    if !["rgb", "rgba", "hsl", "hsla"].iter().any(|known| form.eq_ignore_ascii_case(known)) {
        let other_space =
            ["hwb", "lab", "lch", "oklab", "oklch", "color"].iter().any(|known| form.eq_ignore_ascii_case(known));
        return Err(if other_space { LightError::ColourForm { form: form.to_owned() } } else { unknown() });
    }
    let arguments = arguments.strip_suffix(')').ok_or_else(unknown)?;
    let plain = arguments
        .split(|separator: char| separator == ',' || separator == '/' || separator.is_ascii_whitespace())
        .filter(|argument| !argument.is_empty())
        .all(|argument| argument.eq_ignore_ascii_case("none") || is_number_with_unit(argument));
    if plain { Ok(()) } else { Err(unknown()) }
}

/// Whether the text begins as a number does: this keeps `nan`, `inf`, `calc(…)` and `from …` away
/// from the parser.
fn is_number_with_unit(text: &str) -> bool {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    digits.starts_with(|first: char| first.is_ascii_digit() || first == '.')
}

/// The parser computes in `f32`, whose steps can show at 16 bits; a value within 1/2550000 of an
/// 8-bit code is that code.
fn exact_code(value: f32) -> f64 {
    let scaled = f64::from(value) * 255.0;
    let code = scaled.round();
    if (scaled - code).abs() < 1e-4 { code / 255.0 } else { f64::from(value) }
}

fn unit(value: f64) -> f64 {
    if value.is_nan() { 0.0 } else { value.clamp(0.0, 1.0) }
}
