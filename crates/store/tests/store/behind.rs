//! Documents and outbox follow history a second later or so. Whatever they lack when the daemon is killed is made up
//! from history: these tests take the files of a store that goes on, and open them as a power cut would leave them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use kernel::{Command, Message, Paper};
use serde_json::json;
use store::{DATABASE, Retention, StoreError, dump, restore};
use tempfile::TempDir;

use crate::checker;
use crate::rig::{
    BEHIND, Rig, create, delete, enrol, hear, merge, number, open, record, report, run_sql, second, told, until,
};

/// The files of a store that was not stopped.
fn cut_off(rig: &Rig) -> TempDir {
    let cut = tempfile::tempdir().unwrap();
    for suffix in ["", "-wal"] {
        let name = format!("{DATABASE}{suffix}");
        std::fs::copy(rig.folder.path().join(&name), cut.path().join(&name)).unwrap();
    }
    cut
}

/// Opens them, and compares everything with the store that goes on.
async fn compare(rig: &Rig, what: &str) {
    let cut = cut_off(rig);
    checker::check(&cut.path().join(DATABASE)).await;
    let store = open(cut.path()).await.unwrap();
    // signs of life are in memory alone until something else is worth a write
    let without_signs = |fixture: &kernel::Fixture| {
        let mut fixture = fixture.clone();
        fixture.life.heard = None;
        told(&fixture)
    };
    let all = |store: &store::Store| store.house().all().iter().map(|it| without_signs(it)).collect::<Vec<_>>();
    assert_eq!(all(&store), all(&rig.store), "{what}");
    for fixture in store.house().all() {
        assert_eq!(store.house().by_key(fixture.key).map(|other| told(&other)), Some(told(&fixture)), "{what}");
    }
    // what is due is due again, each under the same ticket; what was published meanwhile may be so once more
    rig.store.outbox().again();
    let again = store.outbox().take(usize::MAX);
    for due in rig.store.outbox().take(usize::MAX) {
        assert!(again.contains(&due), "{what}: {due:?} is not in {again:?}");
    }
    let path = store.path().to_owned();
    store.stop().await;
    assert_eq!(number(&path, BEHIND).await, 0, "{what}: a stop brings all up to history");
    checker::check(&path).await;
}

/// Numbers that are the same at every run: hashes of a count.
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, edge: u64) -> u64 {
        self.0 += 1;
        let hash = blake3::hash(&self.0.to_le_bytes());
        u64::from_le_bytes(hash.as_bytes()[..8].try_into().unwrap()) % edge
    }
}

