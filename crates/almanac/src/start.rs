//! What an entry of the timetable begins from: a wall time, or the sun.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Time;

use crate::AlmanacError;
use crate::error::excerpt;

/// What the sun does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SunEvent {
    /// Its upper edge comes up.
    Sunrise,
    /// Its upper edge goes down.
    Sunset,
    /// It comes up to 6 degrees below the horizon: civil dawn.
    Dawn,
    /// It goes down to 6 degrees below the horizon: civil dusk.
    Dusk,
}

impl SunEvent {
    /// All of them, in the order in which people are told of them.
    pub const ALL: [Self; 4] = [Self::Sunrise, Self::Sunset, Self::Dawn, Self::Dusk];

    /// The word as it is written in a document.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Sunrise => "sunrise",
            Self::Sunset => "sunset",
            Self::Dawn => "dawn",
            Self::Dusk => "dusk",
        }
    }
}

/// What an entry begins from, before its shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Start {
    /// A wall time of the place.
    Wall(Time),
    /// An event of the sun at the place.
    Sun(SunEvent),
}

/// The text as it is written in a document: the shortest form that reads back to the same.
impl fmt::Display for Start {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sun(event) => f.write_str(event.as_str()),
            Self::Wall(time) => {
                write!(f, "{:02}:{:02}", time.hour(), time.minute())?;
                if time.second() != 0 { write!(f, ":{:02}", time.second()) } else { Ok(()) }
            }
        }
    }
}

impl FromStr for Start {
    type Err = AlmanacError;

    fn from_str(text: &str) -> Result<Self, AlmanacError> {
        if let Some(event) = SunEvent::ALL.into_iter().find(|event| event.as_str() == text) {
            return Ok(Self::Sun(event));
        }
        if text.starts_with(|first: char| first.is_ascii_digit()) {
            return wall_time(text).map(Self::Wall);
        }
        Err(AlmanacError::UnknownStart { text: excerpt(text) })
    }
}

/// Reads a wall time, `HH:MM` or `HH:MM:SS` from `00:00` to `23:59:59`.
///
/// # Errors
/// [`AlmanacError::EndOfDay`] for `24:00`, [`AlmanacError::WallTime`] for everything else that is
/// none; a leap second is none, for wall clocks do not show it.
pub fn wall_time(text: &str) -> Result<Time, AlmanacError> {
    if matches!(text, "24:00" | "24:00:00") {
        return Err(AlmanacError::EndOfDay { text: text.to_owned() });
    }
    let wrong = || AlmanacError::WallTime { text: excerpt(text) };
    let mut parts = text.split(':').map(two_digits);
    let mut next = || parts.next();
    let (hour, minute, second, rest) = (next(), next(), next(), next());
    let (Some(Some(hour)), Some(Some(minute)), None) = (hour, minute, rest) else {
        return Err(wrong());
    };
    let second = second.unwrap_or(Some(0)).ok_or_else(wrong)?;
    Time::new(hour, minute, second, 0).map_err(|_| wrong())
}

/// A number of exactly two ASCII digits.
pub(crate) fn two_digits(text: &str) -> Option<i8> {
    if text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_digit()) { text.parse().ok() } else { None }
}
