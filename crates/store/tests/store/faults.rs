//! Commits that fail, at every statement and at the commit itself: everyone is told, nothing has changed, and the
//! next commit works. The failure is made by triggers that another connection puts into the file.

use kernel::{Command, Message};
use serde_json::json;
use sqlx::Connection as _;
use store::{ExecuteError, Once, Outcome, Request, StoreError};

use crate::checker;
use crate::rig::{
    Rig, connection, create, delete, enrol, hear, held, merge, number, open, owner, report, request, run_sql, second,
    until,
};

/// Commands that together write into every table.
async fn everything(rig: &Rig) -> Vec<Result<Outcome, ExecuteError>> {
    let once = Some(Once { key: "k".into(), fingerprint: [1; 32] });
    let mut list: Vec<(Command, Option<Once>)> = vec![
        (create("stairs"), once),
        (merge("stairs", json!({"a": 1})), None),
        (merge("hall", json!({"": 1})), None), // refused by the rules
        (report("hall", 1, json!({"a": 1, "rssi": -60})), None),
        (hear("hall", Message::boot(b"{}").unwrap()), None),
        (hear("hall", Message::Event { event: "motion".into(), n: 1 }), None),
        (enrol(&rig.store, "hall", b"secret", None), None),
        (delete("jetty"), None),
    ];
    list.extend((0..64).map(|n| (merge("hall", json!({"n": n})), None)));
    let mut waiting = Vec::new();
    for (command, once) in list {
        let request = Request { command, actor: owner(), at: second(5), cause: None, once };
        waiting.push(rig.store.submit(request).await.unwrap());
    }
    let due = rig.store.outbox().take(99);
    let mut outcomes = Vec::new();
    for answer in waiting {
        outcomes.push(answer.await.expect("everyone is answered"));
    }
    drop(due);
    outcomes
}

/// A house with three fixtures, one of which has 40 revisions, and whose documents are up to history.
async fn house() -> Rig {
    let rig = Rig::new().await;
    for name in ["hall", "jetty", "landing"] {
        rig.tell(create(name)).await;
    }
    for n in 0..40 {
        rig.tell(merge("hall", json!({"n": -1 - n}))).await;
    }
    rig.tell(report("hall", 1, json!({"rssi": -59}))).await;
    rig.reopened().await
}

