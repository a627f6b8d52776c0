//! The history of the whole house: row after row.

use sqlx::AssertSqlSafe;

use crate::chain::number;
use crate::error::StoreError;
use crate::store::Store;
use crate::trail::{COLUMNS, Change, Direction, Filter, LOOKED_AT, Page};

/// Rows read at a time.
const PORTION: usize = 512;

impl Store {
    /// A page of the history of the house.
    ///
    /// # Errors
    /// [`StoreError::Cursor`], [`StoreError::Row`] and what SQLite says.
    pub async fn history(
        &self,
        filter: &Filter,
        direction: Direction,
        cursor: Option<&str>,
        most: usize,
    ) -> Result<Page, StoreError> {
        let newest_first = direction == Direction::NewestFirst;
        let mut edge = match cursor {
            Some(text) => text.strip_prefix('r').and_then(number).ok_or(StoreError::Cursor)?,
            None => self.first_edge(filter, newest_first).await?,
        };
        let (compare, order) = if newest_first { ("<", "DESC") } else { (">", "ASC") };
        let sql = format!(
            "SELECT {COLUMNS} FROM history h JOIN fixture f ON f.key = h.slot >> 3
             WHERE h.id {compare} ? ORDER BY h.id {order} LIMIT {PORTION}"
        );
        let mut changes = Vec::new();
        let mut looked_at = 0;
        loop {
            let rows = sqlx::query(AssertSqlSafe(sql.clone()))
                .bind(edge)
                .fetch_all(self.readers())
                .await
                .map_err(StoreError::sql("reading history"))?;
            let last_portion = rows.len() < PORTION;
            for row in &rows {
                let change = Change::read(row)?;
                edge = change.id;
                looked_at += 1;
                if filter.is_past(&change, direction) {
                    return Ok(Page { changes, next: None });
                }
                if filter.wants(&change) {
                    changes.push(change);
                    if changes.len() == most {
                        return Ok(Page { changes, next: Some(format!("r{edge}")) });
                    }
                }
            }
            if last_portion {
                return Ok(Page { changes, next: None });
            }
            if looked_at >= LOOKED_AT {
                return Ok(Page { changes, next: Some(format!("r{edge}")) });
            }
        }
    }

    /// The row beside which reading begins: rows lie in order of time but for steps of the clock, so the first that
    /// can be wanted is found by halving, a day of grace included.
    async fn first_edge(&self, filter: &Filter, newest_first: bool) -> Result<i64, StoreError> {
        let day = jiff::SignedDuration::from_hours(24);
        let (low, high): (Option<i64>, Option<i64>) =
            sqlx::query_as("SELECT (SELECT min(id) FROM history), (SELECT max(id) FROM history)")
                .fetch_one(self.readers())
                .await
                .map_err(StoreError::sql("reading history"))?;
        let (Some(low), Some(high)) = (low, high) else { return Ok(0) };
        let wanted = if newest_first {
            filter.until.and_then(|until| until.checked_add(day).ok())
        } else {
            filter.since.and_then(|since| since.checked_sub(day).ok())
        };
        let Some(wanted) = wanted else { return Ok(if newest_first { high + 1 } else { low - 1 }) };
        let (mut low, mut high) = (low, high + 1);
        while low < high {
            let middle = low + (high - low) / 2;
            let row: Option<(i64, i64)> =
                sqlx::query_as("SELECT id, at FROM history WHERE id >= ? ORDER BY id LIMIT 1")
                    .bind(middle)
                    .fetch_optional(self.readers())
                    .await
                    .map_err(StoreError::sql("reading history"))?;
            match row {
                Some((_, at)) if at < wanted.as_millisecond() => low = middle + 1,
                _ => high = middle,
            }
        }
        Ok(if newest_first { low } else { low - 1 })
    }
}
