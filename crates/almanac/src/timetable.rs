//! The timetable: which look from when.

use std::sync::Arc;

use jiff::civil::Time;

use crate::{AlmanacError, Dates, Days, Shift, Start};

/// The most entries that a timetable holds.
pub const ENTRIES_MAX: usize = 64;

/// One line of a timetable: from this start on, this look.
///
/// It begins once on each local date that `days` and `dates` allow and that the zone does not skip: at its start,
/// moved by `shift` of elapsed time (it may so come to lie on the date before or after, which asks nothing of
/// `days` and `dates`), then not before `not_before` and not after `not_after` of the date itself; where a change of
/// clocks turns the two about, `not_after` holds. Wall times are read as RFC 5545 section 3.3.5 reads them. On a
/// date without the sun event it does not begin, whatever its clamps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// What it begins from.
    pub start: Start,
    /// How much earlier or later than that; [`Shift::NONE`] unless named.
    pub shift: Shift,
    /// The name of the look; `dark` is always one.
    pub look: String,
    /// The days of the week on which it holds; every day unless named.
    pub days: Option<Days>,
    /// The part of the year in which it holds; the whole unless named.
    pub dates: Option<Dates>,
    /// The earliest wall time at which it begins: an earlier one is moved to it.
    pub not_before: Option<Time>,
    /// The latest wall time at which it begins: a later one is moved to it.
    pub not_after: Option<Time>,
}

impl Entry {
    /// An entry for every day, without shift or clamps.
    #[must_use]
    pub fn new(start: Start, look: impl Into<String>) -> Self {
        Self {
            start,
            shift: Shift::NONE,
            look: look.into(),
            days: None,
            dates: None,
            not_before: None,
            not_after: None,
        }
    }

    /// Whether its members go together; [`Timetable::new`] asks every entry, and a caller who wants
    /// to name the entry at fault may ask each.
    ///
    /// # Errors
    /// [`AlmanacError::ClampsCrossed`] when `not_before` is later than `not_after`.
    pub fn check(&self) -> Result<(), AlmanacError> {
        match (self.not_before, self.not_after) {
            (Some(not_before), Some(not_after)) if not_before > not_after => {
                Err(AlmanacError::ClampsCrossed { not_before, not_after })
            }
            _ => Ok(()),
        }
    }

    /// Whether it begins at every instant at which the other one does, as far as that can be read off them.
    pub(crate) fn begins_whenever(&self, other: &Self) -> bool {
        self.start == other.start
            && self.shift == other.shift
            && self.not_before == other.not_before
            && self.not_after == other.not_after
            && self.days.is_none_or(|days| other.days.is_some_and(|others| days.contain_all(others)))
            && (self.dates.is_none() || self.dates == other.dates)
    }
}

/// At most 64 entries, in the order in which they are written. Its clones share them.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Timetable {
    entries: Arc<[Entry]>,
}

impl Timetable {
    /// Takes the entries; none is a timetable too.
    ///
    /// # Errors
    /// [`AlmanacError::TooManyEntries`] for more than 64; what [`Entry::check`] says of the first
    /// entry that is wrong.
    pub fn new(entries: Vec<Entry>) -> Result<Self, AlmanacError> {
        if entries.len() > ENTRIES_MAX {
            return Err(AlmanacError::TooManyEntries { count: entries.len() });
        }
        entries.iter().try_for_each(Entry::check)?;
        Ok(Self { entries: entries.into() })
    }

    /// The entries in the order in which they are written.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }
}
