//! How light moves over a strip: the seven motifs and their parameters.

use std::fmt;
use std::str::FromStr;

use crate::error::excerpt;
use crate::{Fraction, LightError, Seconds};

/// The motifs by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MotifName {
    /// Nothing moves.
    Steady,
    /// The whole rises and falls.
    Swell,
    /// A lit stretch moves along.
    Travel,
    /// It lights up from one end.
    Unroll,
    /// Restless like embers.
    Hearth,
    /// Single points flash up.
    Glint,
    /// The colour drifts through its list.
    Wander,
}

impl MotifName {
    /// All of them, in the order in which people are told of them.
    pub const ALL: [Self; 7] =
        [Self::Steady, Self::Swell, Self::Travel, Self::Unroll, Self::Hearth, Self::Glint, Self::Wander];

    /// The name as it is written in a document.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Swell => "swell",
            Self::Travel => "travel",
            Self::Unroll => "unroll",
            Self::Hearth => "hearth",
            Self::Glint => "glint",
            Self::Wander => "wander",
        }
    }
}

impl fmt::Display for MotifName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for MotifName {
    type Err = LightError;

    fn from_str(text: &str) -> Result<Self, LightError> {
        Self::ALL
            .into_iter()
            .find(|name| name.as_str() == text)
            .ok_or_else(|| LightError::UnknownMotif { text: excerpt(text) })
    }
}

/// Which end of the strip a motif moves to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Toward {
    /// Away from the first pixel; what a motif has when it names none.
    End,
    /// To the first pixel.
    Start,
}

impl Toward {
    /// The word as it is written in a document.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::End => "end",
            Self::Start => "start",
        }
    }
}

impl fmt::Display for Toward {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Toward {
    type Err = LightError;

    fn from_str(text: &str) -> Result<Self, LightError> {
        match text {
            "end" => Ok(Self::End),
            "start" => Ok(Self::Start),
            _ => Err(LightError::UnknownToward { text: excerpt(text) }),
        }
    }
}

/// A motif with its parameters. A motif that has no use for one of them keeps it unused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motif {
    /// Which motif.
    pub name: MotifName,
    /// The period in seconds; 4 unless named.
    pub seconds: Seconds,
    /// How much of the span the lit stretch takes; 0.25 unless named.
    pub width: Fraction,
    /// 0 for hard edges to 1 for the softest; 0.5 unless named.
    pub softness: Fraction,
    /// Which end it moves to; the end unless named.
    pub toward: Toward,
    /// What sets apart two fixtures that would otherwise move alike; 0 unless named.
    pub seed: u16,
}

impl Motif {
    /// No movement; what a look has when it names no motif.
    pub const STEADY: Self = Self::new(MotifName::Steady);

    /// The motif with every parameter at its default. Name others with struct update:
    /// `Motif { seed: 7, ..Motif::new(MotifName::Hearth) }`.
    #[must_use]
    pub const fn new(name: MotifName) -> Self {
        Self {
            name,
            seconds: Seconds::DEFAULT,
            width: Fraction::QUARTER,
            softness: Fraction::HALF,
            toward: Toward::End,
            seed: 0,
        }
    }

    /// Takes a seed from a whole number of any size.
    ///
    /// # Errors
    /// [`LightError::Seed`] outside 0 to 65535.
    pub fn seed(value: i64) -> Result<u16, LightError> {
        u16::try_from(value).map_err(|_| LightError::Seed { value })
    }

    /// The shortest period, in seconds, at which the motif keeps below three flashes a second (WCAG
    /// 2.3.1) whatever its colours are; the device shows no shorter one.
    pub(crate) fn least_seconds(self, colours: usize) -> f64 {
        f64::from(device::MotifName::from(self.name).least_period_ms(colours)) / 1000.0
    }
}
