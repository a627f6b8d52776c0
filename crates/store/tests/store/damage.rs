//! Files that are damaged, cut short, or something else: refused, and the folder is as it was.

use std::path::{Path, PathBuf};

use serde_json::json;
use store::{BackupOptions, DATABASE, StoreError, restore};

use crate::rig::{Rig, create, merge, open, report, second};

/// Places to damage, the same at every run: hashes of a count.
#[derive(Default)]
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, edge: usize) -> usize {
        self.0 += 1;
        let hash = blake3::hash(&self.0.to_le_bytes());
        let number = u64::from_le_bytes(hash.as_bytes()[..8].try_into().unwrap());
        usize::try_from(number % u64::try_from(edge).unwrap()).unwrap()
    }
}

/// A stopped house and the bytes of its backup.
async fn house() -> (Rig, Vec<u8>) {
    let rig = Rig::new().await;
    for name in ["hall", "jetty"] {
        rig.tell(create(name)).await;
        let edits = (0..150).flat_map(|n| {
            [(merge(name, json!({"n": n, "text": "reeds"})), second(n)), (report(name, 1, json!({"n": n})), second(n))]
        });
        let _ = rig.tell_all(edits).await;
    }
    // documents are up to history after a stop
    let rig = rig.reopened().await;
    let options = BackupOptions { folder: rig.folder.path().join("backups"), keep: 2 };
    let backup = rig.store.back_up(&options, second(0)).await.unwrap();
    let bytes = std::fs::read(options.folder.join(backup.name)).unwrap();
    rig.store.stop().await;
    (rig, bytes)
}

/// Everything in a folder but the lock, by name.
fn contents(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut list: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_file() && !path.ends_with("lock"))
        .map(|path| (path.clone(), std::fs::read(path).unwrap()))
        .collect();
    list.sort();
    list
}

async fn refused(rig: &Rig, name: &str, bytes: &[u8]) -> StoreError {
    let elsewhere = tempfile::tempdir().unwrap();
    let file = elsewhere.path().join("file");
    std::fs::write(&file, bytes).unwrap();
    let before = contents(rig.folder.path());
    let error = restore(&file, rig.folder.path(), second(9)).await.expect_err(name);
    assert!(contents(rig.folder.path()) == before, "{name}: the folder is as it was");
    assert!(matches!(error, StoreError::Damaged { .. } | StoreError::NotOurs { .. }), "{name}: {error:?}");
    error
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_with_ruined_pages_is_refused() {
    let (rig, good) = house().await;
    let page = 4096;
    let pages = good.len() / page;
    assert!(pages > 20);
    let mut bad = good.clone();
    for n in [3, pages / 2, pages - 2] {
        bad[n * page..n * page + 100].fill(0xa5);
    }
    let error = refused(&rig, "the heads of three pages", &bad).await;
    assert!(error.to_string().contains("check"), "{error}");
    // each page on its own
    for n in 1..pages {
        let mut bad = good.clone();
        bad[n * page..(n + 1) * page].fill(0);
        refused(&rig, &format!("page {n} of zeros"), &bad).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_restored_from_a_damaged_backup_can_always_be_opened() {
    let (rig, good) = house().await;
    let mut numbers = Numbers::default();
    let (mut refused, mut taken) = (0, 0);
    for _ in 0..150 {
        let mut bad = good.clone();
        for _ in 0..=numbers.below(4) {
            let place = numbers.below(bad.len());
            bad[place] ^= u8::try_from(1 + numbers.below(255)).unwrap();
        }
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, &bad).unwrap();
        let fresh = folder.path().join("house");
        match restore(&file, &fresh, second(9)).await {
            Err(error) => {
                assert!(!fresh.join(DATABASE).exists(), "{error}");
                refused += 1;
            }
            // a letter of a title is a letter: such damage cannot be told, but it must do no harm
            Ok(_) => {
                let store = open(&fresh).await.unwrap();
                assert!(store.house().count() <= 2);
                store.stop().await;
                taken += 1;
            }
        }
    }
    assert!(refused > 30, "{refused} refused, {taken} taken");
    drop(rig);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_that_was_cut_short_is_refused() {
    let (rig, good) = house().await;
    for length in [16, 99, 100, 512, 4095, 4096, 4097, good.len() / 2, good.len() - 4096, good.len() - 1] {
        refused(&rig, &format!("{length} bytes"), &good[..length]).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn something_else_is_refused() {
    let (rig, _) = house().await;
    refused(&rig, "nothing", b"").await;
    refused(&rig, "a letter", b"Dear owner").await;
    refused(&rig, "noise", &[0xff; 5000]).await;
    refused(&rig, "SQL of another program", b"CREATE TABLE cats (name TEXT);").await;
    refused(&rig, "text that speaks of our table", b"-- _sqlx_migrations\nCREATE TABLE cats (name TEXT);").await;
    refused(&rig, "text that is no SQL", b"_sqlx_migrations and other words").await;
    let missing = restore(&rig.folder.path().join("missing"), rig.folder.path(), second(0)).await;
    assert!(matches!(missing, Err(StoreError::Io { .. })), "{missing:?}");
    assert!(open(rig.folder.path()).await.is_ok());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_whose_history_is_no_json_any_more_is_refused() {
    let (rig, good) = house().await;
    for (sql, word) in [
        ("UPDATE history SET inverse = '{' WHERE id = 20", "history"),
        ("UPDATE snapshot SET body = ''", "snapshot"),
        ("UPDATE document SET body = 'null,' WHERE slot = 9", "document"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("file");
        std::fs::write(&file, &good).unwrap();
        crate::rig::run_sql(&file, sql).await;
        let error = refused(&rig, sql, &std::fs::read(&file).unwrap()).await;
        assert!(error.to_string().contains(word), "{error}");
    }
}
