//! Reads the house from the database at start.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use futures_util::TryStreamExt as _;
use futures_util::stream::FuturesOrdered;
use jiff::Timestamp;
use kernel::{FixtureId, FixtureKey};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row as _, SqliteConnection};

use crate::batch::Numbers;
use crate::error::StoreError;
use crate::house::House;
use crate::outbox::Outbox;
use crate::packed::{KEYS, Packed, Unpacked};
use crate::requests::{KEPT, Requests};
use crate::retention::LAST_ROW;
use crate::tail::Tail;
use crate::tokens::{Scope, Token, TokenBook};
use crate::unsettled::{Parts, Unsettled};

/// How many packs of rows are read into fixtures at once.
const AT_ONCE: usize = 16;

/// What was read.
pub(crate) struct Loaded {
    pub(crate) house: Arc<House>,
    pub(crate) outbox: Arc<Outbox>,
    pub(crate) tokens: Arc<TokenBook>,
    pub(crate) requests: Requests,
    pub(crate) numbers: Numbers,
    pub(crate) unsettled: Unsettled,
    pub(crate) key: [u8; 32],
}

/// A column of a row; what does not decode is told with table, column and key.
pub(crate) fn column<'r, T>(
    row: &'r SqliteRow,
    table: &'static str,
    name: &'static str,
    key: i64,
) -> Result<T, StoreError>
where
    T: sqlx::Decode<'r, sqlx::Sqlite> + sqlx::Type<sqlx::Sqlite>,
{
    row.try_get(name).map_err(|error| bad(table, name, key, error))
}

pub(crate) fn bad(table: &'static str, column: &'static str, key: i64, detail: impl ToString) -> StoreError {
    StoreError::Row { table, column, key: key.to_string(), detail: detail.to_string() }
}

/// A time in Unix milliseconds.
pub(crate) fn time(table: &'static str, name: &'static str, key: i64, at: i64) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(at).map_err(|error| bad(table, name, key, error))
}

/// A number that is not below zero.
pub(crate) fn count(table: &'static str, name: &'static str, key: i64, n: i64) -> Result<u64, StoreError> {
    u64::try_from(n).map_err(|_| bad(table, name, key, "it is below zero"))
}

pub(crate) async fn load(connection: &mut SqliteConnection, now: Timestamp) -> Result<Loaded, StoreError> {
    let mut tail = Tail::read(&mut *connection).await?;
    let Read { house, last_head, mut replayed } = load_house(connection, &mut tail).await?;
    for key in tail.due.keys() {
        let parts = replayed.entry(*key).or_default();
        *parts = parts.and(Parts::OUTBOX);
    }
    let due = load_due(connection, &tail).await?;
    let last_ticket = due.values().copied().max().unwrap_or(0);
    let outbox = Outbox::default();
    outbox.swap(named(connection, &house, due).await?);
    let tokens = load_tokens(connection).await?;
    let requests = load_requests(connection, now).await?;
    let numbers = Numbers {
        history: last_row(connection).await?.max(last_head).max(last_ticket).max(tail.mark),
        fixture: number(connection, "SELECT coalesce(max(key), 0) FROM fixture").await?,
    };
    let key = key(connection).await?;
    Ok(Loaded {
        house: Arc::new(house),
        outbox: Arc::new(outbox),
        tokens: Arc::new(tokens),
        requests,
        numbers,
        unsettled: Unsettled::read(replayed, tail.is_marked),
        key,
    })
}

/// The fixtures that were read.
struct Read {
    house: House,
    /// The last row of history that a document names.
    last_head: i64,
    /// What the end of history has changed.
    replayed: HashMap<FixtureKey, Parts>,
}

/// Reads all fixtures: rows are read in order while those before them are made into fixtures.
async fn load_house(connection: &mut SqliteConnection, tail: &mut Tail) -> Result<Read, StoreError> {
    let first = number(connection, "SELECT coalesce(min(key), 0) FROM fixture").await?;
    let last = number(connection, "SELECT coalesce(max(key), -1) FROM fixture").await?;
    let mut fixtures = Vec::new();
    let (mut last_head, mut replayed) = (0, HashMap::new());
    let mut take = |unpacked: Unpacked| {
        fixtures.extend(unpacked.fixtures);
        last_head = unpacked.last_head.max(last_head);
        for (key, parts) in unpacked.replayed {
            let held: &mut Parts = replayed.entry(key).or_default();
            *held = held.and(parts);
        }
    };
    let mut unpacking = FuturesOrdered::new();
    let mut from = first;
    while from <= last {
        let packed = Packed::read(connection, from).await?;
        from = from.saturating_add(KEYS);
        let steps = tail.take_below(from);
        unpacking.push_back(tokio::task::spawn_blocking(move || packed.unpack(steps)));
        if unpacking.len() >= AT_ONCE
            && let Some(unpacked) = unpacking.try_next().await.map_err(fell)?
        {
            take(unpacked?);
        }
    }
    while let Some(unpacked) = unpacking.try_next().await.map_err(fell)? {
        take(unpacked?);
    }
    Ok(Read { house: House::of(fixtures), last_head, replayed })
}

/// The runtime is shutting down.
fn fell(_: tokio::task::JoinError) -> StoreError {
    StoreError::Stopped
}

