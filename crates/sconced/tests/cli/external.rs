//! An external broker: the daemon does not wait for it, and writes the files that it needs.

use crate::program::{World, exists};

#[test]
fn it_is_ready_before_the_broker_is_there_and_writes_its_files() {
    let world = World::new();
    std::fs::create_dir(world.path("files")).unwrap();
    world.write("password", "two words\n");
    world.write(
        "sconced.toml",
        "[broker]\nurl = \"mqtt://127.0.0.1:1\"\nusername = \"sconced\"\npassword_file = \"password\"\nfiles = \"files\"\n",
    );
    let daemon = world.start(&["serve", "--http", "127.0.0.1:0", "--config", "sconced.toml"]);
    assert_eq!(daemon.part("mqtt"), "127.0.0.1:1");
    world.ok(&["add", "hall"]);
    let enrolment = world.json(&["enrol", "hall"]);
    assert_eq!(enrolment["broker"]["port"], 1);
    let passwords = std::fs::read_to_string(world.path("files/passwords")).unwrap();
    let users: Vec<&str> = passwords.lines().map(|line| line.split(':').next().unwrap()).collect();
    assert_eq!(users, ["sconced", "hall"]);
    assert!(!passwords.contains("two words") && !passwords.contains(enrolment["secret"].as_str().unwrap()));
    assert!(exists(&world.path("files/access")));
    let (status, said) = daemon.terminate();
    assert_eq!(status.code(), Some(0), "{said}");
    assert!(!said.contains("two words"), "{said}");
}
