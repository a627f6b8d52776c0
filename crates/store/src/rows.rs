//! The rows of a commit, and how they are written: many rows a statement, since each statement that is run costs a
//! crossing to the connection's thread.

use std::fmt::Write as _;
use std::sync::{Arc, OnceLock};

use futures_util::StreamExt as _;
use jiff::Timestamp;
use kernel::{Fixture, Held};
use sqlx::error::BoxDynError;
use sqlx::sqlite::SqliteArguments;
use sqlx::{Arguments as _, AssertSqlSafe, Executor as _, SqliteConnection};

use crate::error::StoreError;

/// How many rows go into one statement at most. Each number of rows has a text of its own, prepared once and kept.
pub(crate) const MOST: usize = 64;

/// The texts of a table's statements, by the number of rows less one; made when first used.
pub(crate) struct Texts([OnceLock<Arc<str>>; MOST]);

impl Texts {
    const fn new() -> Self {
        Self([const { OnceLock::new() }; MOST])
    }
}

/// A row of a table that is written in numbers.
pub(crate) trait Row: Sized {
    /// The statement before `VALUES`.
    const INTO: &'static str;
    /// What follows the values.
    const AFTER: &'static str;
    /// How many values a row has.
    const VALUES: usize;
    /// The texts of this table's statements.
    fn texts() -> &'static Texts;
    /// Hands over the row's values in order.
    fn bind(self, values: &mut SqliteArguments) -> Result<(), BoxDynError>;
}

/// Writes all rows, with one statement for each [`MOST`] of them and one for the rest.
pub(crate) async fn write<R: Row>(connection: &mut SqliteConnection, rows: Vec<R>) -> Result<(), StoreError> {
    let mut rows = rows.into_iter();
    while rows.len() > 0 {
        let size = rows.len().min(MOST);
        let mut values = SqliteArguments::default();
        values.reserve(size * R::VALUES, 0);
        for row in rows.by_ref().take(size) {
            row.bind(&mut values).map_err(|error| StoreError::sql("writing")(sqlx::Error::Encode(error)))?;
        }
        let done = connection.fetch_many(sqlx::query_with(AssertSqlSafe(text::<R>(size)), values)).next().await;
        // the one statement is done when it says so, and what ends the stream is not waited for; a stream that ends
        // without a word is that of a connection whose thread is gone
        done.unwrap_or(Err(sqlx::Error::WorkerCrashed)).map_err(StoreError::sql("writing"))?;
    }
    Ok(())
}

/// The statement for so many rows.
fn text<R: Row>(rows: usize) -> Arc<str> {
    match R::texts().0.get(rows.wrapping_sub(1)) {
        Some(text) => Arc::clone(text.get_or_init(|| statement::<R>(rows).into())),
        None => statement::<R>(rows).into(),
    }
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
        #[derive(Debug)]
        pub(crate) struct $name { $(pub(crate) $field: $type),+ }

        impl Row for $name {
            const INTO: &'static str = concat!($into, " (", row!(@names $($field),+), ")");
            const AFTER: &'static str = $after;
            const VALUES: usize = [$(stringify!($field)),+].len();

            fn texts() -> &'static Texts {
                static TEXTS: Texts = Texts::new();
                &TEXTS
            }

            fn bind(self, values: &mut SqliteArguments) -> Result<(), BoxDynError> {
                $(values.add(self.$field)?;)+
                Ok(())
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
    HistoryRow { id: i64, slot: i64, revision: i64, at: i64, by: Arc<str>, via: Arc<str>, cause: Option<Arc<str>>, patch: Arc<str>, inverse: Arc<str>, prev: Option<i64> }
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

/// SQLite's integers are signed; counts here stay far below the edge.
pub(crate) fn as_signed(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

/// The row of a document as it is held.
pub(crate) fn document_row(slot: i64, held: &Held) -> DocumentRow {
    DocumentRow {
        slot,
        revision: as_signed(held.revision.get()),
        drift: as_signed(held.drift),
        at: held.at.as_millisecond(),
        head: held.head,
        body: Arc::clone(&held.text),
    }
}

/// The row of what is known of a fixture's life.
pub(crate) fn life_row(fixture: &Fixture) -> LifeRow {
    let life = &fixture.life;
    LifeRow {
        fixture: fixture.key.0,
        applied: as_signed(life.applied.get()),
        applied_at: life.applied_at.map(Timestamp::as_millisecond),
        heard: life.heard.map(Timestamp::as_millisecond),
        alive: life.alive,
        alive_at: life.alive_at.map(Timestamp::as_millisecond),
        boot: life.boot.as_ref().and_then(|boot| serde_json::to_string(boot).ok()),
        boots_heard: as_signed(life.boots_heard),
        fresh: life.fresh,
        doubted: life.doubted,
        wish_n: life.wish_n.map(as_signed),
        event_n: life.event_n.map(as_signed),
        count: as_signed(life.count),
    }
}

/// The row of a fixture, gone at that time or there.
pub(crate) fn fixture_row(fixture: &Fixture, deleted: Option<i64>, broker_line: Option<Arc<str>>) -> FixtureRow {
    FixtureRow {
        key: fixture.key.0,
        id: fixture.id.to_string(),
        created: fixture.created.as_millisecond(),
        deleted,
        secret: fixture.secret.as_ref().map(|hash| hash.0.as_bytes().to_vec()),
        enrolled: fixture.enrolled_at.map(Timestamp::as_millisecond),
        broker_line,
    }
}
