//! Backups made while serving, and what a restore makes of them.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::SignedDuration;
use serde_json::json;
use store::{BackupOptions, DATABASE, StoreError, back_up_file, restore};

use crate::checker;
use crate::rig::{Rig, create, merge, number, open, run_sql, second};

fn options(rig: &Rig, keep: usize) -> BackupOptions {
    BackupOptions { folder: rig.folder.path().join("backups"), keep }
}

/// A house with a fixture that has so many revisions.
async fn house(revisions: u64) -> Rig {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let edits = (1..=revisions).map(|n| (merge("hall", json!({"n": n, "text": "x".repeat(200)})), second(1)));
    assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    rig
}

fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_made_while_edits_run_holds_all_that_was_answered_before_it_began() {
    let rig = Arc::new(house(200).await);
    let stop = Arc::new(AtomicBool::new(false));
    let editing = tokio::spawn({
        let (rig, stop) = (Arc::clone(&rig), Arc::clone(&stop));
        async move {
            let mut n = 200_u64;
            while !stop.load(Ordering::Relaxed) {
                n += 1;
                rig.tell(merge("hall", json!({"n": n}))).await;
            }
            n
        }
    });
    for round in 0..3 {
        let before = rig.get("hall").desired.revision.get();
        let backup = rig.store.back_up(&options(&rig, 9), second(round)).await.unwrap();
        let after = rig.get("hall").desired.revision.get();
        let path = rig.folder.path().join("backups").join(&backup.name);
        assert_eq!(std::fs::metadata(&path).unwrap().len(), backup.bytes);
        // it opens as a house of its own, and holds a beginning of the edits, without a hole
        let copy = tempfile::tempdir().unwrap();
        std::fs::copy(&path, copy.path().join(DATABASE)).unwrap();
        let store = open(copy.path()).await.unwrap();
        let revision = store.house().get("hall").unwrap().desired.revision.get();
        assert!((before..=after).contains(&revision), "{before} {revision} {after}");
        assert_eq!(store.house().get("hall").unwrap().desired.value()["n"], revision);
        store.stop().await;
        checker::check(&copy.path().join(DATABASE)).await;
    }
    stop.store(true, Ordering::Relaxed);
    let last = editing.await.unwrap();
    assert_eq!(rig.get("hall").desired.revision.get(), last, "no edit suffered");
}

