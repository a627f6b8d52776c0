//! The revision of a document: a count of its edits.

use core::fmt;

use serde::{Deserialize, Serialize};

/// The revision of a desired document: 1, 2, 3 …; 0 stands for "nothing yet".
///
/// As JSON it is a plain number.
///
/// ```
/// use document::Revision;
///
/// let rev = Revision::default().next();
/// assert_eq!(rev, Revision::new(1));
/// assert_eq!(rev.to_string(), "1");
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Revision(u64);

impl Revision {
    /// No edit yet; also what a fixture that holds no document says.
    pub const NONE: Self = Self(0);

    /// The revision of this number.
    #[must_use]
    pub const fn new(number: u64) -> Self {
        Self(number)
    }

    /// The number.
    #[must_use]
    pub const fn get(self) -> u64 {
        self.0
    }

    /// The revision after this one. The largest number stays: a count that an edit a nanosecond
    /// would take five centuries to reach.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

impl fmt::Display for Revision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn revisions_count_up_from_nothing_and_never_wrap() {
        assert_eq!(Revision::default(), Revision::NONE);
        assert_eq!(Revision::NONE.next().get(), 1);
        assert_eq!(Revision::new(41).next(), Revision::new(42));
        assert!(Revision::new(9) < Revision::new(10));
        assert_eq!(Revision::new(u64::MAX).next(), Revision::new(u64::MAX));
    }

    #[test]
    fn a_revision_is_a_plain_number_in_json_and_in_text() {
        assert_eq!(serde_json::to_string(&Revision::new(42)).unwrap(), "42");
        assert_eq!(serde_json::from_str::<Revision>("42").unwrap(), Revision::new(42));
        assert_eq!(Revision::new(42).to_string(), "42");
        for wrong in ["-1", "1.5", "\"1\"", "18446744073709551616"] {
            assert!(serde_json::from_str::<Revision>(wrong).is_err(), "{wrong}");
        }
    }
}