/// The tickets by fixture of what is to be published.
async fn load_due(connection: &mut SqliteConnection, tail: &Tail) -> Result<BTreeMap<FixtureKey, i64>, StoreError> {
    let mut due = BTreeMap::new();
    let mut rows = sqlx::query("SELECT fixture, ticket FROM outbox").fetch(connection);
    while let Some(row) = rows.try_next().await.map_err(StoreError::sql("reading the house"))? {
        let key: i64 = column(&row, "outbox", "fixture", 0)?;
        due.insert(FixtureKey(key), column(&row, "outbox", "ticket", key)?);
    }
    for (key, row) in &tail.due {
        let ticket = due.entry(*key).or_insert(*row);
        *ticket = (*row).max(*ticket);
    }
    Ok(due)
}

/// The same with the fixtures' ids; those that are gone are named by their rows.
async fn named(
    connection: &mut SqliteConnection,
    house: &House,
    due: BTreeMap<FixtureKey, i64>,
) -> Result<Vec<(FixtureKey, Option<(FixtureId, i64)>)>, StoreError> {
    let mut named = Vec::with_capacity(due.len());
    for (key, ticket) in due {
        let id = match house.by_key(key) {
            Some(fixture) => Some(fixture.id.clone()),
            None => gone(connection, key).await?,
        };
        if let Some(id) = id {
            named.push((key, Some((id, ticket))));
        }
    }
    Ok(named)
}

/// The id of a fixture that is gone.
async fn gone(connection: &mut SqliteConnection, key: FixtureKey) -> Result<Option<FixtureId>, StoreError> {
    let row: Option<(String,)> = sqlx::query_as("SELECT id FROM fixture WHERE key = ?")
        .bind(key.0)
        .fetch_optional(connection)
        .await
        .map_err(StoreError::sql("reading the house"))?;
    row.map(|(id,)| id.parse().map_err(|error: kernel::NameError| bad("fixture", "id", key.0, error))).transpose()
}

/// The last number given to a row of history, so far as history tells. The row itself may be retired while a document,
/// a snapshot or the outbox still names it: given again, it would lead them into a stranger's past.
async fn last_row(connection: &mut SqliteConnection) -> Result<i64, StoreError> {
    let last = number(connection, "SELECT coalesce(max(id), 0) FROM history").await?;
    let kept: Option<(String,)> = sqlx::query_as("SELECT value FROM setting WHERE name = ?")
        .bind(LAST_ROW)
        .fetch_optional(connection)
        .await
        .map_err(StoreError::sql("reading the house"))?;
    // one that does not decode is no reason not to serve the house: documents and history tell nearly as much
    Ok(kept.and_then(|(text,)| text.parse().ok()).unwrap_or(0).max(last))
}

async fn number(connection: &mut SqliteConnection, sql: &'static str) -> Result<i64, StoreError> {
    let (number,): (i64,) =
        sqlx::query_as(sql).fetch_one(connection).await.map_err(StoreError::sql("reading the house"))?;
    Ok(number)
}

async fn load_tokens(connection: &mut SqliteConnection) -> Result<TokenBook, StoreError> {
    let book = TokenBook::default();
    for row in sqlx::query("SELECT id, name, scope, hash, created FROM token ORDER BY id")
        .fetch_all(connection)
        .await
        .map_err(StoreError::sql("reading the tokens"))?
    {
        let id: i64 = column(&row, "token", "id", 0)?;
        let scope: String = column(&row, "token", "scope", id)?;
        let hash: Vec<u8> = column(&row, "token", "hash", id)?;
        let hash = <[u8; 32]>::try_from(hash.as_slice()).map_err(|error| bad("token", "hash", id, error))?;
        let token = Token {
            id,
            name: column(&row, "token", "name", id)?,
            scope: Scope::read(&scope).ok_or_else(|| bad("token", "scope", id, "no such scope"))?,
            created: time("token", "created", id, column(&row, "token", "created", id)?)?,
        };
        book.push(hash.into(), token);
    }
    Ok(book)
}

async fn load_requests(connection: &mut SqliteConnection, now: Timestamp) -> Result<Requests, StoreError> {
    let mut requests = Requests::default();
    let since = now.checked_sub(KEPT).unwrap_or(Timestamp::MIN).as_millisecond();
    for row in sqlx::query("SELECT key, fingerprint, answer FROM request WHERE at >= ?")
        .bind(since)
        .fetch_all(connection)
        .await
        .map_err(StoreError::sql("reading requests"))?
    {
        let fingerprint: Vec<u8> = column(&row, "request", "fingerprint", 0)?;
        let answer: Option<String> = column(&row, "request", "answer", 0)?;
        requests.load(column(&row, "request", "key", 0)?, &fingerprint, answer.as_deref());
    }
    Ok(requests)
}

/// The key under which this database hashes secrets; made when it is first opened.
async fn key(connection: &mut SqliteConnection) -> Result<[u8; 32], StoreError> {
    let doing = "reading the database's key";
    let row: Option<(String,)> = sqlx::query_as("SELECT value FROM setting WHERE name = 'hash-key'")
        .fetch_optional(&mut *connection)
        .await
        .map_err(StoreError::sql(doing))?;
    if let Some((text,)) = row {
        return blake3::Hash::from_hex(text).map(|hash| *hash.as_bytes()).map_err(|error| StoreError::Row {
            table: "setting",
            column: "value",
            key: "hash-key".into(),
            detail: error.to_string(),
        });
    }
    let mut key = [0_u8; 32];
    getrandom::fill(&mut key).map_err(|error| StoreError::Io {
        doing: "asking for randomness at",
        path: "the system".into(),
        source: Arc::new(std::io::Error::other(error.to_string())),
    })?;
    sqlx::query("INSERT INTO setting (name, value) VALUES ('hash-key', ?)")
        .bind(blake3::Hash::from_bytes(key).to_hex().to_string())
        .execute(connection)
        .await
        .map_err(StoreError::sql(doing))?;
    Ok(key)
}
