//! What is asked of history, and what comes back.

use document::{Pointer, Value};
use jiff::Timestamp;
use kernel::{FixtureId, Paper};
use sqlx::sqlite::SqliteRow;

use crate::error::StoreError;
use crate::load::{bad, column, time};

/// In which order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Direction {
    /// The newest first.
    #[default]
    NewestFirst,
    /// The oldest first.
    OldestFirst,
}

/// Which changes are wanted.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Not before this time.
    pub since: Option<Timestamp>,
    /// Before this time.
    pub until: Option<Timestamp>,
    /// Only what touched this place of the document.
    pub path: Option<Pointer>,
    /// Only by this actor.
    pub by: Option<String>,
    /// Only by this way.
    pub via: Option<String>,
    /// Only of this document.
    pub paper: Option<Paper>,
}

/// One change.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The history row.
    pub id: i64,
    /// The fixture.
    pub fixture: FixtureId,
    /// Which document.
    pub paper: Paper,
    /// The revision that it came to.
    pub revision: u64,
    /// When.
    pub at: Timestamp,
    /// Who.
    pub by: String,
    /// By which way.
    pub via: String,
    /// What it was a part of.
    pub cause: Option<String>,
    /// The merge patch from the revision before; null when the fixture was taken away.
    pub patch: Value,
    /// The merge patch back.
    pub inverse: Value,
    pub(crate) prev: Option<i64>,
}

/// A page of changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// The changes in the order asked for.
    pub changes: Vec<Change>,
    /// Where the next page begins; `None` when there is none. A page may be short, even empty, and still have a next
    /// one: a page looks at so many rows at most.
    pub next: Option<String>,
}

/// How many rows a page looks at.
pub(crate) const LOOKED_AT: usize = 20_000;

pub(crate) const COLUMNS: &str =
    "h.id, h.slot, h.revision, h.at, h.by, h.via, h.cause, h.patch, h.inverse, h.prev, f.id AS fixture";

impl Change {
    pub(crate) fn read(row: &SqliteRow) -> Result<Self, StoreError> {
        const TABLE: &str = "history";
        let id: i64 = column(row, TABLE, "id", 0)?;
        let slot: i64 = column(row, TABLE, "slot", id)?;
        let fixture: String = column(row, TABLE, "fixture", id)?;
        let json = |name: &'static str| -> Result<Value, StoreError> {
            let text: String = column(row, TABLE, name, id)?;
            serde_json::from_str(&text).map_err(|error| bad(TABLE, name, id, error))
        };
        Ok(Self {
            id,
            fixture: fixture.parse().map_err(|error: kernel::NameError| bad(TABLE, "slot", id, error))?,
            paper: match slot & 7 {
                0 => Paper::Fixture,
                1 => Paper::Desired,
                2 => Paper::Reported,
                other => return Err(bad(TABLE, "slot", id, format!("no document has the number {other}"))),
            },
            revision: u64::try_from(column::<i64>(row, TABLE, "revision", id)?).unwrap_or(0),
            at: time(TABLE, "at", id, column(row, TABLE, "at", id)?)?,
            by: column(row, TABLE, "by", id)?,
            via: column(row, TABLE, "via", id)?,
            cause: column(row, TABLE, "cause", id)?,
            patch: json("patch")?,
            inverse: json("inverse")?,
            prev: column(row, TABLE, "prev", id)?,
        })
    }
}

impl Filter {
    /// Whether a change is wanted.
    pub(crate) fn wants(&self, change: &Change) -> bool {
        self.since.is_none_or(|since| change.at >= since)
            && self.until.is_none_or(|until| change.at < until)
            && self.by.as_ref().is_none_or(|by| *by == change.by)
            && self.via.as_ref().is_none_or(|via| *via == change.via)
            && self.paper.is_none_or(|paper| paper == change.paper)
            && self.path.as_ref().is_none_or(|path| document::touches(&change.patch, path))
    }

    /// Whether nothing that comes after this change, in that direction, can be wanted any more. Clocks step, so a day
    /// of grace is kept.
    pub(crate) fn is_past(&self, change: &Change, direction: Direction) -> bool {
        let day = jiff::SignedDuration::from_hours(24);
        match direction {
            Direction::NewestFirst => {
                self.since.and_then(|since| since.checked_sub(day).ok()).is_some_and(|edge| change.at < edge)
            }
            Direction::OldestFirst => {
                self.until.and_then(|until| until.checked_add(day).ok()).is_some_and(|edge| change.at > edge)
            }
        }
    }
}
