//! The part of the year in which an entry holds.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;

use crate::AlmanacError;
use crate::error::excerpt;
use crate::start::two_digits;

/// A day of a month, of no year in particular; 29 February is one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MonthDay {
    // In this order, so that the derived order is that of the year.
    month: i8,
    day: i8,
}

impl MonthDay {
    /// The month, 1 to 12.
    #[must_use]
    pub fn month(self) -> i8 {
        self.month
    }

    /// The day of the month, 1 to 31.
    #[must_use]
    pub fn day(self) -> i8 {
        self.day
    }
}

impl From<Date> for MonthDay {
    fn from(date: Date) -> Self {
        Self { month: date.month(), day: date.day() }
    }
}

/// The day as `MM-DD`.
impl fmt::Display for MonthDay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}-{:02}", self.month, self.day)
    }
}

impl FromStr for MonthDay {
    type Err = AlmanacError;

    fn from_str(text: &str) -> Result<Self, AlmanacError> {
        // Any leap year has every day that some year has.
        const LEAP_YEAR: i16 = 2000;
        text.split_once('-')
            .and_then(|(month, day)| Some((two_digits(month)?, two_digits(day)?)))
            .and_then(|(month, day)| Date::new(LEAP_YEAR, month, day).ok())
            .map(Self::from)
            .ok_or_else(|| AlmanacError::MonthDay { text: excerpt(text) })
    }
}

/// A part of the year, both ends in it. When its last day comes before its first it runs over the
/// new year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Dates {
    /// The first day.
    pub from: MonthDay,
    /// The last day.
    pub to: MonthDay,
}

impl Dates {
    /// Whether the date lies in it. A part that is 29 February alone has no day in most years.
    #[must_use]
    pub fn contains(self, date: Date) -> bool {
        let day = MonthDay::from(date);
        if self.from <= self.to { self.from <= day && day <= self.to } else { self.from <= day || day <= self.to }
    }
}