/// Waits until the outbox in memory is so long.
async fn until_length(rig: &Rig, length: usize) {
    let reached = async {
        while rig.store.outbox().len() != length {
            tokio::time::sleep(std::time::Duration::from_millis(2)).await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(60), reached).await.expect("the outbox comes to that length");
}

fn memory(rig: &Rig) -> String {
    // a look into memory must not be disturbed by what was read for showing meanwhile
    rig.store
        .house()
        .all()
        .iter()
        .map(|f| {
            format!(
                "{:?} {} [{}] [{}] [{}] {:?} {:?}\n",
                f.key,
                f.id,
                held(&f.record_held),
                held(&f.desired),
                held(&f.reported),
                f.secret.is_some(),
                f.life
            )
        })
        .collect()
}

async fn rows(rig: &Rig) -> i64 {
    let tables = ["fixture", "document", "history", "snapshot", "life", "boot", "event", "outbox", "request"];
    let sums: Vec<String> = tables.iter().map(|table| format!("(SELECT count(*) FROM {table})")).collect();
    number(rig.store.path(), &format!("SELECT {}", sums.join(" + "))).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_commit_that_fails_at_any_statement_changes_nothing_and_the_next_one_works() {
    let fail = "BEGIN SELECT RAISE(ABORT, 'made to fail'); END";
    let late = "BEGIN INSERT INTO child VALUES (1); END";
    // SQLite then ends the transaction by itself, as it does when a disk is full or fails
    let whole = "BEGIN SELECT RAISE(ROLLBACK, 'made to fail'); END";
    for trigger in [
        format!("BEFORE INSERT ON fixture {fail}"),
        format!("BEFORE UPDATE ON fixture {fail}"),
        format!("BEFORE INSERT ON document {fail}"),
        format!("BEFORE UPDATE ON document {fail}"),
        format!("BEFORE INSERT ON history {fail}"),
        format!("BEFORE INSERT ON history WHEN NEW.id > 60 {fail}"),
        format!("BEFORE INSERT ON snapshot {fail}"),
        format!("BEFORE INSERT ON life {fail}"),
        format!("BEFORE INSERT ON boot {fail}"),
        format!("BEFORE INSERT ON event {fail}"),
        format!("BEFORE INSERT ON request {fail}"),
        format!("BEFORE INSERT ON setting {fail}"),
        format!("BEFORE DELETE ON document {fail}"),
        format!("BEFORE INSERT ON fixture {whole}"),
        format!("BEFORE UPDATE ON document {whole}"),
        format!("BEFORE INSERT ON history {whole}"),
        format!("BEFORE INSERT ON history WHEN NEW.id > 60 {whole}"),
        format!("BEFORE INSERT ON event {whole}"),
        format!("BEFORE INSERT ON setting {whole}"),
        format!("BEFORE DELETE ON document {whole}"),
        // a foreign key that is asked at the commit only: every statement succeeds, the commit itself does not
        format!("AFTER INSERT ON history {late}"),
    ] {
        let rig = house().await;
        let (before, rows_before, outbox) = (memory(&rig), rows(&rig).await, rig.store.outbox().len());
        let tables = "CREATE TABLE parent (id INTEGER PRIMARY KEY);
                      CREATE TABLE child (of INTEGER REFERENCES parent (id) DEFERRABLE INITIALLY DEFERRED);";
        run_sql(rig.store.path(), &format!("{tables} CREATE TRIGGER fault {trigger};")).await;
        let outcomes = everything(&rig).await;
        let failed = outcomes
            .iter()
            .filter(|outcome| matches!(outcome, Err(ExecuteError::Store(StoreError::Sql { .. }))))
            .count();
        assert!(failed >= 1, "{trigger}: {outcomes:?}");
        // what shared a commit fell together: whatever is true now was told to be
        let given: Vec<u64> = outcomes[8..].iter().flatten().map(|outcome| outcome.answer.revision.get()).collect();
        assert_eq!(given, (41..).take(given.len()).collect::<Vec<_>>(), "{trigger}: no hole");
        assert_eq!(rig.get("hall").desired.revision.get(), 40 + u64::try_from(given.len()).unwrap(), "{trigger}");
        if failed == outcomes.len() {
            assert_eq!((memory(&rig), rows(&rig).await), (before, rows_before), "{trigger}");
            assert_eq!(rig.store.outbox().len(), outbox, "{trigger}");
        }
        run_sql(rig.store.path(), "DROP TRIGGER fault; DROP TABLE child; DROP TABLE parent;").await;
        rig.store.probe().await.unwrap();
        assert!(rig.store.is_usable());
        let outcomes = everything(&rig).await;
        let refused = outcomes.iter().filter(|outcome| matches!(outcome, Err(ExecuteError::Rejected(_)))).count();
        assert!(
            outcomes.iter().all(|outcome| !matches!(outcome, Err(ExecuteError::Store(_)))),
            "{trigger}: {outcomes:?}"
        );
        assert!((1..=2).contains(&refused), "{trigger}: {outcomes:?}");
        let found = checker::check(rig.store.path()).await;
        assert_eq!(found.fixtures, 3, "{trigger}");
        let memory_before = memory(&rig);
        let rig = rig.reopened().await;
        assert_eq!(memory(&rig), memory_before, "{trigger}: memory was what the file says");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_is_held_by_another_hand_fails_the_commit_and_is_used_again_afterwards() {
    let rig = house().await;
    let before = memory(&rig);
    let mut other = connection(rig.store.path()).await;
    let held = other.begin_with("BEGIN IMMEDIATE").await.unwrap();
    // the store waits for as long as it is told to, then gives up
    let outcomes = rig.tell_all((0..10).map(|n| (merge("hall", json!({"n": n})), second(5)))).await;
    let failed =
        outcomes.iter().filter(|outcome| matches!(outcome, Err(ExecuteError::Store(StoreError::Sql { .. })))).count();
    assert_eq!(failed, 10, "{outcomes:?}");
    let text = format!("{}", outcomes[0].as_ref().unwrap_err());
    assert!(text.contains("locked"), "{text}");
    assert_eq!(memory(&rig), before);
    let token = rig.store.tokens().len();
    held.rollback().await.unwrap();
    assert_eq!(rig.tell(merge("hall", json!({"n": 1}))).await.answer.revision.get(), 41);
    assert_eq!(rig.store.tokens().len(), token);
    checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn rare_work_that_fails_is_told_and_leaves_the_rest_alone() {
    let rig = house().await;
    let token = rig.store.add_token("page".into(), store::Scope::Read, "text", second(0)).await.unwrap();
    let fail = "BEGIN SELECT RAISE(ABORT, 'made to fail'); END";
    let triggers: String = ["INSERT ON token", "DELETE ON token", "DELETE ON history"]
        .iter()
        .enumerate()
        .map(|(n, on)| format!("CREATE TRIGGER fault_{n} BEFORE {on} {fail};"))
        .collect();
    run_sql(rig.store.path(), &triggers).await;
    let added = rig.store.add_token("shell".into(), store::Scope::Read, "other", second(0)).await;
    assert!(matches!(added, Err(StoreError::Sql { .. })), "{added:?}");
    assert!(rig.store.remove_token(token.id).await.is_err());
    assert_eq!((rig.store.token("other"), rig.store.token("text")), (None, Some(token)));
    let retention = store::Retention { age: None, rows: Some(1) };
    assert!(rig.store.retire(retention, second(9)).await.is_err());
    assert_eq!(rig.tell(merge("hall", json!({"n": 1}))).await.answer.revision.get(), 41);
    checker::check(rig.store.path()).await;
    // and when SQLite ends the transaction by itself
    let swap = "DROP TRIGGER fault_2; CREATE TRIGGER fault_2 BEFORE DELETE ON history
                BEGIN SELECT RAISE(ROLLBACK, 'made to fail'); END";
    run_sql(rig.store.path(), swap).await;
    assert!(rig.store.retire(retention, second(9)).await.is_err());
    assert_eq!(rig.tell(merge("hall", json!({"n": 2}))).await.answer.revision.get(), 42);
    run_sql(rig.store.path(), "DROP TRIGGER fault_2").await;
    assert!(rig.store.retire(retention, second(9)).await.unwrap() > 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_acknowledgement_that_could_not_be_written_leaves_its_row() {
    let rig = house().await;
    let due = rig.store.outbox().take(1).remove(0);
    run_sql(
        rig.store.path(),
        "CREATE TRIGGER fault BEFORE DELETE ON outbox BEGIN SELECT RAISE(ABORT, 'made to fail'); END",
    )
    .await;
    rig.store.published(due.key, due.ticket).await;
    until_length(&rig, 2).await;
    // a second later or so it is to be written, and what the file holds is the truth
    until_length(&rig, 3).await;
    assert!(!rig.store.is_usable(), "a write has failed");
    run_sql(rig.store.path(), "DROP TRIGGER fault").await;
    let again = rig.store.outbox().take(1).remove(0);
    assert_eq!(again, due, "it is published again and acknowledged again");
    rig.store.published(again.key, again.ticket).await;
    rig.tell(merge("landing", json!({"a": 2}))).await;
    assert_eq!(rig.store.outbox().len(), 2);
    until(rig.store.path(), "SELECT count(*) FROM outbox", 2).await;
    assert!(rig.store.is_usable());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_that_came_to_its_end_is_told_as_a_full_disk() {
    // SQLite itself says "full" when a row number can go no higher, which needs no full disk
    let rig = house().await;
    run_sql(
        rig.store.path(),
        "CREATE TABLE counted (id INTEGER PRIMARY KEY AUTOINCREMENT, x); INSERT INTO counted VALUES (9223372036854775807, 0);
         CREATE TRIGGER fault BEFORE INSERT ON history BEGIN INSERT INTO counted (x) VALUES (1); END",
    )
    .await;
    let full = rig.store.execute(request(merge("hall", json!({"n": 1})), second(0))).await;
    assert!(matches!(full, Err(ExecuteError::Store(StoreError::Full))), "{full:?}");
    run_sql(rig.store.path(), "DROP TRIGGER fault").await;
    assert_eq!(rig.tell(merge("hall", json!({"n": 1}))).await.answer.revision.get(), 41);
    rig.store.stop().await;
    assert!(open(rig.folder.path()).await.is_ok());
}

/// Makes the probe fail as upon a full disk, and edits with it.
const FULL: &str = "CREATE TABLE counted (id INTEGER PRIMARY KEY AUTOINCREMENT, x);
    INSERT INTO counted VALUES (9223372036854775807, 0);
    CREATE TRIGGER fault_1 BEFORE INSERT ON history BEGIN INSERT INTO counted (x) VALUES (1); END;
    CREATE TRIGGER fault_2 BEFORE INSERT ON setting BEGIN INSERT INTO counted (x) VALUES (1); END;";

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_could_not_write_says_so_until_it_can_again() {
    let rig = house().await;
    assert!(rig.store.is_usable());
    rig.store.probe().await.unwrap();
    let rejected = rig.store.execute(request(merge("hall", json!({"": 1})), second(0))).await;
    assert!(matches!(rejected, Err(ExecuteError::Rejected(_))) && rig.store.is_usable(), "a refusal is no failure");
    run_sql(rig.store.path(), FULL).await;
    rig.store.probe().await.unwrap(); // nothing has failed yet, so nothing is tried
    assert!(rig.store.execute(request(merge("hall", json!({"n": 1})), second(0))).await.is_err());
    assert!(!rig.store.is_usable());
    for _ in 0..3 {
        let (one, two) = tokio::join!(rig.store.probe(), rig.store.probe());
        assert!(matches!((&one, &two), (Err(StoreError::Full), Err(StoreError::Full))), "{one:?} {two:?}");
        assert!(!rig.store.is_usable());
    }
    run_sql(rig.store.path(), "DROP TRIGGER fault_1; DROP TRIGGER fault_2").await;
    rig.store.probe().await.unwrap();
    assert!(rig.store.is_usable(), "without an edit");
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM setting WHERE name = 'probe'").await, 0);
    // an edit that works says the same
    run_sql(rig.store.path(), "CREATE TRIGGER fault BEFORE INSERT ON history BEGIN SELECT RAISE(ABORT, 'x'); END")
        .await;
    assert!(rig.store.execute(request(merge("hall", json!({"n": 1})), second(0))).await.is_err());
    assert!(!rig.store.is_usable());
    run_sql(rig.store.path(), "DROP TRIGGER fault").await;
    rig.tell(merge("hall", json!({"n": 1}))).await;
    assert!(rig.store.is_usable());
    rig.store.stop().await;
    assert!(matches!(rig.store.probe().await, Err(StoreError::Stopped)));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_cannot_be_opened_again_is_opened_when_it_can_be() {
    let rig = house().await;
    let away = rig.folder.path().join("away");
    run_sql(rig.store.path(), "CREATE TRIGGER fault BEFORE INSERT ON history BEGIN SELECT RAISE(ABORT, 'x'); END")
        .await;
    std::fs::rename(rig.store.path(), &away).unwrap();
    for _ in 0..3 {
        let failed = rig.store.execute(request(merge("hall", json!({"n": 1})), second(0))).await;
        assert!(matches!(failed, Err(ExecuteError::Store(StoreError::Sql { .. }))), "{failed:?}");
        assert!(rig.store.probe().await.is_err() && !rig.store.is_usable());
        assert!(rig.store.add_token("page".into(), store::Scope::Read, "text", second(0)).await.is_err());
        assert!(rig.store.publish_all().await.is_err());
    }
    assert!(!rig.store.path().exists(), "no empty house was made in its place");
    std::fs::rename(&away, rig.store.path()).unwrap();
    run_sql(rig.store.path(), "DROP TRIGGER fault").await;
    rig.store.probe().await.unwrap();
    assert_eq!(rig.tell(merge("hall", json!({"n": 1}))).await.answer.revision.get(), 41);
    checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_file_holds_beyond_what_was_told_is_taken_up_after_a_failure() {
    // a disk that fails at the very end of a commit may have kept it: the writer is told that it failed, and the file
    // holds it. Another hand puts into the file what such a commit would have left
    let rig = house().await;
    let hall = rig.get("hall");
    rig.tell(hear("landing", Message::Event { event: "motion".into(), n: 1 })).await;
    for due in rig.store.outbox().take(9) {
        rig.store.published(due.key, due.ticket).await;
    }
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
    let alive = rig.tell_at(hear("landing", Message::Event { event: "motion".into(), n: 1 }), second(50)).await;
    assert_eq!(alive.fixture.unwrap().life.heard, Some(second(50)), "a sign of life that is in memory alone");
    let (slot, head) = (hall.key.0 * 8 + 1, hall.desired.head.unwrap());
    let kept = format!(
        "INSERT INTO history SELECT id + 1, slot, 41, at, 'ghost', via, NULL, '{{\"n\":7}}', '{{\"n\":-40}}', id FROM history
         WHERE id = {head};
         UPDATE document SET revision = 41, head = {head} + 1, body = '{{\"n\":7}}' WHERE slot = {slot};
         INSERT OR REPLACE INTO outbox VALUES ({key}, {head} + 1);
         INSERT INTO token VALUES (5, 'ghost', 'read', zeroblob(32), 0);
         UPDATE fixture SET secret = zeroblob(32) WHERE id = 'landing';",
        key = hall.key.0
    );
    run_sql(rig.store.path(), &kept).await;
    let mut hints = rig.store.committed();
    // its number is taken in the file, so this cannot be written
    let failed = rig.store.execute(request(merge("jetty", json!({"a": 1})), second(0))).await;
    assert!(matches!(failed, Err(ExecuteError::Store(StoreError::Sql { .. }))), "{failed:?}");
    assert_eq!((rig.get("hall").desired.revision.get(), rig.desired("hall")), (41, json!({"n": 7})));
    assert!(rig.get("landing").secret.is_some());
    assert_eq!(rig.store.tokens().len(), 1);
    assert_eq!(rig.store.outbox().take(9).iter().map(|due| due.id.to_string()).collect::<Vec<_>>(), ["hall"]);
    let mut hinted: Vec<String> = hints.try_recv().unwrap().iter().map(|hint| hint.id.to_string()).collect();
    hinted.sort();
    assert_eq!(hinted, ["hall", "landing"]);
    assert_eq!(rig.get("jetty").desired.revision.get(), 0);
    rig.tell(merge("jetty", json!({"a": 1}))).await;
    assert_eq!(rig.tell(merge("hall", json!({"n": 8}))).await.answer.revision.get(), 42);
    checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sign_of_life_outlasts_a_commit_that_failed() {
    let rig = house().await;
    rig.tell(hear("landing", Message::Event { event: "motion".into(), n: 1 })).await;
    rig.tell_at(hear("landing", Message::Event { event: "motion".into(), n: 1 }), second(50)).await;
    run_sql(rig.store.path(), "CREATE TRIGGER fault BEFORE INSERT ON history BEGIN SELECT RAISE(ROLLBACK, 'x'); END")
        .await;
    assert!(rig.store.execute(request(merge("hall", json!({"n": 1})), second(60))).await.is_err());
    assert_eq!(rig.get("landing").life.heard, Some(second(50)));
}
