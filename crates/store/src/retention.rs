//! Retiring old history, a portion at a time. The last snapshot of a document is never retired.

use jiff::{SignedDuration, Timestamp};
use sqlx::{Connection, SqliteConnection};

use crate::error::StoreError;
use crate::requests::KEPT;

/// How much history is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Retention {
    /// At most this old; `None` for any age.
    pub age: Option<SignedDuration>,
    /// At most so many rows; `None` for any number.
    pub rows: Option<u64>,
}

/// Rows retired at a time.
const PORTION: i64 = 5_000;

pub(crate) struct Portion {
    pub(crate) rows: u64,
    pub(crate) more: bool,
    pub(crate) requests: Vec<String>,
}

/// Retires one portion: rows from the oldest on, while they are too old or too many.
pub(crate) async fn portion(
    connection: &mut SqliteConnection,
    retention: Retention,
    now: Timestamp,
) -> Result<Portion, StoreError> {
    let retiring = || StoreError::sql("retiring old history");
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await.map_err(retiring())?;
    let (first, last): (Option<i64>, Option<i64>) =
        sqlx::query_as("SELECT (SELECT min(id) FROM history), (SELECT max(id) FROM history)")
            .fetch_one(&mut *transaction)
            .await
            .map_err(retiring())?;
    let mut gone = 0;
    let mut more = false;
    let before = retention.age.and_then(|age| now.checked_sub(age).ok()).map(Timestamp::as_millisecond);
    if let (Some(first), Some(last)) = (first, last) {
        let edge = (first + PORTION).min(last + 1);
        let by_rows = retention.rows.map_or(first, |rows| last + 1 - i64::try_from(rows).unwrap_or(i64::MAX));
        // by age only up to the first row that is young enough, so that no hole comes into a chain
        let by_age = match before {
            None => first,
            Some(before) => {
                let (young,): (Option<i64>,) = sqlx::query_as("SELECT min(id) FROM history WHERE id < ? AND at >= ?")
                    .bind(edge)
                    .bind(before)
                    .fetch_one(&mut *transaction)
                    .await
                    .map_err(retiring())?;
                young.unwrap_or(edge)
            }
        };
        let cut = by_rows.max(by_age).min(edge);
        if cut > first {
            gone = sqlx::query("DELETE FROM history WHERE id < ?")
                .bind(cut)
                .execute(&mut *transaction)
                .await
                .map_err(retiring())?
                .rows_affected();
            sqlx::query(
                "DELETE FROM snapshot WHERE history < ?1 AND revision <
                 (SELECT max(revision) FROM snapshot later WHERE later.slot = snapshot.slot)",
            )
            .bind(cut)
            .execute(&mut *transaction)
            .await
            .map_err(retiring())?;
            more = cut == edge && edge <= last;
        }
    }
    if let Some(before) = before {
        for sql in ["DELETE FROM boot WHERE at < ?", "DELETE FROM event WHERE at < ?"] {
            sqlx::query(sql).bind(before).execute(&mut *transaction).await.map_err(retiring())?;
        }
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
