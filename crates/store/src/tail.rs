//! The end of history that documents and outbox do not cover yet, read at start and replayed upon them.

use std::collections::BTreeMap;
use std::sync::Arc;

use document::{Revision, Value};
use futures_util::TryStreamExt as _;
use jiff::Timestamp;
use kernel::{FixtureKey, Held, Paper};
use sqlx::SqliteConnection;

use crate::error::StoreError;
use crate::load::{bad, column, count, time};
use crate::unsettled::SETTLED;

const TABLE: &str = "history";

/// A row of history, as far as a document is made up from it.
#[derive(Debug)]
struct Step {
    row: i64,
    revision: Revision,
    at: Timestamp,
    patch: Arc<str>,
}

/// Steps by slot, in order.
#[derive(Debug, Default)]
pub(crate) struct Steps(BTreeMap<i64, Vec<Step>>);

/// The end of history that is to be replayed.
#[derive(Debug, Default)]
pub(crate) struct Tail {
    steps: Steps,
    /// The fixtures that it asks to be published, each with the row that does.
    pub(crate) due: BTreeMap<FixtureKey, i64>,
    /// Whether the file says that there is such an end, even if there is nothing in it.
    pub(crate) is_marked: bool,
    /// The row that the mark names; 0 without one. It may have been given to no row of history, but it was given.
    pub(crate) mark: i64,
}

impl Tail {
    /// Reads it. It is empty where documents and outbox cover all.
    pub(crate) async fn read(connection: &mut SqliteConnection) -> Result<Self, StoreError> {
        let reading = || StoreError::sql("reading the end of history");
        let setting: Option<(String,)> = sqlx::query_as("SELECT value FROM setting WHERE name = ?")
            .bind(SETTLED)
            .fetch_optional(&mut *connection)
            .await
            .map_err(reading())?;
        let Some((settled,)) = setting else { return Ok(Self::default()) };
        let settled: i64 = settled.parse().map_err(|error: std::num::ParseIntError| StoreError::Row {
            table: "setting",
            column: "value",
            key: SETTLED.into(),
            detail: error.to_string(),
        })?;
        let mut tail = Self { is_marked: true, mark: settled, ..Self::default() };
        let mut rows = sqlx::query("SELECT id, slot, revision, at, patch FROM history WHERE id > ? ORDER BY id")
            .bind(settled)
            .fetch(connection);
        while let Some(row) = rows.try_next().await.map_err(reading())? {
            let id: i64 = column(&row, TABLE, "id", settled)?;
            let slot: i64 = column(&row, TABLE, "slot", id)?;
            let step = Step {
                row: id,
                revision: Revision::new(count(TABLE, "revision", id, column(&row, TABLE, "revision", id)?)?),
                at: time(TABLE, "at", id, column(&row, TABLE, "at", id)?)?,
                patch: column::<String>(&row, TABLE, "patch", id)?.into(),
            };
            let key = FixtureKey(slot >> 3);
            // what is published is made of these two; publishing once too often does no harm
            if slot & 7 != Paper::Reported as i64 {
                tail.due.insert(key, id);
            }
            tail.steps.0.entry(slot).or_default().push(step);
        }
        Ok(tail)
    }

    /// Takes out the steps of fixtures below a key. Asked for one range of keys after the other, it gives those of each.
    pub(crate) fn take_below(&mut self, key: i64) -> Steps {
        let later = self.steps.0.split_off(&key.saturating_mul(8));
        Steps(std::mem::replace(&mut self.steps.0, later))
    }
}

impl Steps {
    /// Brings a document up to history; `None` when it is as it was.
    pub(crate) fn replay(&mut self, slot: i64, held: &Held) -> Result<Option<Held>, StoreError> {
        let Some(steps) = self.0.remove(&slot) else { return Ok(None) };
        let mut steps = steps.into_iter().filter(|step| held.head.is_none_or(|head| step.row > head)).peekable();
        if steps.peek().is_none() {
            return Ok(None);
        }
        let mut held = held.clone();
        let mut value = held.value();
        for step in steps {
            if step.revision != held.revision.next() {
                let text = format!("it makes revision {}, upon {}", step.revision, held.revision);
                return Err(bad(TABLE, "revision", step.row, text));
            }
            let patch: Value =
                serde_json::from_str(&step.patch).map_err(|error| bad(TABLE, "patch", step.row, error))?;
            if !patch.is_object() {
                return Err(bad(TABLE, "patch", step.row, "it is not an object"));
            }
            document::merge(&mut value, &patch);
            held = Held {
                revision: step.revision,
                drift: 0,
                at: step.at,
                head: Some(step.row),
                text: held.text,
                step: Some(step.patch),
            };
        }
        held.text = document::write(&value).into();
        Ok(Some(held))
    }
}
