//! Replays a database file with plain SQL, knowing nothing of the program that wrote it but its schema, and compares.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use document::{Pointer, Value};
use serde_json::json;
use sqlx::{Connection, SqliteConnection};

use crate::rig::connection;

/// What was found.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Found {
    pub(crate) fixtures: usize,
    pub(crate) changes: usize,
    pub(crate) snapshots: usize,
    pub(crate) waiting: usize,
}

/// Slot, revision, time, body; revision and time of the row that it names.
type SnapshotRow = (i64, i64, i64, String, Option<i64>, Option<i64>);

/// One document while its history is replayed.
#[derive(Debug)]
struct Replayed {
    revision: i64,
    row: Option<i64>,
    value: Value,
    at: BTreeMap<i64, Value>,
    rows: BTreeMap<i64, i64>,
}

fn json_of(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{text} is not JSON: {error}"))
}

/// Checks a file whose history was never retired.
pub(crate) async fn check(path: &Path) -> Found {
    let mut connection = connection(path).await;
    let mut transaction = connection.begin().await.unwrap();
    let (ok,): (String,) = sqlx::query_as("PRAGMA integrity_check").fetch_one(&mut *transaction).await.unwrap();
    assert_eq!(ok, "ok");
    let mut found = Found::default();
    let replayed = replay(&mut transaction, &mut found).await;
    check_snapshots(&mut transaction, &replayed, &mut found).await;
    let settled: Option<(String,)> = sqlx::query_as("SELECT value FROM setting WHERE name = 'settled'")
        .fetch_optional(&mut *transaction)
        .await
        .unwrap();
    // while documents and outbox are behind history, this row is the last that they cover
    let settled = settled.map_or(i64::MAX, |(row,)| row.parse().unwrap());
    check_documents(&mut transaction, &replayed, settled, &mut found).await;
    check_outbox(&mut transaction, &replayed, settled, &mut found).await;
    transaction.rollback().await.unwrap();
    connection.close().await.unwrap();
    found
}

async fn replay(connection: &mut SqliteConnection, found: &mut Found) -> BTreeMap<i64, Replayed> {
    let rows: Vec<(i64, i64, i64, String, String, Option<i64>)> =
        sqlx::query_as("SELECT id, slot, revision, patch, inverse, prev FROM history ORDER BY id")
            .fetch_all(connection)
            .await
            .unwrap();
    let mut replayed: BTreeMap<i64, Replayed> = BTreeMap::new();
    let mut last_row = 0;
    for (row, slot, revision, patch, inverse, prev) in rows {
        assert_eq!(row, last_row + 1, "rows are numbered without a hole");
        last_row = row;
        let state = replayed.entry(slot).or_insert_with(|| Replayed {
            revision: 0,
            row: None,
            value: json!({}),
            at: BTreeMap::from([(0, json!({}))]),
            rows: BTreeMap::new(),
        });
        assert_eq!(revision, state.revision + 1, "row {row}: revisions of slot {slot} go up by one");
        assert_eq!(prev, state.row, "row {row}: the chain of slot {slot} is whole");
        let after = match json_of(&patch) {
            Value::Null => json!({}),
            patch => document::merged(&state.value, &patch),
        };
        let back = document::merged(&after, &json_of(&inverse));
        assert!(document::equal(&back, &state.value), "row {row}: the inverse leads back");
        state.at.insert(revision, after.clone());
        state.rows.insert(revision, row);
        (state.revision, state.row, state.value) = (revision, Some(row), after);
        found.changes += 1;
    }
    replayed
}

async fn check_snapshots(connection: &mut SqliteConnection, replayed: &BTreeMap<i64, Replayed>, found: &mut Found) {
    let rows: Vec<SnapshotRow> = sqlx::query_as(
        "SELECT s.slot, s.revision, s.at, s.body, h.revision, h.at FROM snapshot s LEFT JOIN history h ON h.id = s.history",
    )
    .fetch_all(connection)
    .await
    .unwrap();
    for (slot, revision, at, body, of, made) in rows {
        assert_eq!(revision % 64, 0);
        assert_eq!((of, made), (Some(revision), Some(at)), "slot {slot}: a snapshot names its row");
        let state = replayed.get(&slot).and_then(|state| state.at.get(&revision)).expect("a state of that revision");
        assert!(document::equal(&json_of(&body), state), "slot {slot}: the snapshot of {revision}");
        found.snapshots += 1;
    }
    let due: i64 = replayed.values().map(|state| state.revision / 64).sum();
    assert_eq!(i64::try_from(found.snapshots).unwrap(), due, "every 64th revision has its snapshot");
}