/// A command of any sort about one of a few fixtures.
fn any(rig: &Rig, numbers: &mut Numbers) -> Command {
    let name = ["hall", "jetty", "landing", "stairs"][usize::try_from(numbers.below(4)).unwrap()];
    let n = numbers.below(1000);
    match numbers.below(16) {
        0 | 1 => create(name),
        2 => delete(name),
        3 => record(name, json!({"title": format!("reeds {n}")})),
        4 => {
            let pointer = ["/rssi", "/uptime", "/a/b"][usize::try_from(n % 3).unwrap()];
            record(name, json!({"volatile": [pointer]}))
        }
        5 => enrol(&rig.store, name, format!("{n}").as_bytes(), None),
        6 => report(name, 0, json!({"n": n, "rssi": n})),
        7 => report(name, 0, json!({"rssi": n, "uptime": n})),
        8 => report(name, 0, json!({"n": n, "rssi": null, "a": {"b": n % 2, "c": n % 3}})),
        9 => report(name, 0, json!({"uptime": null, "a": null, "n": n})),
        10 => hear(name, Message::boot(b"{\"have\":0}").unwrap()),
        11 => hear(name, Message::Event { event: "motion".into(), n }),
        12 => merge(name, json!({"a": {"b": n % 5, "list": [n, {"deep": n}]}})),
        13 => merge(name, json!({"a": null})),
        _ => merge(name, json!({"n": n, format!("m{}", n % 7): {"from": n}})),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_is_killed_at_any_moment_comes_back_as_it_was() {
    let mut numbers = Numbers(0);
    let rig = Rig::new().await;
    let mut ahead = 0;
    for round in 0..60_i64 {
        let list: Vec<_> = (0..1 + numbers.below(30)).map(|_| (any(&rig, &mut numbers), second(round))).collect();
        for outcome in rig.tell_all(list).await {
            assert!(!matches!(outcome, Err(store::ExecuteError::Store(_))), "{outcome:?}");
        }
        if round % 3 == 0 {
            for due in rig.store.outbox().take(2) {
                rig.store.published(due.key, due.ticket).await;
            }
        }
        ahead += number(rig.store.path(), BEHIND).await;
        compare(&rig, &format!("round {round}")).await;
    }
    assert!(ahead > 10, "documents were behind in {ahead} rounds");
    let rig = rig.reopened().await;
    compare(&rig, "after a stop").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_edit_writes_history_alone_and_the_document_follows() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let document = "SELECT coalesce(max(revision), 0) FROM document WHERE slot = 9";
    assert_eq!((number(rig.store.path(), document).await, number(rig.store.path(), BEHIND).await), (0, 1));
    until(rig.store.path(), BEHIND, 0).await;
    assert_eq!(number(rig.store.path(), document).await, 1);
    let due = "SELECT count(*) FROM outbox WHERE ticket = (SELECT max(id) FROM history)";
    assert_eq!(number(rig.store.path(), due).await, 1);
    checker::check(rig.store.path()).await;
    // and an acknowledgement the same
    let due = rig.store.outbox().take(1).remove(0);
    rig.store.published(due.key, due.ticket).await;
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
    assert_eq!(number(rig.store.path(), BEHIND).await, 0);
    // one that comes alone, upon documents that are up to history, says that they no longer are
    rig.tell(merge("hall", json!({"a": 2}))).await;
    assert_eq!((number(rig.store.path(), document).await, number(rig.store.path(), BEHIND).await), (1, 1));
    compare(&rig, "one edit alone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn documents_follow_while_edits_go_on() {
    let rig = Rig::new().await;
    let names: Vec<String> = (0..300).map(|n| format!("reed-{n}")).collect();
    let made = rig.tell_all(names.iter().map(|name| (create(name), second(0)))).await;
    assert!(made.iter().all(Result::is_ok));
    let (rig, names) = (Arc::new(rig), Arc::new(names));
    let settled = "SELECT coalesce(max(CAST(value AS INTEGER)), 0) FROM setting WHERE name = 'settled'";
    for round in 0..4 {
        // edits that share commits only now and then, so that they come between the portions that are settled
        let stop = Arc::new(AtomicBool::new(false));
        let editing: Vec<_> = (0..3)
            .map(|caller| {
                let (rig, names, stop) = (Arc::clone(&rig), Arc::clone(&names), Arc::clone(&stop));
                tokio::spawn(async move {
                    let mut n = caller;
                    while !stop.load(Ordering::Relaxed) {
                        n += 3;
                        rig.tell(merge(&names[n % names.len()], json!({"n": n}))).await;
                    }
                })
            })
            .collect();
        let before = number(rig.store.path(), settled).await;
        let moves = async {
            while number(rig.store.path(), settled).await <= before {
                tokio::time::sleep(std::time::Duration::from_millis(1)).await;
            }
        };
        tokio::time::timeout(std::time::Duration::from_secs(60), moves)
            .await
            .expect("the mark moves though work goes on");
        stop.store(true, Ordering::Relaxed);
        for task in editing {
            task.await.unwrap();
        }
        compare(&rig, &format!("in the midst of it, {round}")).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_volatile_outlasts_a_kill_though_history_does_not_tell_it() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.tell(report("hall", 0, json!({"n": 1, "rssi": -60}))).await;
    compare(&rig, "with a step of history").await;
    rig.tell(report("hall", 0, json!({"rssi": -61}))).await;
    compare(&rig, "without one").await;
    rig.tell(report("hall", 0, json!({"n": 2, "rssi": null}))).await;
    compare(&rig, "taken away with a step").await;
    rig.tell(report("hall", 0, json!({"n": 3}))).await;
    compare(&rig, "with nothing volatile").await;
    rig.tell(report("hall", 0, json!({"rssi": -62}))).await;
    rig.tell(record("hall", json!({"volatile": ["/n"]}))).await;
    compare(&rig, "when others are named volatile").await;
    assert_eq!(rig.get("hall").reported.value(), json!({"n": 3, "rssi": -62}));
}

#[tokio::test(flavor = "multi_thread")]
async fn documents_that_cannot_be_written_keep_no_edit_from_being_made() {
    for fault in [
        "BEFORE INSERT ON document BEGIN SELECT RAISE(ABORT, 'made to fail'); END",
        "BEFORE UPDATE ON document BEGIN SELECT RAISE(ROLLBACK, 'made to fail'); END",
        "BEFORE INSERT ON outbox BEGIN SELECT RAISE(ABORT, 'made to fail'); END",
        "BEFORE DELETE ON setting BEGIN SELECT RAISE(ABORT, 'made to fail'); END",
    ] {
        let rig = Rig::new().await;
        rig.tell(create("hall")).await;
        rig.tell(merge("hall", json!({"n": 0}))).await;
        let rig = rig.reopened().await;
        run_sql(rig.store.path(), &format!("CREATE TRIGGER fault {fault}")).await;
        rig.tell(create("jetty")).await;
        for n in 1..=9 {
            rig.tell(merge("hall", json!({"n": n}))).await;
        }
        // it is tried once
        let failed = async {
            while rig.store.is_usable() {
                tokio::time::sleep(std::time::Duration::from_millis(5)).await;
            }
        };
        tokio::time::timeout(std::time::Duration::from_secs(60), failed).await.expect("it is tried");
        assert_eq!(rig.tell(merge("hall", json!({"n": 10}))).await.answer.revision.get(), 11, "{fault}");
        assert!(rig.store.is_usable());
        let before: Vec<_> = rig.store.house().all().iter().map(|fixture| told(fixture)).collect();
        assert_eq!(number(rig.store.path(), BEHIND).await, 1, "{fault}");
        // not even a stop can write them
        let rig = rig.reopened().await;
        let after: Vec<_> = rig.store.house().all().iter().map(|fixture| told(fixture)).collect();
        assert_eq!(after, before, "{fault}");
        assert_eq!(rig.store.outbox().len(), 2, "{fault}");
        run_sql(rig.store.path(), "DROP TRIGGER fault").await;
        rig.tell(merge("hall", json!({"n": 11}))).await;
        until(rig.store.path(), BEHIND, 0).await;
        checker::check(rig.store.path()).await;
        compare(&rig, fault).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn history_that_does_not_lead_on_from_a_document_is_refused() {
    for (sql, column) in [
        ("UPDATE history SET patch = '{' WHERE id = 4", "patch"),
        ("UPDATE history SET patch = '[]' WHERE id = 4", "patch"),
        ("DELETE FROM history WHERE id = 3", "revision"),
        ("UPDATE history SET at = 9223372036854775807 WHERE id = 4", "at"),
    ] {
        let rig = Rig::new().await;
        rig.tell(create("hall")).await;
        for n in 1..=4 {
            rig.tell(merge("hall", json!({"n": n}))).await;
        }
        let cut = cut_off(&rig);
        run_sql(&cut.path().join(DATABASE), sql).await;
        let refused = open(cut.path()).await.expect_err(sql);
        let StoreError::Row { table: "history", column: in_column, key, .. } = refused else { panic!("{refused:?}") };
        assert_eq!((in_column, key.as_str()), (column, "4"), "{sql}");
        let fresh = tempfile::tempdir().unwrap();
        let restored = restore(&cut.path().join(DATABASE), fresh.path(), second(1)).await;
        assert!(restored.is_err() && !fresh.path().join(DATABASE).exists(), "{sql}: {restored:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dump_and_a_backup_of_a_store_whose_documents_are_behind_restore_to_the_same_house() {
    let rig = Rig::new().await;
    for name in ["hall", "jetty", "gone"] {
        rig.tell(create(name)).await;
    }
    for n in 0..70 {
        rig.tell(merge("hall", json!({"n": n}))).await;
    }
    rig.tell(delete("gone")).await;
    let options = store::BackupOptions { folder: rig.folder.path().join("backups"), keep: 2 };
    let backup = rig.store.back_up(&options, second(0)).await.unwrap();
    let mut text = Vec::new();
    dump(rig.store.path(), &mut text, &mut |_| {}).await.unwrap();
    assert!(String::from_utf8_lossy(&text).contains("-- Documents and outbox are as of row 0 of history"));
    let file = rig.folder.path().join("dump.sql");
    std::fs::write(&file, &text).unwrap();
    for from in [file, options.folder.join(backup.name)] {
        let fresh = tempfile::tempdir().unwrap();
        let restored = restore(&from, fresh.path(), second(1)).await.unwrap();
        assert_eq!((restored.fixtures, restored.changes), (2, 74));
        let path = fresh.path().join(DATABASE);
        assert_eq!(number(&path, BEHIND).await, 0, "what is restored is up to history");
        assert_eq!(number(&path, "SELECT revision FROM document WHERE slot = 9").await, 70);
        checker::check(&path).await;
        let store = open(fresh.path()).await.unwrap();
        for fixture in rig.store.house().all() {
            let other = store.house().get(fixture.id.as_str()).unwrap();
            for paper in Paper::ALL {
                let (one, other) = (fixture.held(paper), other.held(paper));
                assert_eq!(crate::rig::held(one), crate::rig::held(other), "{}", fixture.id);
            }
        }
        assert_eq!(store.outbox().len(), 3);
        store.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn no_history_is_retired_that_a_document_is_still_to_be_made_up_from() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for n in 1..=9 {
        rig.tell(merge("hall", json!({"n": n}))).await;
    }
    let gone = rig.store.retire(Retention { age: None, rows: Some(2) }, second(1)).await.unwrap();
    assert_eq!(gone, 8);
    let cut = cut_off(&rig);
    let store = open(cut.path()).await.unwrap();
    assert_eq!(told(&store.house().get("hall").unwrap()), told(&rig.get("hall")));
    assert_eq!(store.outbox().len(), 1);
}
