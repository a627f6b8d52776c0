//! Rows that SQLite has packed into one text: each value that comes through sqlx costs allocations, and each row a
//! crossing between threads.

use jiff::Timestamp;

use crate::error::StoreError;
use crate::load::{bad, count, time};

/// The rows of one table in one text, and where their reading stands. Each value is followed by a space; `-` stands for
/// NULL, and texts follow their length in bytes, without a space after them.
pub(crate) struct Text<'t> {
    table: &'static str,
    /// The key of the row that is being read.
    pub(crate) key: i64,
    rest: &'t [u8],
}

impl<'t> Text<'t> {
    /// Begins to read.
    pub(crate) fn of(table: &'static str, text: &'t [u8]) -> Self {
        Self { table, key: 0, rest: text }
    }

    /// A value of this row cannot be used.
    pub(crate) fn bad(&self, column: &'static str, detail: impl ToString) -> StoreError {
        bad(self.table, column, self.key, detail)
    }

    /// Reads a row's key, unless there are no more rows.
    pub(crate) fn begin_row(&mut self) -> Result<bool, StoreError> {
        if self.rest.is_empty() {
            return Ok(false);
        }
        self.key = self.number("key")?;
        Ok(true)
    }

    /// What stands before the next space.
    pub(crate) fn word(&mut self, column: &'static str) -> Result<&'t str, StoreError> {
        let end = self.rest.iter().position(|byte| *byte == b' ');
        let parts = end.and_then(|end| Some((self.rest.get(..end)?, self.rest.get(end + 1..)?)));
        let (word, rest) = parts.ok_or_else(|| self.bad(column, "it is cut short"))?;
        self.rest = rest;
        std::str::from_utf8(word).map_err(|error| self.bad(column, error))
    }

    pub(crate) fn number(&mut self, column: &'static str) -> Result<i64, StoreError> {
        self.word(column)?.parse().map_err(|error| self.bad(column, error))
    }

    pub(crate) fn optional(&mut self, column: &'static str) -> Result<Option<i64>, StoreError> {
        match self.word(column)? {
            "-" => Ok(None),
            word => word.parse().map(Some).map_err(|error| self.bad(column, error)),
        }
    }

    pub(crate) fn count(&mut self, column: &'static str) -> Result<u64, StoreError> {
        let number = self.number(column)?;
        count(self.table, column, self.key, number)
    }

    pub(crate) fn optional_count(&mut self, column: &'static str) -> Result<Option<u64>, StoreError> {
        self.optional(column)?.map(|number| count(self.table, column, self.key, number)).transpose()
    }

    pub(crate) fn at(&mut self, column: &'static str) -> Result<Timestamp, StoreError> {
        let at = self.number(column)?;
        time(self.table, column, self.key, at)
    }

    pub(crate) fn optional_at(&mut self, column: &'static str) -> Result<Option<Timestamp>, StoreError> {
        self.optional(column)?.map(|at| time(self.table, column, self.key, at)).transpose()
    }

    /// A text that follows its length.
    pub(crate) fn optional_text(&mut self, column: &'static str) -> Result<Option<&'t str>, StoreError> {
        let Some(length) = self.optional_count(column)? else { return Ok(None) };
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        let (text, rest) = self.rest.split_at_checked(length).ok_or_else(|| self.bad(column, "it is cut short"))?;
        self.rest = rest;
        std::str::from_utf8(text).map(Some).map_err(|error| self.bad(column, error))
    }

    pub(crate) fn text(&mut self, column: &'static str) -> Result<&'t str, StoreError> {
        self.optional_text(column)?.ok_or_else(|| self.bad(column, "it is missing"))
    }
}