async fn check_documents(
    connection: &mut SqliteConnection,
    replayed: &BTreeMap<i64, Replayed>,
    settled: i64,
    found: &mut Found,
) {
    let fixtures: Vec<(i64, Option<i64>)> =
        sqlx::query_as("SELECT key, deleted FROM fixture").fetch_all(&mut *connection).await.unwrap();
    let rows: Vec<(i64, i64, Option<i64>, String)> =
        sqlx::query_as("SELECT slot, revision, head, body FROM document").fetch_all(&mut *connection).await.unwrap();
    let documents: BTreeMap<i64, _> =
        rows.into_iter().map(|(slot, revision, head, body)| (slot, (revision, head, json_of(&body)))).collect();
    for (key, deleted) in fixtures {
        found.fixtures += usize::from(deleted.is_none());
        for slot in key * 8..key * 8 + 3 {
            let held = documents.get(&slot);
            assert!(deleted.is_none() || held.is_none(), "slot {slot} is of a fixture that is gone");
            if deleted.is_some() {
                continue;
            }
            let Some(state) = replayed.get(&slot) else {
                assert!(held.is_none_or(|(revision, ..)| *revision == 0), "slot {slot} has no history");
                continue;
            };
            let nothing = (0, None, json!({}));
            let (revision, head, body) = held.unwrap_or(&nothing);
            assert!(*revision <= state.revision, "slot {slot} is at {revision}, history tells {}", state.revision);
            assert_eq!(*head, state.rows.get(revision).copied(), "slot {slot}");
            let next = state.rows.get(&(revision + 1));
            assert!(next.is_none_or(|row| *row > settled), "slot {slot} is at {revision}, and {settled} is settled");
            let told = &state.at[revision];
            // without what is volatile: as the record says, or said when a document that is behind was written
            let records = &replayed[&(key * 8)];
            let as_told = |record: &Value| {
                let steady = if slot % 8 == 2 { document::without(body, &volatile(record)) } else { body.clone() };
                document::equal(told, &steady)
            };
            let is_behind = *revision < state.revision;
            let agree = as_told(&records.value) || (is_behind && records.at.values().any(as_told));
            assert!(agree, "slot {slot}: history tells {told}, the document is {body}");
        }
    }
    let (strangers,): (i64,) = sqlx::query_as(
        "SELECT count(*) FROM document WHERE slot >> 3 NOT IN (SELECT key FROM fixture) OR slot & 7 > 2",
    )
    .fetch_one(connection)
    .await
    .unwrap();
    assert_eq!(strangers, 0);
}

fn volatile(record: &Value) -> Vec<Pointer> {
    match record.get("volatile").and_then(Value::as_array) {
        None => vec!["/rssi".parse().unwrap(), "/uptime".parse().unwrap()],
        Some(list) => list.iter().map(|pointer| pointer.as_str().unwrap().parse().unwrap()).collect(),
    }
}

async fn check_outbox(
    connection: &mut SqliteConnection,
    replayed: &BTreeMap<i64, Replayed>,
    settled: i64,
    found: &mut Found,
) {
    let rows: Vec<(i64, i64, Option<i64>)> =
        sqlx::query_as("SELECT o.fixture, o.ticket, f.key FROM outbox o LEFT JOIN fixture f ON f.key = o.fixture")
            .fetch_all(connection)
            .await
            .unwrap();
    let mut waiting = BTreeSet::new();
    for (fixture, ticket, key) in rows {
        assert_eq!(key, Some(fixture), "what is to be published is of a fixture");
        assert!(ticket > 0);
        waiting.insert(fixture);
    }
    // what history asks to be published, beyond what the outbox covers
    for (slot, state) in replayed {
        if slot % 8 < 2 && state.row.is_some_and(|row| row > settled) {
            waiting.insert(slot / 8);
        }
    }
    found.waiting = waiting.len();
}
