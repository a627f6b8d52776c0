//! The text dump: loaded by the plain shell, and restored.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};

use kernel::Message;
use serde_json::json;
use sqlx::Row as _;
use store::{BackupOptions, DATABASE, Scope, StoreError, dump, restore};

use crate::checker;
use crate::rig::{Rig, connection, create, delete, enrol, hear, merge, number, open, record, report, second};

/// A house with something odd in every table.
async fn house() -> Rig {
    let rig = Rig::new().await;
    for name in ["hall", "jetty", "gone"] {
        rig.tell(create(name)).await;
    }
    rig.tell(record("hall", json!({"title": "Röhricht 'am' \"Kanal\" 🌾", "notes": "one\ntwo\r\n;--\t'three'\\"})))
        .await;
    for n in 0..70 {
        rig.tell(merge("hall", json!({"n": n, "'; DROP TABLE history; --": "ünïcödé \u{2028} \u{0} ' '' \" \\ \n"})))
            .await;
    }
    rig.tell(report("hall", 1, json!({"x": [1.5e300, -0.0, 9_007_199_254_740_993_i64], "rssi": -61}))).await;
    rig.tell(hear("hall", Message::boot(br#"{"firmware":"it's \"2\"","boots":3}"#).unwrap())).await;
    rig.tell(hear("hall", Message::Event { event: "motion".into(), n: 7 })).await;
    rig.tell(enrol(&rig.store, "hall", b"secret", Some("hall:'line'\n"))).await;
    rig.tell(delete("gone")).await;
    rig.store.add_token("o'clock".into(), Scope::Edit, "text", second(0)).await.unwrap();
    // documents and outbox are up to history after a stop
    rig.reopened().await
}

/// All rows of all tables, as SQLite writes them out.
async fn rows(path: &Path) -> BTreeMap<String, Vec<String>> {
    let mut connection = connection(path).await;
    let tables: Vec<(String,)> =
        sqlx::query_as("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
            .fetch_all(&mut connection)
            .await
            .unwrap();
    let mut all = BTreeMap::new();
    for (table,) in tables {
        let columns: Vec<(String,)> = sqlx::query_as("SELECT name FROM pragma_table_info(?)")
            .bind(&table)
            .fetch_all(&mut connection)
            .await
            .unwrap();
        let list: Vec<String> =
            columns.iter().map(|(name,)| format!("typeof(\"{name}\") || hex(\"{name}\")")).collect();
        let sql = format!("SELECT concat({}) AS row FROM \"{table}\" ORDER BY 1", list.join(", ',',"));
        let sql = sql.replace("concat(", "(").replace(", ',',", " || ',' || ");
        let found = sqlx::query(sqlx::AssertSqlSafe(sql)).fetch_all(&mut connection).await.unwrap();
        all.insert(table, found.iter().map(|row| row.get::<String, _>("row")).collect());
    }
    all
}

/// Everything but what a restore sets on purpose: the outbox, and of each fixture that what it holds is doubted.
fn without_what_a_restore_sets(mut rows: BTreeMap<String, Vec<String>>) -> BTreeMap<String, Vec<String>> {
    rows.remove("outbox");
    for row in rows.get_mut("life").unwrap() {
        let mut values: Vec<&str> = row.split(',').collect();
        assert_eq!(values.len(), 13);
        for column in [1, 8, 9, 12] {
            values[column] = "applied, fresh, doubted or count";
        }
        *row = values.join(",");
    }
    // of one that was never heard there is nothing else
    rows.get_mut("life").unwrap().retain(|row| row.contains("text"));
    rows
}

async fn dumped(rig: &Rig) -> (Vec<u8>, u64) {
    let mut out = Vec::new();
    let written = dump(rig.store.path(), &mut out, &mut |_| {}).await.unwrap();
    (out, written)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_loaded_by_the_plain_shell_has_the_same_rows() {
    if Command::new("sqlite3").arg("--version").stdout(Stdio::null()).status().is_err() {
        let loud = "NOT RUN: the shell sqlite3 is not installed, so no dump was loaded by it (apt-get install sqlite3)";
        assert!(std::env::var_os("CI").is_none_or(|ci| ci != "true"), "{loud}");
        eprintln!("{loud}");
        return;
    }
    let rig = house().await;
    let (text, written) = dumped(&rig).await;
    let file = rig.folder.path().join("dump.sql");
    std::fs::write(&file, &text).unwrap();
    let loaded = rig.folder.path().join("loaded.sqlite");
    let output =
        Command::new("sqlite3").arg("-bail").arg(&loaded).stdin(std::fs::File::open(&file).unwrap()).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let (ours, theirs) = (rows(rig.store.path()).await, rows(&loaded).await);
    assert_eq!(ours, theirs);
    assert_eq!(u64::try_from(ours.values().map(Vec::len).sum::<usize>()).unwrap(), written);
    assert!(ours.values().filter(|rows| !rows.is_empty()).count() >= 10, "something is in nearly every table");
    checker::check(&loaded).await;
    assert_eq!(store::read_version(&loaded).await.unwrap(), 1, "and it is known as ours");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_that_is_restored_gives_the_same_house() {
    let rig = house().await;
    let (text, _) = dumped(&rig).await;
    let file = rig.folder.path().join("dump.sql");
    std::fs::write(&file, &text).unwrap();
    let fresh = rig.folder.path().join("elsewhere");
    let restored = restore(&file, &fresh, second(1)).await.unwrap();
    assert_eq!(restored.fixtures, 2);
    let path = fresh.join(DATABASE);
    let (before, after) = (rows(rig.store.path()).await, rows(&path).await);
    assert_eq!(without_what_a_restore_sets(before), without_what_a_restore_sets(after));
    let doubted = "SELECT count(*) FROM life WHERE doubted AND fresh AND applied = 0";
    assert_eq!((number(rig.store.path(), doubted).await, number(&path, doubted).await), (0, 2));
    let schema = "SELECT count(*) FROM sqlite_schema WHERE sql IS NOT NULL";
    assert_eq!(number(&path, schema).await, number(rig.store.path(), schema).await, "indexes too");
    let store = open(&fresh).await.unwrap();
    assert_eq!(store.house().get("hall").unwrap().desired.text, rig.get("hall").desired.text);
    assert!(store.token("text").is_some());
    let edit = crate::rig::request(merge("hall", json!({"a": 1})), second(3));
    assert_eq!(store.execute(edit).await.unwrap().answer.revision.get(), 71);
    store.stop().await;
    checker::check(&path).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_that_was_cut_short_is_refused() {
    let rig = house().await;
    let (text, _) = dumped(&rig).await;
    let fresh = rig.folder.path().join("elsewhere");
    for length in [text.len() / 3, text.len() / 2, text.len() - 20, text.len() - 8] {
        let file = rig.folder.path().join("dump.sql");
        std::fs::write(&file, &text[..length]).unwrap();
        let error = restore(&file, &fresh, second(1)).await.unwrap_err();
        assert!(matches!(error, StoreError::NotOurs { .. }), "{length}: {error}");
        assert!(!fresh.join(DATABASE).exists());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_of_a_backup_leaves_it_as_it_is() {
    let rig = house().await;
    let options = BackupOptions { folder: rig.folder.path().join("backups"), keep: 2 };
    let backup = rig.store.back_up(&options, second(0)).await.unwrap();
    let path = options.folder.join(backup.name);
    let before = std::fs::read(&path).unwrap();
    let mut out = Vec::new();
    dump(&path, &mut out, &mut |_| {}).await.unwrap();
    assert_eq!(std::fs::read(&path).unwrap(), before);
    assert_eq!(std::fs::read_dir(&options.folder).unwrap().count(), 1, "and nothing beside it");
    assert_eq!(out, dumped(&rig).await.0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_made_while_edits_run_is_of_one_moment() {
    let rig = std::sync::Arc::new(house().await);
    let editing = tokio::spawn({
        let rig = std::sync::Arc::clone(&rig);
        async move {
            for n in 0..200 {
                rig.tell(merge("jetty", json!({"n": n}))).await;
            }
        }
    });
    let (text, _) = dumped(&rig).await;
    editing.await.unwrap();
    let file = rig.folder.path().join("dump.sql");
    std::fs::write(&file, &text).unwrap();
    let fresh = rig.folder.path().join("elsewhere");
    restore(&file, &fresh, second(1)).await.unwrap();
    checker::check(&fresh.join(DATABASE)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_database_of_ours_is_not_dumped() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("letter");
    std::fs::write(&path, "Dear diary, ".repeat(500)).unwrap();
    let refused = dump(&path, &mut Vec::new(), &mut |_| {}).await;
    assert!(matches!(refused, Err(StoreError::NotOurs { .. })), "{refused:?}");
    let missing = dump(&folder.path().join("missing"), &mut Vec::new(), &mut |_| {}).await;
    assert!(matches!(missing, Err(StoreError::NotOurs { .. })), "{missing:?}");
}
