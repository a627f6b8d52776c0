//! The bounded numbers that a look is made of.

use crate::LightError;

/// How bright a look is to the eye: CIE lightness L*, 0 (dark) to 100 (full).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Intensity(f64);

impl Intensity {
    /// Nothing lit.
    pub const DARK: Self = Self(0.0);
    /// As bright as the fixture goes; what a look has when it names none.
    pub const FULL: Self = Self(100.0);

    /// Takes 0 to 100.
    ///
    /// # Errors
    /// [`LightError::Intensity`] outside that range, and for what is not a number.
    pub fn new(value: f64) -> Result<Self, LightError> {
        if (0.0..=100.0).contains(&value) { Ok(Self(value)) } else { Err(LightError::Intensity { value }) }
    }

    /// The value, 0 to 100.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }

    /// The relative luminance, 0 to 1, by CIE 15.
    #[must_use]
    pub fn luminance(self) -> f64 {
        crate::luminance_of_intensity(self.0)
    }
}

/// A part of a whole, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Fraction(f64);

impl Fraction {
    /// None of it.
    pub const NONE: Self = Self(0.0);
    /// A quarter.
    pub const QUARTER: Self = Self(0.25);
    /// A half.
    pub const HALF: Self = Self(0.5);
    /// All of it.
    pub const WHOLE: Self = Self(1.0);

    /// Takes 0 to 1.
    ///
    /// # Errors
    /// [`LightError::Fraction`] outside that range, and for what is not a number.
    pub fn new(value: f64) -> Result<Self, LightError> {
        if (0.0..=1.0).contains(&value) { Ok(Self(value)) } else { Err(LightError::Fraction { value }) }
    }

    /// The value, 0 to 1.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }

    /// The value on the device's scale, 0 to 65535, rounded half up.
    #[must_use]
    pub fn to_u16(self) -> u16 {
        scale_u16(self.0)
    }
}

/// The part of a strip's length that is lit: from one fraction of the length to a greater one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    from: f64,
    to: f64,
}

impl Span {
    /// The whole length; what a look has when it names none.
    pub const WHOLE: Self = Self { from: 0.0, to: 1.0 };

    /// Takes the two ends as fractions of the length, `0 <= from < to <= 1`.
    ///
    /// # Errors
    /// [`LightError::Span`] when they are not in this order or range, not numbers, or fall on the
    /// same one of the device's 65536 positions, which would light nothing.
    pub fn new(from: f64, to: f64) -> Result<Self, LightError> {
        let in_order = from >= 0.0 && from < to && to <= 1.0;
        if in_order && scale_u16(from) < scale_u16(to) {
            Ok(Self { from, to })
        } else {
            Err(LightError::Span { from, to })
        }
    }

    /// Where it begins, as a fraction of the length.
    #[must_use]
    pub fn from(self) -> f64 {
        self.from
    }

    /// Where it ends, as a fraction of the length.
    #[must_use]
    pub fn to(self) -> f64 {
        self.to
    }

    /// Both ends on the device's scale, 0 to 65535; the first is always less than the second.
    #[must_use]
    pub fn to_u16(self) -> [u16; 2] {
        [scale_u16(self.from), scale_u16(self.to)]
    }
}

/// A motif's period in seconds, 0.4 to 3600.
///
/// Every motif brightens and dims a place at most once in its period (a drift through several
/// colours is bounded further by [`LookBuilder::build`](crate::LookBuilder::build)), so that the
/// shortest period keeps below three flashes in any second, and leaves room for one change of
/// look in it: WCAG 2.3.1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Seconds(f64);

impl Seconds {
    /// The shortest period, in seconds: 2.5 a second, below the three of WCAG 2.3.1.
    pub const SHORTEST: f64 = 0.4;
    /// The longest period, in seconds.
    pub const LONGEST: f64 = 3600.0;
    /// What a motif has when it names none.
    pub const DEFAULT: Self = Self(4.0);

    /// Takes 0.4 to 3600 seconds.
    ///
    /// # Errors
    /// [`LightError::Seconds`] outside that range, and for what is not a number.
    pub fn new(value: f64) -> Result<Self, LightError> {
        if (Self::SHORTEST..=Self::LONGEST).contains(&value) {
            Ok(Self(value))
        } else {
            Err(LightError::Seconds { value })
        }
    }

    /// The value in seconds.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }

    /// The value in milliseconds, rounded half up.
    #[must_use]
    pub fn milliseconds(self) -> u32 {
        milliseconds(self.0)
    }
}

/// How long a change from one look to the next takes: 0 (at once) to 3600 seconds.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Fade(f64);

impl Fade {
    /// The longest fade, in seconds.
    pub const LONGEST: f64 = 3600.0;
    /// At once.
    pub const NONE: Self = Self(0.0);

    /// Takes 0 to 3600 seconds.
    ///
    /// # Errors
    /// [`LightError::Fade`] outside that range, and for what is not a number.
    pub fn new(seconds: f64) -> Result<Self, LightError> {
        if (0.0..=Self::LONGEST).contains(&seconds) {
            Ok(Self(seconds))
        } else {
            Err(LightError::Fade { value: seconds })
        }
    }

    /// The length in seconds.
    #[must_use]
    pub fn get(self) -> f64 {
        self.0
    }

    /// The length in milliseconds, rounded half up.
    #[must_use]
    pub fn milliseconds(self) -> u32 {
        milliseconds(self.0)
    }
}

/// 0 to 1 on the device's scale, 0 to 65535, rounded half up. The cast saturates, so no value can
/// wrap.
pub(crate) fn scale_u16(value: f64) -> u16 {
    (value * f64::from(u16::MAX) + 0.5).floor() as u16
}

fn milliseconds(seconds: f64) -> u32 {
    (seconds * 1000.0 + 0.5).floor() as u32
}
