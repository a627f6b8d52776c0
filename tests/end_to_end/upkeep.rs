//! Backups, restore, dump and the folder, by the program itself.

use std::process::{Command, Output};

use serde_json::json;
use testkit::{DaemonOptions, Firmware, eventually, missing};

use crate::{SCONCED, checker, daemon};

fn run(args: &[&str]) -> Output {
    let mut command = Command::new(SCONCED);
    command.args(args);
    for (name, _) in std::env::vars().filter(|(name, _)| name.starts_with("SCONCED_")) {
        command.env_remove(name);
    }
    command.output().unwrap()
}

fn text(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[test]
fn a_second_daemon_on_the_folder_refuses_to_start_and_names_the_holder() {
    let daemon = daemon();
    let data = daemon.data().to_str().unwrap().to_owned();
    let output = run(&["serve", "--data", &data, "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"]);
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert!(text(&output).contains(&daemon.pid().to_string()), "{}", text(&output));
}

#[test]
fn a_backup_of_a_served_house_restores_it_and_keeps_the_other_aside() {
    let mut daemon = daemon();
    daemon.keep_addresses();
    daemon.add("hall");
    let secret = daemon.enrol("hall");
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 1})).revision(), 1);
    let backup = daemon.http().post("/v1/backups", &json!({}));
    assert_eq!(backup.status, 201, "{backup:?}");
    let name = backup.json["name"].as_str().unwrap().to_owned();
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &json!({"fade": 2})).revision(), 2);
    let bytes = daemon.http().get(&format!("/v1/backups/{name}"));
    let file = daemon.data().with_extension("taken");
    std::fs::write(&file, &bytes.body).unwrap();
    let (data, taken) = (daemon.data().to_str().unwrap().to_owned(), file.to_str().unwrap().to_owned());
    // not while it is served
    let refused = run(&["restore", &taken, "--data", &data]);
    assert!(!refused.status.success(), "{}", text(&refused));
    assert_eq!(daemon.stop(), 0);
    // not from a damaged file, and the house is as it was
    let damaged = daemon.data().with_extension("damaged");
    let mut bytes = bytes.body;
    let middle = bytes.len() / 2;
    bytes[middle..middle + 4096].fill(0x5a);
    std::fs::write(&damaged, &bytes).unwrap();
    let refused = run(&["restore", damaged.to_str().unwrap(), "--data", &data]);
    assert!(!refused.status.success(), "{}", text(&refused));
    daemon.restart();
    assert_eq!(daemon.http().get("/v1/fixtures/hall/desired").json, json!({"fade": 2}));
    assert_eq!(daemon.stop(), 0);
    let restored = run(&["restore", &taken, "--data", &data]);
    assert!(restored.status.success(), "{}", text(&restored));
    daemon.restart();
    assert_eq!(daemon.http().get("/v1/fixtures/hall/desired").json, json!({"fade": 1}));
    checker::check(&daemon);
    let aside = std::fs::read_dir(daemon.data())
        .unwrap()
        .filter_map(Result::ok)
        .any(|entry| entry.file_name().to_string_lossy().contains("aside"));
    assert!(aside, "the database that was there is gone");
    // the controller's secret is in the backup too
    let firmware = Firmware::start(&daemon.mqtt, "hall", &secret);
    let _ = firmware.wait("desired", |heard| heard.json["document"] == json!({"fade": 1}));
}

