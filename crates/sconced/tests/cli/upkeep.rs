//! Backup, dump and restore, with and without a daemon.

use crate::program::{World, exists, text};

/// A house with one fixture whose desired document is at revision 2, and no daemon.
fn quiet_house() -> World {
    let world = World::new();
    let daemon = world.serve(&[]);
    world.ok(&["add", "hall"]);
    world.ok(&["edit", "hall", r#"{"lit":false}"#]);
    world.ok(&["edit", "hall", r#"{"lit":true}"#]);
    daemon.terminate();
    world
}

#[test]
fn a_backup_is_made_through_the_daemon_and_without_one() {
    let world = quiet_house();
    let direct = world.json(&["backup"]);
    assert!(exists(std::path::Path::new(&world.path(direct["path"].as_str().unwrap()))), "{direct}");
    let daemon = world.serve(&[]);
    let through = world.json(&["backup"]);
    assert!(through["bytes"].as_u64().unwrap() > 0);
    assert!(exists(&world.path("sconced-data/backups").join(through["name"].as_str().unwrap())));
    // one that is killed leaves its word behind
    daemon.signal(rustix::process::Signal::KILL);
    daemon.end();
    assert!(exists(&world.path("sconced-data/daemon.json")));
    assert!(world.ok(&["backup"]).contains("made and checked"));
    let (code, said) = world.fails(&["backup", "--data", "nowhere"]);
    assert!(code == 1 && !exists(&world.path("nowhere")), "{said}");
}

#[test]
fn a_backup_puts_the_house_back_as_it_was() {
    let world = quiet_house();
    let backup = world.json(&["backup"]);
    let daemon = world.serve(&[]);
    world.ok(&["edit", "hall", r#"{"lit":false}"#]);
    let backup = backup["path"].as_str().unwrap();
    let (code, said) = world.fails(&["restore", backup]);
    assert!(code == 3 && said.contains(&daemon.pid().to_string()), "{said}");
    daemon.terminate();
    let restored = world.json(&["restore", backup]);
    assert_eq!(restored["fixtures"], 1);
    assert!(exists(&world.path(restored["aside"].as_str().unwrap())), "{restored}");
    let _daemon = world.serve(&[]);
    assert_eq!(world.json(&["desired", "hall"])["lit"], true);
}

#[test]
fn a_dump_restores_into_another_folder_with_all_its_history() {
    let world = quiet_house();
    let daemon = world.serve(&[]);
    let dumped = world.json(&["dump", "-o", "house.sql"]);
    assert!(dumped["rows"].as_u64().unwrap() > 3);
    assert!(world.ok(&["dump"]).contains("CREATE TABLE"));
    daemon.terminate();
    world.ok(&["restore", "house.sql", "--data", "second"]);
    let _daemon = world.serve(&["--data", "second"]);
    assert_eq!(world.json(&["desired", "hall", "--rev", "1", "--data", "second"])["lit"], false);
}

#[test]
fn what_is_no_backup_is_refused_and_the_house_left_alone() {
    let world = quiet_house();
    world.write("letter.txt", "Dear Maren");
    let (code, said) = world.fails(&["restore", "letter.txt"]);
    assert!(code == 3 && said.contains("letter.txt"), "{said}");
    let (code, said) = world.fails(&["restore", "missing.sqlite"]);
    assert!(code == 2 && said.contains("missing.sqlite"), "{said}");
    let (code, said) = world.fails(&["dump", "--data", "nowhere"]);
    assert!(code == 3 && said.contains("nowhere"), "{said}");
    let _daemon = world.serve(&[]);
    assert_eq!(world.json(&["list"])["fixtures"].as_array().unwrap().len(), 1);
}

#[test]
fn the_configuration_that_the_environment_names_says_where_the_house_is() {
    let world = World::new();
    world.write("sconced.toml", "[data]\nfolder = \"elsewhere\"\n[backups]\nfolder = \"copies\"\n");
    let daemon = world.serve(&["--config", "sconced.toml"]);
    let run = |arguments: &[&str]| {
        let output = world.program(arguments).env("SCONCED_CONFIG", "sconced.toml").output().unwrap();
        (output.status.code().unwrap(), text(&output.stdout), text(&output.stderr))
    };
    let ok = |arguments: &[&str]| {
        let (code, out, err) = run(arguments);
        assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}");
        out
    };
    ok(&["add", "hall"]);
    daemon.terminate();
    ok(&["backup"]);
    let name = std::fs::read_dir(world.path("copies")).unwrap().next().unwrap().unwrap().file_name();
    assert!(ok(&["dump"]).contains("hall"));
    let restored = ok(&["restore", &format!("copies/{}", name.to_str().unwrap())]);
    assert!(restored.contains("elsewhere holds 1 fixture"), "{restored}");
    assert!(!exists(&world.path("sconced-data")));
    // the flag wins, and a configuration that cannot be used is no reason to take another folder
    assert_eq!(run(&["dump", "--data", "nowhere"]).0, 3);
    world.write("sconced.toml", "[data\n");
    for arguments in [&["dump"][..], &["backup"], &["restore", "sconced.toml"]] {
        let (code, _, said) = run(arguments);
        assert!(code == 2 && said.contains("sconced.toml"), "{arguments:?}: {said}");
    }
}

#[test]
fn a_backup_without_a_daemon_leaves_the_database_of_the_version_that_it_is() {
    let world = World::new();
    std::fs::create_dir(world.path("sconced-data")).unwrap();
    // a database before its first migration: a start would bring it up to date
    let database = world.write("sconced-data/sconced.sqlite", "");
    let (code, said) = world.fails(&["backup"]);
    assert_eq!(code, 3, "{said}");
    assert_eq!(std::fs::read(database).unwrap().len(), 0, "it was migrated");
}
