//! Retiring old history, a portion at a time. The last snapshot of a document is never retired.

use jiff::{SignedDuration, Timestamp};
use sqlx::{Connection, SqliteConnection};

use crate::error::StoreError;
use crate::requests::KEPT;

/// How much history is kept; boots and events of fixtures are kept by the same measure, each by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Retention {
    /// At most this old; `None` for any age.
    pub age: Option<SignedDuration>,
    /// At most so many rows of each; `None` for any number.
    pub rows: Option<u64>,
}

/// The setting that holds the number of the last row of history when history was last retired.
pub(crate) const LAST_ROW: &str = "last-row";

/// Rows of a table retired at a time.
const PORTION: i64 = 5_000;

pub(crate) struct Portion {
    pub(crate) rows: u64,
    pub(crate) more: bool,
    pub(crate) requests: Vec<String>,
}

/// A table whose rows are numbered in the order of time, and how its oldest are told and deleted.
struct Numbered {
    ends: &'static str,
    first_young: &'static str,
    delete: &'static str,
}

const HISTORY: Numbered = Numbered {
    ends: "SELECT (SELECT min(id) FROM history), (SELECT max(id) FROM history)",
    first_young: "SELECT min(id) FROM history WHERE id < ? AND at >= ?",
    delete: "DELETE FROM history WHERE id < ?",
};
const BOOTS: Numbered = Numbered {
    ends: "SELECT (SELECT min(id) FROM boot), (SELECT max(id) FROM boot)",
    first_young: "SELECT min(id) FROM boot WHERE id < ? AND at >= ?",
    delete: "DELETE FROM boot WHERE id < ?",
};
const EVENTS: Numbered = Numbered {
    ends: "SELECT (SELECT min(id) FROM event), (SELECT max(id) FROM event)",
    first_young: "SELECT min(id) FROM event WHERE id < ? AND at >= ?",
    delete: "DELETE FROM event WHERE id < ?",
};

/// Where a table is cut: rows of a number below go now, and whether more are to go afterwards.
struct Cut {
    below: i64,
    last: i64,
    more: bool,
}

impl Numbered {
    /// Where to cut so that at most a portion goes; `None` when nothing is too old or too much. No step looks at more
    /// rows than a portion has.
    async fn cut(
        &self,
        connection: &mut SqliteConnection,
        rows: Option<u64>,
        before: Option<i64>,
    ) -> Result<Option<Cut>, sqlx::Error> {
        let ends: (Option<i64>, Option<i64>) = sqlx::query_as(self.ends).fetch_one(&mut *connection).await?;
        let (Some(first), Some(last)) = ends else { return Ok(None) };
        let edge = first.saturating_add(PORTION).min(last.saturating_add(1));
        let by_rows = rows.map_or(first, |rows| (last.saturating_add(1)).saturating_sub_unsigned(rows));
        // by age only up to the first row that is young enough, so that no hole comes into a chain
        let by_age = match before {
            None => first,
            Some(before) => {
                let (young,): (Option<i64>,) =
                    sqlx::query_as(self.first_young).bind(edge).bind(before).fetch_one(&mut *connection).await?;
                young.unwrap_or(edge)
            }
        };
        let cut = by_rows.max(by_age).min(edge);
        Ok((cut > first).then_some(Cut { below: cut, last, more: cut == edge && edge <= last }))
    }

    async fn delete(&self, connection: &mut SqliteConnection, below: i64) -> Result<u64, sqlx::Error> {
        Ok(sqlx::query(self.delete).bind(below).execute(connection).await?.rows_affected())
    }
}

/// Retires one portion of each table: rows from the oldest on, while they are too old or too many.
pub(crate) async fn portion(
    connection: &mut SqliteConnection,
    retention: Retention,
    now: Timestamp,
) -> Result<Portion, StoreError> {
    let retiring = || StoreError::sql("retiring old history");
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await.map_err(retiring())?;
    let before = retention.age.and_then(|age| now.checked_sub(age).ok()).map(Timestamp::as_millisecond);
    let (mut gone, mut more) = (0, false);
    for (table, has_snapshots) in [(HISTORY, true), (BOOTS, false), (EVENTS, false)] {
        let cut = table.cut(&mut transaction, retention.rows, before).await.map_err(retiring())?;
        let Some(cut) = cut else { continue };
        if has_snapshots {
            retire_snapshots(&mut transaction, cut.below).await.map_err(retiring())?;
            keep_number(&mut transaction, cut.last).await.map_err(retiring())?;
        }
        gone += table.delete(&mut transaction, cut.below).await.map_err(retiring())?;
        more |= cut.more;
    }
    let forgotten = now.checked_sub(KEPT).unwrap_or(Timestamp::MIN).as_millisecond();
    let requests: Vec<(String,)> = sqlx::query_as("DELETE FROM request WHERE at < ? RETURNING key")
        .bind(forgotten)
        .fetch_all(&mut *transaction)
        .await
        .map_err(retiring())?;
    transaction.commit().await.map_err(retiring())?;
    Ok(Portion { rows: gone, more, requests: requests.into_iter().map(|(key,)| key).collect() })
}

/// Retires the snapshots of rows that are about to go, but never a document's last. Only documents with such a row are
/// looked at.
async fn retire_snapshots(connection: &mut SqliteConnection, cut: i64) -> Result<(), sqlx::Error> {
    sqlx::query(
        "DELETE FROM snapshot WHERE slot IN (SELECT DISTINCT slot FROM history WHERE id < ?1) AND history < ?1
         AND revision < (SELECT max(revision) FROM snapshot later WHERE later.slot = snapshot.slot)",
    )
    .bind(cut)
    .execute(connection)
    .await?;
    Ok(())
}

/// Keeps the number of the last row of history, which may go itself: documents and snapshots still name it, and given
/// again, it would lead them into a stranger's past.
async fn keep_number(connection: &mut SqliteConnection, last: i64) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT OR REPLACE INTO setting (name, value) VALUES (?, ?)")
        .bind(LAST_ROW)
        .bind(last.to_string())
        .execute(connection)
        .await?;
    Ok(())
}
