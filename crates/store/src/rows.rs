//! The rows of a commit, and how they are written: many rows a statement, since each statement that is run costs a
//! crossing to the connection's thread.

use std::fmt::Write as _;
use std::sync::Arc;

use sqlx::query::Query;
use sqlx::sqlite::SqliteArguments;
use sqlx::{AssertSqlSafe, Sqlite, SqliteConnection};

use crate::error::StoreError;

/// How many rows go into one statement; each size is prepared once and kept.
const SIZES: [usize; 4] = [64, 16, 4, 1];

type Bound<'q> = Query<'q, Sqlite, SqliteArguments>;

/// A row of a table that is written in numbers.
pub(crate) trait Row {
    /// The statement before `VALUES`, and what follows the values.
    const INTO: &'static str;
    /// What follows the values.
    const AFTER: &'static str;
    /// How many values a row has.
    const VALUES: usize;
    /// Binds the row's values in order.
    fn bind<'q>(&'q self, query: Bound<'q>) -> Bound<'q>;
}

/// Writes all rows.
pub(crate) async fn write<R: Row>(connection: &mut SqliteConnection, mut rows: &[R]) -> Result<(), StoreError> {
    while let Some(size) = SIZES.into_iter().find(|size| *size <= rows.len()) {
        let (now, later) = rows.split_at(size);
        let sql = statement::<R>(size);
        let mut query = sqlx::query(AssertSqlSafe(sql));
        for row in now {
            query = row.bind(query);
        }
        query.execute(&mut *connection).await.map_err(StoreError::sql("writing"))?;
        rows = later;
    }
    Ok(())
}

fn statement<R: Row>(rows: usize) -> String {
    let mut sql = String::with_capacity(64 + rows * R::VALUES * 2);
    let _ = write!(sql, "{} VALUES ", R::INTO);
    for row in 0..rows {
        sql.push_str(if row == 0 { "(" } else { ",(" });
        for value in 0..R::VALUES {
            sql.push_str(if value == 0 { "?" } else { ",?" });
        }
        sql.push(')');
    }
    sql.push_str(R::AFTER);
    sql
}

macro_rules! row {
    ($(#[$doc:meta])* $name:ident { $($field:ident : $type:ty),+ $(,)? } $into:literal, $after:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone)]
        pub(crate) struct $name { $(pub(crate) $field: $type),+ }

        impl Row for $name {
            const INTO: &'static str = concat!($into, " (", row!(@names $($field),+), ")");
            const AFTER: &'static str = $after;
            const VALUES: usize = [$(stringify!($field)),+].len();

            fn bind<'q>(&'q self, query: Bound<'q>) -> Bound<'q> {
                query $(.bind(&self.$field))+
            }
        }
    };
    (@names $first:ident $(, $rest:ident)*) => { concat!(stringify!($first) $(, ", ", stringify!($rest))*) };
}

row! {
    /// A row of `fixture`.
    FixtureRow { key: i64, id: String, created: i64, deleted: Option<i64>, secret: Option<Vec<u8>>, enrolled: Option<i64>, broker_line: Option<Arc<str>> }
    "INSERT INTO fixture",
    " ON CONFLICT (key) DO UPDATE SET deleted = excluded.deleted, secret = excluded.secret, enrolled = excluded.enrolled,
      broker_line = excluded.broker_line"
}
row! {
    /// A row of `document`.
    DocumentRow { slot: i64, revision: i64, drift: i64, at: i64, head: Option<i64>, body: Arc<str> }
    "INSERT INTO document",
    " ON CONFLICT (slot) DO UPDATE SET revision = excluded.revision, drift = excluded.drift, at = excluded.at,
      head = excluded.head, body = excluded.body"
}
row! {
    /// A row of `history`.
    HistoryRow { id: i64, slot: i64, revision: i64, at: i64, by: Arc<str>, via: &'static str, cause: Option<Arc<str>>, patch: Arc<str>, inverse: Arc<str>, prev: Option<i64> }
    "INSERT INTO history", ""
}
row! {
    /// A row of `snapshot`.
    SnapshotRow { slot: i64, revision: i64, at: i64, history: i64, body: Arc<str> }
    "INSERT INTO snapshot", ""
}
row! {
    /// A row of `life`.
    LifeRow { fixture: i64, applied: i64, applied_at: Option<i64>, heard: Option<i64>, alive: Option<bool>, alive_at: Option<i64>, boot: Option<String>, boots_heard: i64, fresh: bool, doubted: bool, wish_n: Option<i64>, event_n: Option<i64>, count: i64 }
    "INSERT OR REPLACE INTO life", ""
}
row! {
    /// A row of `boot`.
    BootRow { fixture: i64, at: i64, reason: &'static str, have: i64, firmware: Option<String>, boots: Option<i64>, rssi: Option<i64> }
    "INSERT INTO boot", ""
}
row! {
    /// A row of `event`.
    EventRow { fixture: i64, at: i64, event: Arc<str>, n: i64 }
    "INSERT INTO event", ""
}
row! {
    /// A row of `outbox`.
    OutboxRow { fixture: i64, ticket: i64 }
    "INSERT OR REPLACE INTO outbox", ""
}
row! {
    /// A row of `request`.
    RequestRow { key: String, fingerprint: Vec<u8>, at: i64, answer: Option<String> }
    "INSERT OR REPLACE INTO request", ""
}

/// Deletes rows by an integer key, one statement for all.
pub(crate) async fn delete(
    connection: &mut SqliteConnection,
    sql: &'static str,
    keys: &[i64],
) -> Result<(), StoreError> {
    if keys.is_empty() {
        return Ok(());
    }
    // a list of integers as JSON: one statement, whatever their number
    let list = serde_json::to_string(keys).unwrap_or_default();
    sqlx::query(sql).bind(list).execute(connection).await.map_err(StoreError::sql("clearing"))?;
    Ok(())
}
