//! Readiness tells of a database that takes no edits, and of one that takes them again.

use std::process::Command;

use serde_json::json;
use testkit::{Daemon, eventually, missing};

use crate::daemon;

/// Changes the database from outside, by the `sqlite3` shell.
fn change(daemon: &Daemon, sql: &str) {
    let path = daemon.data().join("sconced.sqlite");
    let output = Command::new("sqlite3").args(["-cmd", ".timeout 20000"]).arg(&path).arg(sql).output().unwrap();
    assert!(output.status.success(), "{sql}: {}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn a_database_that_takes_no_edits_is_told_until_it_takes_them_again() {
    if missing("sqlite3") {
        return;
    }
    let daemon = daemon();
    daemon.add("hall");
    eventually("readiness", || (daemon.http().get("/readyz").status == 200).then_some(()));
    // every insertion but those that the triggers themselves leave out fails as upon a full disk (SQLITE_FULL): a
    // counted table has come to its last number
    change(
        &daemon,
        "CREATE TABLE counted (id INTEGER PRIMARY KEY AUTOINCREMENT, x);
         INSERT INTO counted VALUES (9223372036854775807, 0);
         CREATE TRIGGER fault_1 BEFORE INSERT ON history BEGIN INSERT INTO counted (x) VALUES (1); END;
         CREATE TRIGGER fault_2 BEFORE INSERT ON setting BEGIN INSERT INTO counted (x) VALUES (1); END;",
    );
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 1})).status, 507);
    for _ in 0..3 {
        let told = daemon.http().get("/readyz");
        assert_eq!(told.status, 503);
        assert!(told.json["detail"].as_str().unwrap().contains("the database takes no edits"), "{}", told.json);
    }
    assert_eq!(daemon.http().get("/healthz").status, 200);
    assert_eq!(daemon.http().get("/v1/fixtures/hall/desired").json, json!({}), "reading goes on");
    change(&daemon, "DROP TRIGGER fault_1; DROP TRIGGER fault_2; DROP TABLE counted");
    // without an edit
    assert_eq!(daemon.http().get("/readyz").status, 200);
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 1})).revision(), 1);
}
