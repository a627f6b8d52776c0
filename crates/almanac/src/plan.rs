//! What the owner wants of a fixture over time: lit or not, override, timetable, default.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use jiff::Timestamp;

use crate::error::excerpt;
use crate::{AlmanacError, Start, Timetable};

/// When an override ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Until {
    /// At this instant: it no longer holds at the instant itself.
    At(Timestamp),
    /// When the timetable next changes the entry that holds, counted from the edit. If it never does, when the
    /// owner releases it. An entry that begins again while it holds is no change.
    NextChange,
    /// When the owner releases it.
    Released,
}

/// The text as it is written in a document: an RFC 3339 time in UTC, `next-change` or `released`.
impl fmt::Display for Until {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::At(instant) => instant.fmt(f),
            Self::NextChange => f.write_str("next-change"),
            Self::Released => f.write_str("released"),
        }
    }
}

/// Reads an RFC 3339 time (section 5.6: whole date, seconds and offset), `next-change` or
/// `released`. A leap second is read as the second before it, since the instants of this program do
/// not count leap seconds.
impl FromStr for Until {
    type Err = AlmanacError;

    fn from_str(text: &str) -> Result<Self, AlmanacError> {
        match text {
            "next-change" => Ok(Self::NextChange),
            "released" => Ok(Self::Released),
            _ if has_rfc3339_shape(text) => {
                text.parse().map(Self::At).map_err(|_| AlmanacError::Until { text: excerpt(text) })
            }
            _ => Err(AlmanacError::Until { text: excerpt(text) }),
        }
    }
}

/// Whether the text has the form of an RFC 3339 time. `jiff` takes looser forms too (no seconds,
/// short offsets, a comma, zone names in brackets), which other readers of the document would not.
fn has_rfc3339_shape(text: &str) -> bool {
    let Some((head, tail)) = text.split_at_checked("2026-11-25T22:00:00".len()) else {
        return false;
    };
    let fits = |text: &str, pattern: &str| {
        text.len() == pattern.len()
            && text.bytes().zip(pattern.bytes()).all(|(byte, wanted)| match wanted {
                b'0' => byte.is_ascii_digit(),
                b'T' | b'Z' => byte.eq_ignore_ascii_case(&wanted),
                _ => byte == wanted,
            })
    };
    let offset = match tail.strip_prefix('.') {
        None => tail,
        Some(fraction) => {
            let offset = fraction.trim_start_matches(|digit: char| digit.is_ascii_digit());
            if offset.len() == fraction.len() {
                return false;
            }
            offset
        }
    };
    // RFC 3339 lets an offset's hour go to 23; jiff's goes to 25.
    let offset_hour = offset.get(1..3).and_then(|hour| hour.parse::<u8>().ok()).unwrap_or(0);
    fits(head, "0000-00-00T00:00:00")
        && (fits(offset, "Z") || ((fits(offset, "+00:00") || fits(offset, "-00:00")) && offset_hour <= 23))
}

/// The owner's look in place of the timetable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Override {
    /// A look's name, or `override` for a look written in place.
    pub look: Arc<str>,
    /// When it ends.
    pub until: Until,
}

/// All of a document that decides what shows when. Its clones share their parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// Whether the fixture shows anything at all; true unless named.
    pub lit: bool,
    /// The look where nothing else holds.
    pub default: Option<Arc<str>>,
    /// The owner's look in place of the timetable.
    pub owners_override: Option<Override>,
    /// Which look from when.
    pub timetable: Timetable,
    /// Whether it keeps a floor in the dark hours.
    pub keeps_floor: bool,
}

/// What needs a place: which entry, and what it starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// The entry's index in the timetable, from 0.
    pub entry: usize,
    /// A sun event needs the place's latitude, longitude and zone, a wall time its zone.
    pub start: Start,
}

/// An empty document's plan: lit, with nothing to show.
impl Default for Plan {
    fn default() -> Self {
        Self { lit: true, default: None, owners_override: None, timetable: Timetable::default(), keeps_floor: false }
    }
}

impl Plan {
    /// The first entry that cannot be followed without a place; nothing when the timetable is empty. Without a place
    /// no entry ever begins, so edits that bring entries to a fixture without one are to be refused.
    #[must_use]
    pub fn needs_place(&self) -> Option<Need> {
        self.timetable.entries().first().map(|entry| Need { entry: 0, start: entry.start })
    }
}
