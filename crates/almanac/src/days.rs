//! The days of the week on which an entry holds.

use jiff::civil::Weekday;

use crate::AlmanacError;
use crate::error::excerpt;

const NAMES: [(&str, Weekday); 7] = [
    ("mon", Weekday::Monday),
    ("tue", Weekday::Tuesday),
    ("wed", Weekday::Wednesday),
    ("thu", Weekday::Thursday),
    ("fri", Weekday::Friday),
    ("sat", Weekday::Saturday),
    ("sun", Weekday::Sunday),
];

/// A set of days of the week, never empty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Days {
    bits: u8,
}

impl Days {
    /// Takes names out of mon, tue, wed, thu, fri, sat, sun, in any order, each at most once.
    ///
    /// # Errors
    /// [`AlmanacError::NoDays`] for an empty list, [`AlmanacError::UnknownDay`] and
    /// [`AlmanacError::RepeatedDay`] with the place in the list of the first that is wrong.
    pub fn from_names<'a>(names: impl IntoIterator<Item = &'a str>) -> Result<Self, AlmanacError> {
        let mut bits = 0;
        for (index, name) in names.into_iter().enumerate() {
            let day = NAMES
                .into_iter()
                .find_map(|(known, day)| (known == name).then_some(day))
                .ok_or_else(|| AlmanacError::UnknownDay { index, name: excerpt(name) })?;
            if bits & bit(day) != 0 {
                return Err(AlmanacError::RepeatedDay { index, name: name.to_owned() });
            }
            bits |= bit(day);
        }
        if bits == 0 { Err(AlmanacError::NoDays) } else { Ok(Self { bits }) }
    }

    /// Whether the day is one of them.
    #[must_use]
    pub fn contains(self, day: Weekday) -> bool {
        self.bits & bit(day) != 0
    }

    /// Whether all of the other days are among these.
    pub(crate) fn contain_all(self, other: Self) -> bool {
        self.bits & other.bits == other.bits
    }

    /// Their names from mon to sun.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        NAMES.into_iter().filter(move |(_, day)| self.contains(*day)).map(|(name, _)| name)
    }
}

fn bit(day: Weekday) -> u8 {
    1 << day.to_monday_zero_offset()
}
