//! Reads the house from the database at start.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use document::{Revision, Value};
use jiff::Timestamp;
use kernel::{Fixture, FixtureId, FixtureKey, Held, Life, Paper, Record, SecretHash};
use sqlx::sqlite::SqliteRow;
use sqlx::{Row as _, SqliteConnection};

use crate::batch::{Numbers, slot};
use crate::error::StoreError;
use crate::house::House;
use crate::outbox::Outbox;
use crate::requests::{KEPT, Requests};
use crate::tokens::{Scope, Token, TokenBook};

/// The last number given to a row of history. The row itself may be retired while a document, a snapshot or the outbox
/// still names it: given again, it would lead them into a stranger's past.
const LAST_ROW: &str = "SELECT max(
    coalesce((SELECT max(id) FROM history), 0), coalesce((SELECT max(ticket) FROM outbox), 0),
    coalesce((SELECT max(head) FROM document), 0), coalesce((SELECT max(history) FROM snapshot), 0))";

/// What was read.
pub(crate) struct Loaded {
    pub(crate) house: Arc<House>,
    pub(crate) outbox: Arc<Outbox>,
    pub(crate) tokens: Arc<TokenBook>,
    pub(crate) requests: Requests,
    pub(crate) numbers: Numbers,
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

fn count(table: &'static str, name: &'static str, key: i64, n: i64) -> Result<u64, StoreError> {
    u64::try_from(n).map_err(|_| bad(table, name, key, "it is below zero"))
}

pub(crate) async fn load(connection: &mut SqliteConnection, now: Timestamp) -> Result<Loaded, StoreError> {
    let reading = || StoreError::sql("reading the house");
    let mut documents: HashMap<i64, Held> = HashMap::new();
    for row in sqlx::query("SELECT slot, revision, drift, at, head, body FROM document")
        .fetch_all(&mut *connection)
        .await
        .map_err(reading())?
    {
        let slot: i64 = column(&row, "document", "slot", 0)?;
        let body: String = column(&row, "document", "body", slot)?;
        match serde_json::from_str::<Value>(&body) {
            Ok(Value::Object(_)) => {}
            Ok(_) => return Err(bad("document", "body", slot, "it is not an object")),
            Err(error) => return Err(bad("document", "body", slot, error)),
        }
        let number = |name| count("document", name, slot, column(&row, "document", name, slot)?);
        let held = Held {
            revision: Revision::new(number("revision")?),
            drift: number("drift")?,
            at: time("document", "at", slot, column(&row, "document", "at", slot)?)?,
            head: column(&row, "document", "head", slot)?,
            text: body.into(),
        };
        documents.insert(slot, held);
    }
    let mut lives = HashMap::new();
    for row in sqlx::query("SELECT * FROM life").fetch_all(&mut *connection).await.map_err(reading())? {
        let (key, life) = read_life(&row)?;
        lives.insert(key, life);
    }
    let mut fixtures: Vec<(FixtureId, Option<Arc<Fixture>>)> = Vec::new();
    let mut names: HashMap<FixtureKey, FixtureId> = HashMap::new();
    for row in sqlx::query("SELECT key, id, created, deleted, secret, enrolled FROM fixture")
        .fetch_all(&mut *connection)
        .await
        .map_err(reading())?
    {
        let key: i64 = column(&row, "fixture", "key", 0)?;
        let id: String = column(&row, "fixture", "id", key)?;
        let id: FixtureId = id.parse().map_err(|error: kernel::NameError| bad("fixture", "id", key, error))?;
        names.insert(FixtureKey(key), id.clone());
        if column::<Option<i64>>(&row, "fixture", "deleted", key)?.is_none() {
            let fixture = read_fixture(&row, FixtureKey(key), id.clone(), &mut documents, &mut lives)?;
            fixtures.push((id, Some(Arc::new(fixture))));
        }
    }
    let house = House::default();
    house.swap([], fixtures);
    let outbox = Outbox::default();
    let mut due = Vec::new();
    for row in sqlx::query("SELECT fixture, ticket FROM outbox").fetch_all(&mut *connection).await.map_err(reading())? {
        let key: i64 = column(&row, "outbox", "fixture", 0)?;
        let ticket: i64 = column(&row, "outbox", "ticket", key)?;
        if let Some(id) = names.get(&FixtureKey(key)) {
            due.push((FixtureKey(key), Some((id.clone(), ticket))));
        }
    }
    outbox.swap(due);
    let tokens = load_tokens(connection).await?;
    let requests = load_requests(connection, now).await?;
    let numbers = Numbers {
        history: largest(connection, LAST_ROW).await?,
        fixture: largest(connection, "SELECT coalesce(max(key), 0) FROM fixture").await?,
    };
    let key = key(connection).await?;
    Ok(Loaded { house: Arc::new(house), outbox: Arc::new(outbox), tokens: Arc::new(tokens), requests, numbers, key })
}

async fn largest(connection: &mut SqliteConnection, sql: &'static str) -> Result<i64, StoreError> {
    let (number,): (i64,) =
        sqlx::query_as(sql).fetch_one(connection).await.map_err(StoreError::sql("reading the house"))?;
    Ok(number)
}

fn read_fixture(
    row: &SqliteRow,
    key: FixtureKey,
    id: FixtureId,
    documents: &mut HashMap<i64, Held>,
    lives: &mut HashMap<i64, Life>,
) -> Result<Fixture, StoreError> {
    let created = time("fixture", "created", key.0, column(row, "fixture", "created", key.0)?)?;
    let mut paper = |paper| documents.remove(&slot(key, paper));
    let record_held = paper(Paper::Fixture)
        .ok_or_else(|| bad("document", "slot", slot(key, Paper::Fixture), "the record of a fixture is missing"))?;
    let mut paper = |name| paper(name).unwrap_or_else(|| Held::empty(created));
    let (desired, reported) = (paper(Paper::Desired), paper(Paper::Reported));
    let record = Record::read(&id, &record_held.value()).map_err(|findings| {
        let text =
            findings.first().map_or_else(String::new, |finding| format!("{}: {}", finding.pointer, finding.text));
        bad("document", "body", slot(key, Paper::Fixture), text)
    })?;
    let secret: Option<Vec<u8>> = column(row, "fixture", "secret", key.0)?;
    let secret = match secret {
        None => None,
        Some(bytes) => Some(SecretHash(
            <[u8; 32]>::try_from(bytes.as_slice())
                .map(Into::into)
                .map_err(|error| bad("fixture", "secret", key.0, error))?,
        )),
    };
    let enrolled: Option<i64> = column(row, "fixture", "enrolled", key.0)?;
    Ok(Fixture {
        key,
        id,
        created,
        record: Arc::new(record),
        record_held: Arc::new(record_held),
        desired: Arc::new(desired),
        reported: Arc::new(reported),
        secret,
        enrolled_at: enrolled.map(|at| time("fixture", "enrolled", key.0, at)).transpose()?,
        life: lives.remove(&key.0).unwrap_or_else(Life::unheard),
        outlook: Arc::new(OnceLock::new()),
    })
}

fn read_life(row: &SqliteRow) -> Result<(i64, Life), StoreError> {
    let key: i64 = column(row, "life", "fixture", 0)?;
    let at = |name: &'static str| -> Result<Option<Timestamp>, StoreError> {
        column::<Option<i64>>(row, "life", name, key)?.map(|at| time("life", name, key, at)).transpose()
    };
    let number = |name: &'static str| {
        column::<Option<i64>>(row, "life", name, key)?.map(|n| count("life", name, key, n)).transpose()
    };
    let boot: Option<String> = column(row, "life", "boot", key)?;
    let life = Life {
        applied: Revision::new(number("applied")?.unwrap_or(0)),
        applied_at: at("applied_at")?,
        heard: at("heard")?,
        alive: column(row, "life", "alive", key)?,
        alive_at: at("alive_at")?,
        boot: boot
            .map(|text| serde_json::from_str(&text))
            .transpose()
            .map_err(|error| bad("life", "boot", key, error))?,
        boots_heard: number("boots_heard")?.unwrap_or(0),
        fresh: column(row, "life", "fresh", key)?,
        doubted: column(row, "life", "doubted", key)?,
        wish_n: number("wish_n")?,
        event_n: number("event_n")?,
        count: number("count")?.unwrap_or(0),
    };
    Ok((key, life))
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