#[test]
fn a_dump_loads_into_the_plain_shell_to_the_same_state() {
    if missing("sqlite3") {
        return;
    }
    let daemon = daemon();
    daemon.add("hall");
    let odd = json!({"note": "it's \"quoted\"\nand\ttabbed — ünïcode 💡", "n": [1, -0.5, 1e300]});
    assert_eq!(daemon.http().patch("/v1/fixtures/hall/desired", &odd).status, 200);
    let dump = daemon.data().with_extension("sql");
    let output = run(&["dump", "--data", daemon.data().to_str().unwrap(), "-o", dump.to_str().unwrap()]);
    assert!(output.status.success(), "{}", text(&output));
    let loaded = daemon.data().with_extension("loaded.sqlite");
    let shell = Command::new("sqlite3").arg(&loaded).arg(format!(".read {}", dump.display())).output().unwrap();
    assert!(shell.status.success() && shell.stderr.is_empty(), "{}", text(&shell));
    for table in ["fixture", "document", "history", "snapshot", "outbox", "token", "setting"] {
        let sql = format!("SELECT * FROM {table} ORDER BY 1, 2");
        let there = Command::new("sqlite3").arg(&loaded).arg(&sql).output().unwrap();
        assert_eq!(String::from_utf8_lossy(&there.stdout), daemon.sql(&sql), "{table}");
    }
}

#[test]
fn a_database_of_a_newer_version_is_refused_untouched() {
    if missing("sqlite3") {
        return;
    }
    let mut daemon = daemon();
    daemon.add("hall");
    assert_eq!(daemon.stop(), 0);
    let path = daemon.data().join("sconced.sqlite");
    let shell = Command::new("sqlite3")
        .arg(&path)
        .arg("INSERT INTO _sqlx_migrations VALUES (999, 'later', CURRENT_TIMESTAMP, 1, x'00', 0); PRAGMA wal_checkpoint(TRUNCATE);")
        .output()
        .unwrap();
    assert!(shell.status.success(), "{}", text(&shell));
    let before = std::fs::read(&path).unwrap();
    let data = daemon.data().to_str().unwrap().to_owned();
    let output = run(&["serve", "--data", &data, "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"]);
    assert_eq!(output.status.code(), Some(3), "{}", text(&output));
    assert!(text(&output).contains("999"), "{}", text(&output));
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn a_kind_of_the_owners_is_checked_by_its_schema() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    std::fs::create_dir_all(data.join("kinds")).unwrap();
    let schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "type": "object", "properties": {"glow": {"type": "integer", "minimum": 0, "maximum": 9}}, "additionalProperties": false
    });
    std::fs::write(data.join("kinds/lantern.json"), schema.to_string()).unwrap();
    let daemon = testkit::Daemon::start_on(SCONCED, DaemonOptions::default(), &data);
    let http = daemon.http();
    assert_eq!(http.post("/v1/fixtures", &json!({"id": "porch", "kind": "lantern"})).status, 201);
    assert_eq!(http.patch("/v1/fixtures/porch/desired", &json!({"glow": 5})).status, 200);
    let answer = http.patch("/v1/fixtures/porch/desired", &json!({"glow": 12}));
    assert_eq!((answer.status, &answer.json["pointer"]), (422, &json!("/glow")), "{answer:?}");
    assert_eq!(http.get("/v1/fixtures/porch/desired").json, json!({"glow": 5}));
}

#[test]
fn the_demo_comes_up_and_its_fixtures_come_back_from_a_power_cut() {
    use std::io::{BufRead, BufReader};
    let mut child = Command::new(SCONCED)
        .args(["demo", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let url = line.split_whitespace().find_map(|word| word.strip_prefix("http=")).unwrap().to_owned();
    let http = testkit::Http::new(&url, None);
    let all_in_step = || {
        let list = http.get("/v1/fixtures").json;
        let fixtures = list["fixtures"].as_array()?.clone();
        (fixtures.len() == 5 && fixtures.iter().all(|f| f["standing"] == json!("in-step"))).then_some(())
    };
    eventually("five fixtures in step", all_in_step);
    let boots = |id: &str| http.get(&format!("/v1/fixtures/{id}")).json["boots_heard"].as_u64().unwrap();
    let before = boots("hall");
    let cut = http.post("/v1/demo/power", &json!({"cut_seconds": 0.5}));
    assert!(cut.is_ok(), "{cut:?}");
    eventually("a new boot", || (boots("hall") > before).then_some(()));
    eventually("five fixtures in step again", all_in_step);
    child.kill().unwrap();
    child.wait().unwrap();
}
