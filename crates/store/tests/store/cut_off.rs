//! Restores from a database with its log, and restores that a power cut ended at each of their steps.

use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use serde_json::json;
use store::{BackupOptions, DATABASE, StoreError, restore};
use tempfile::TempDir;

use crate::checker;
use crate::rig::{Rig, create, merge, number, open, second};

const REVISION: &str = "SELECT max(revision) FROM history WHERE slot = 9";

fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut list: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().is_file() && entry.file_name() != "lock")
        .map(|entry| (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap()))
        .collect();
    list.sort();
    list
}

fn names(folder: &Path) -> Vec<String> {
    contents(folder).into_iter().map(|(name, _)| name).collect()
}

/// A backup of a house at revision 5 in a folder of its own, and the files of the house at revision 9 as a power cut
/// leaves them: what was committed last lies in the log only.
async fn killed() -> (TempDir, PathBuf, TempDir) {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for n in 1..=5 {
        rig.tell(merge("hall", json!({"n": n, "text": "reeds ".repeat(200)}))).await;
    }
    let keep = tempfile::tempdir().unwrap();
    let options = BackupOptions { folder: keep.path().into(), keep: 2 };
    let backup = keep.path().join(rig.store.back_up(&options, second(0)).await.unwrap().name);
    for n in 6..=9 {
        rig.tell(merge("hall", json!({"n": n}))).await;
    }
    let cut = tempfile::tempdir().unwrap();
    for suffix in ["", "-wal"] {
        std::fs::copy(beside(rig.store.path(), suffix), beside(&cut.path().join(DATABASE), suffix)).unwrap();
    }
    assert!(std::fs::metadata(cut.path().join("sconced.sqlite-wal")).unwrap().len() > 0);
    (keep, backup, cut)
}