#[tokio::test(flavor = "multi_thread")]
async fn only_so_many_backups_are_kept_the_newest_ones() {
    let rig = house(3).await;
    let options = options(&rig, 3);
    assert_eq!(rig.store.backups(&options).unwrap(), [], "a folder that is not there has none");
    std::fs::create_dir_all(&options.folder).unwrap();
    let strangers = ["notes.txt", "sconced-holiday.sqlite", "sconced-20260301T120000000Z.sqlite.bak"];
    for name in strangers {
        std::fs::write(options.folder.join(name), b"mine").unwrap();
    }
    std::fs::write(options.folder.join("sconced-20260101T000000000Z.sqlite.part"), b"cut off by a crash").unwrap();
    for n in 0..5 {
        rig.store.back_up(&options, second(n)).await.unwrap();
    }
    let list = rig.store.backups(&options).unwrap();
    let times: Vec<_> = list.iter().map(|backup| backup.at).collect();
    assert_eq!(times, [second(4), second(3), second(2)]);
    let left = files(&options.folder);
    assert_eq!(left.len(), 3 + strangers.len(), "what is not a backup is left alone, halves are cleared: {left:?}");
    let mode = std::fs::metadata(options.folder.join(&list[0].name)).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode, 0o600);
    // one that is dated in the future, by a clock that was wrong, counts as the oldest
    let strayed = options.folder.join("sconced-20990101T000000000Z.sqlite");
    std::fs::write(&strayed, b"of tomorrow").unwrap();
    let made = rig.store.back_up(&options, second(5)).await.unwrap();
    let times: Vec<_> = rig.store.backups(&options).unwrap().iter().map(|backup| backup.at).collect();
    assert_eq!(times, [second(5), second(4), second(3)], "the one just made is kept");
    assert!(options.folder.join(made.name).exists() && !strayed.exists());
    std::fs::write(&strayed, b"of tomorrow").unwrap();
    rig.store.back_up(&BackupOptions { keep: 9, ..options.clone() }, second(6)).await.unwrap();
    assert!(strayed.exists(), "it goes no sooner than another");
    // the clock is set back: what is made now is older than all there are
    let back = second(-1000);
    let made = rig.store.back_up(&options, back).await.unwrap();
    assert_eq!(made.at, back);
    assert!(options.folder.join(&made.name).exists());
    assert_eq!(rig.store.backups(&options).unwrap().len(), 3);
    // a sloppy owner who keeps none still has the last
    let none = BackupOptions { keep: 0, ..options.clone() };
    rig.store.back_up(&none, second(9)).await.unwrap();
    assert_eq!(rig.store.backups(&options).unwrap().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_time_of_a_backup_is_told_to_the_millisecond() {
    let rig = house(1).await;
    let at = second(7).checked_add(SignedDuration::from_millis(89)).unwrap();
    let backup = rig.store.back_up(&options(&rig, 2), at).await.unwrap();
    assert_eq!(backup.name, "sconced-20260301T120007089Z.sqlite");
    assert_eq!(rig.store.backups(&options(&rig, 2)).unwrap(), [backup]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_folder_that_cannot_be_is_told() {
    let rig = house(1).await;
    let file = rig.folder.path().join("file");
    std::fs::write(&file, b"").unwrap();
    let made = rig.store.back_up(&BackupOptions { folder: file.join("backups"), keep: 3 }, second(0)).await;
    assert!(matches!(made, Err(StoreError::Io { .. })), "{made:?}");
    assert_eq!(rig.tell(merge("hall", json!({"n": 9}))).await.answer.revision.get(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restore_puts_the_backup_in_place_and_keeps_the_other_aside() {
    let rig = house(10).await;
    rig.tell(create("jetty")).await;
    for due in rig.store.outbox().take(9) {
        rig.store.published(due.key, due.ticket).await;
    }
    rig.tell(merge("hall", json!({"n": 1000}))).await;
    let backup = rig.store.back_up(&options(&rig, 3), second(0)).await.unwrap();
    let backup = rig.folder.path().join("backups").join(backup.name);
    let bytes = std::fs::read(&backup).unwrap();
    for n in 0..5 {
        rig.tell(merge("hall", json!({"n": 2000 + n}))).await;
    }
    let in_use = restore(&backup, rig.folder.path(), second(1)).await;
    assert!(matches!(in_use, Err(StoreError::InUse { .. })), "{in_use:?}");
    rig.store.stop().await;
    let restored = restore(&backup, rig.folder.path(), second(2)).await.unwrap();
    assert_eq!((restored.fixtures, restored.changes), (2, 13));
    assert_eq!(std::fs::read(&backup).unwrap(), bytes, "the backup itself is left as it is");
    let aside = restored.aside.unwrap();
    assert_eq!(aside.file_name().unwrap(), "sconced.sqlite.aside-20260301T120002Z");
    assert_eq!(number(&aside, "SELECT max(revision) FROM history WHERE slot = 9").await, 16);
    let store = open(rig.folder.path()).await.unwrap();
    assert_eq!(store.house().get("hall").unwrap().desired.revision.get(), 11);
    assert_eq!(store.outbox().len(), 2, "everything is published anew: the broker may hold what came after");
    // what is edited now must not be taken for what was published before
    let due = store.outbox().take(9);
    let edit = crate::rig::request(merge("hall", json!({"n": 3000})), second(3));
    assert_eq!(store.execute(edit).await.unwrap().answer.revision.get(), 12);
    for due in due {
        store.published(due.key, due.ticket).await;
    }
    store.stop().await;
    assert_eq!(number(&rig.folder.path().join(DATABASE), "SELECT count(*) FROM outbox").await, 1);
    // a second restore keeps both
    let again = restore(&backup, rig.folder.path(), second(2)).await.unwrap();
    assert_eq!(again.aside.unwrap().file_name().unwrap(), "sconced.sqlite.aside-20260301T120002Z-2");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_was_killed_is_set_aside_with_its_log() {
    let rig = house(5).await;
    let backup = rig.store.back_up(&options(&rig, 3), second(0)).await.unwrap();
    let backup = rig.folder.path().join("backups").join(backup.name);
    for n in 0..5 {
        rig.tell(merge("hall", json!({"n": 2000 + n}))).await;
    }
    // the files as a power cut would leave them: what was committed last lies in the log only
    let cut = tempfile::tempdir().unwrap();
    for suffix in ["", "-wal"] {
        let name = format!("{DATABASE}{suffix}");
        std::fs::copy(rig.folder.path().join(&name), cut.path().join(&name)).unwrap();
    }
    let restored = restore(&backup, cut.path(), second(2)).await.unwrap();
    let aside = restored.aside.unwrap();
    assert_eq!(files(cut.path()), ["lock", DATABASE, "sconced.sqlite.aside-20260301T120002Z"], "it is one file");
    assert_eq!(
        number(&aside, "SELECT max(revision) FROM history WHERE slot = 9").await,
        10,
        "nothing committed is lost"
    );
    let store = open(cut.path()).await.unwrap();
    assert_eq!(store.house().get("hall").unwrap().desired.revision.get(), 5);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restore_into_a_new_folder_makes_it() {
    let rig = house(5).await;
    let backup = rig.store.back_up(&options(&rig, 3), second(0)).await.unwrap();
    let backup = rig.folder.path().join("backups").join(backup.name);
    let fresh = rig.folder.path().join("elsewhere");
    let restored = restore(&backup, &fresh, second(2)).await.unwrap();
    assert_eq!(restored.aside, None);
    assert_eq!(std::fs::metadata(&fresh).unwrap().permissions().mode() & 0o777, 0o700);
    let store = open(&fresh).await.unwrap();
    assert_eq!(store.house().get("hall").unwrap().desired.revision.get(), 5);
    assert_eq!(store.key(), rig.store.key(), "secrets and tokens stay good");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_of_a_newer_version_is_not_restored() {
    let rig = house(5).await;
    let backup = rig.store.back_up(&options(&rig, 3), second(0)).await.unwrap();
    let backup = rig.folder.path().join("backups").join(backup.name);
    let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
                 VALUES (9999, 'of tomorrow', 1, x'00', 1)";
    run_sql(&backup, newer).await;
    rig.store.stop().await;
    let before = std::fs::read(rig.store.path()).unwrap();
    let refused = restore(&backup, rig.folder.path(), second(2)).await;
    assert!(matches!(refused, Err(StoreError::Newer { found: 9999, .. })), "{refused:?}");
    assert_eq!(std::fs::read(rig.store.path()).unwrap(), before);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_without_a_daemon_changes_nothing_and_holds_what_lies_in_the_log_only() {
    let rig = house(5).await;
    let kept = tempfile::tempdir().unwrap();
    let options = BackupOptions { folder: kept.path().join("backups"), keep: 3 };
    let in_use = back_up_file(rig.folder.path(), &options, second(0)).await;
    assert!(matches!(in_use, Err(StoreError::InUse { .. })), "{in_use:?}");
    // the files as a power cut would leave them, and as a stop leaves them
    let cut = tempfile::tempdir().unwrap();
    for suffix in ["", "-wal"] {
        let name = format!("{DATABASE}{suffix}");
        std::fs::copy(rig.folder.path().join(&name), cut.path().join(&name)).unwrap();
    }
    rig.store.stop().await;
    for (n, folder) in [cut.path(), rig.folder.path()].into_iter().enumerate() {
        let contents = || -> Vec<(String, Vec<u8>)> {
            let names = files(folder).into_iter().filter(|name| name != "lock" && !name.ends_with("-shm"));
            names.map(|name| (name.clone(), std::fs::read(folder.join(name)).unwrap())).collect()
        };
        let before = contents();
        let made = back_up_file(folder, &options, second(i64::try_from(n).unwrap())).await.unwrap();
        assert!(contents() == before, "{n}");
        let path = options.folder.join(&made.name);
        assert_eq!(std::fs::metadata(&path).unwrap().len(), made.bytes);
        assert_eq!(number(&path, "SELECT max(revision) FROM history WHERE slot = 9").await, 5, "{n}");
    }
    assert_eq!(rig.store.backups(&options).unwrap().len(), 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_without_a_daemon_is_of_the_schema_that_is_there() {
    let rig = house(5).await;
    rig.store.stop().await;
    // a house of before the first step of its schema was known by name, as an older version would have left it
    run_sql(rig.store.path(), "DELETE FROM _sqlx_migrations; CREATE TABLE of_before (x); DROP INDEX snapshot_by_time;")
        .await;
    let options = options(&rig, 3);
    let made = back_up_file(rig.folder.path(), &options, second(0)).await;
    assert!(matches!(made, Err(StoreError::NotOurs { .. })), "{made:?}");
    run_sql(
        rig.store.path(),
        "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
         VALUES (1, 'house', 1, x'00', 1)",
    )
    .await;
    // opened, its unknown checksum would be refused; copied, it is as it was
    assert!(open(rig.folder.path()).await.is_err());
    let made = back_up_file(rig.folder.path(), &options, second(0)).await.unwrap();
    let path = options.folder.join(made.name);
    assert_eq!(number(&path, "SELECT count(*) FROM sqlite_schema WHERE name = 'snapshot_by_time'").await, 0);
    assert_eq!(number(&path, "SELECT count(*) FROM sqlite_schema WHERE name = 'of_before'").await, 1);
    run_sql(rig.store.path(), "UPDATE _sqlx_migrations SET version = 9999").await;
    let newer = back_up_file(rig.folder.path(), &options, second(0)).await;
    assert!(matches!(newer, Err(StoreError::Newer { found: 9999, .. })), "{newer:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_of_a_folder_without_a_house_makes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let options = BackupOptions { folder: folder.path().join("backups"), keep: 3 };
    for none in [folder.path().to_owned(), folder.path().join("missing")] {
        let refused = back_up_file(&none, &options, second(0)).await;
        assert!(matches!(refused, Err(StoreError::NotThere(_))), "{refused:?}");
    }
    assert_eq!(files(folder.path()), Vec::<String>::new());
}
