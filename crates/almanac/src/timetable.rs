//! The timetable: which look from when.

use jiff::civil::Time;

use crate::{AlmanacError, Dates, Days, Shift, Start};

/// The most entries that a timetable holds.
pub const ENTRIES_MAX: usize = 64;

/// One line of a timetable: from this start on, this look.
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
}

/// At most 64 entries, in the order in which they are written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Timetable {
    entries: Vec<Entry>,
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
        Ok(Self { entries })
    }

    /// The entries in the order in which they are written.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }
}