async fn revision(folder: &Path) -> u64 {
    let store = open(folder).await.unwrap();
    let revision = store.house().get("hall").unwrap().desired.revision.get();
    store.stop().await;
    checker::check(store.path()).await;
    revision
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_is_restored_with_its_log_and_both_are_left_as_they_are() {
    let (_keep, _, cut) = killed().await;
    let before = contents(cut.path());
    assert_eq!(before.len(), 2);
    for suffix in ["", "-wal"] {
        // as from a medium that is only read
        let path = beside(&cut.path().join(DATABASE), suffix);
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o444)).unwrap();
    }
    let house = tempfile::tempdir().unwrap();
    let restored = restore(&cut.path().join(DATABASE), house.path(), second(1)).await.unwrap();
    assert_eq!((restored.fixtures, restored.changes, restored.aside), (1, 10, None));
    assert!(contents(cut.path()) == before, "nothing was written beside it either");
    assert_eq!(names(house.path()), [DATABASE]);
    let mode = std::fs::metadata(house.path().join(DATABASE)).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert_eq!(revision(house.path()).await, 9, "nothing committed is lost");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_database_with_its_log_is_refused_by_its_own_name() {
    let (_keep, backup, cut) = killed().await;
    let from = tempfile::tempdir().unwrap();
    let file = from.path().join("house");
    let mut bytes = std::fs::read(&backup).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..].fill(0xa5);
    std::fs::write(&file, bytes).unwrap();
    std::fs::write(beside(&file, "-wal"), b"no log at all").unwrap();
    let before = contents(cut.path());
    let refused = restore(&file, cut.path(), second(1)).await.unwrap_err();
    let (StoreError::Damaged { path, .. } | StoreError::NotOurs { path, .. }) = &refused else { panic!("{refused:?}") };
    assert_eq!(*path, file);
    assert!(contents(cut.path()) == before, "the folder is as it was");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restore_that_was_cut_off_before_it_took_effect_is_cleared_away() {
    let (_keep, backup, cut) = killed().await;
    let path = cut.path().join(DATABASE);
    let second_name = cut.path().join("sconced.sqlite.aside-20260301T110000Z");
    let another = cut.path().join("sconced.sqlite.aside-20250301T110000Z");
    for again in [false, true] {
        // half of what was to be put in place, and the second name of what is there; an older one is its own file
        std::fs::write(cut.path().join("sconced.sqlite.restoring"), b"half").unwrap();
        std::fs::write(cut.path().join("sconced.sqlite.restoring-wal"), b"half").unwrap();
        std::fs::hard_link(&path, &second_name).unwrap();
        std::fs::copy(&backup, &another).unwrap();
        if again {
            let restored = restore(&backup, cut.path(), second(2)).await.unwrap();
            assert_eq!(number(&restored.aside.unwrap(), REVISION).await, 9);
            assert_eq!(revision(cut.path()).await, 5);
        } else {
            assert_eq!(revision(cut.path()).await, 9);
        }
        let asides = if again { 2 } else { 1 };
        assert_eq!(names(cut.path()).len(), 1 + asides, "{:?}", names(cut.path()));
        assert!(another.exists() && !second_name.exists());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_folder_whose_database_is_missing_is_refused_and_not_made_anew() {
    for left in ["sconced.sqlite.restoring", "sconced.sqlite.aside-20260301T110000Z", "sconced.sqlite-wal"] {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(left), b"of before").unwrap();
        let refused = open(folder.path()).await.unwrap_err();
        assert!(matches!(&refused, StoreError::NotThere(text) if text.contains(left)), "{left}: {refused}");
        assert!(refused.to_string().contains("sconced restore"), "{refused}");
        assert_eq!(names(folder.path()), [left], "nothing was made");
        // moved elsewhere, as it says, a new house can be made
        std::fs::rename(folder.path().join(left), folder.path().join("elsewhere")).unwrap();
        assert_eq!(open(folder.path()).await.unwrap().house().count(), 0);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_restore_that_was_cut_off_between_two_names_is_done_again_or_taken_back() {
    for again in [true, false] {
        let (_keep, backup, cut) = killed().await;
        let path = cut.path().join(DATABASE);
        // moved with its log, and nothing is in its place yet
        let aside = cut.path().join("sconced.sqlite.aside-20260301T110000Z");
        std::fs::rename(&path, &aside).unwrap();
        if again {
            // not even its log is moved: it must not get into what is put in place
            assert!(open(cut.path()).await.is_err());
            let restored = restore(&backup, cut.path(), second(2)).await.unwrap();
            assert_eq!((restored.aside, revision(cut.path()).await), (None, 5));
            assert_eq!(number(&aside, REVISION).await, 9, "the log lies beside what it belongs to");
        } else {
            std::fs::rename(beside(&path, "-wal"), beside(&aside, "-wal")).unwrap();
            let refused = open(cut.path()).await.unwrap_err().to_string();
            assert!(refused.contains(&aside.display().to_string()), "{refused}");
            for suffix in ["", "-wal"] {
                std::fs::rename(beside(&aside, suffix), beside(&path, suffix)).unwrap();
            }
            assert_eq!(revision(cut.path()).await, 9);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_cannot_be_opened_any_more_is_set_aside_with_its_log_as_it_is() {
    let (_keep, backup, cut) = killed().await;
    let path = cut.path().join(DATABASE);
    std::fs::write(&path, "Dear diary, ".repeat(1000)).unwrap();
    std::fs::write(beside(&path, "-wal"), "and so on, ".repeat(1000)).unwrap();
    let before = contents(cut.path());
    let restored = restore(&backup, cut.path(), second(2)).await.unwrap();
    let aside = restored.aside.unwrap();
    assert_eq!(std::fs::read(&aside).unwrap(), before[0].1);
    assert_eq!(std::fs::read(beside(&aside, "-wal")).unwrap(), before[1].1);
    assert!(!beside(&path, "-wal").exists());
    assert_eq!(revision(cut.path()).await, 5);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_restore_left_half_made_is_no_backup() {
    let (_keep, backup, cut) = killed().await;
    let half = cut.path().join("sconced.sqlite.restoring");
    std::fs::copy(&backup, &half).unwrap();
    let refused = restore(&half, cut.path(), second(2)).await;
    assert!(matches!(refused, Err(StoreError::NotOurs { .. })), "{refused:?}");
    assert!(half.exists(), "and it is not taken away");
}
