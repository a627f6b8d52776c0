//! An external broker: the daemon does not wait for it, and writes the files that it needs.

use crate::program::{World, exists, until};

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
    assert!(enrolment["takes_effect"].as_str().unwrap().contains("has to be told"), "{enrolment}");
    let passwords = std::fs::read_to_string(world.path("files/passwords")).unwrap();
    let users: Vec<&str> = passwords.lines().map(|line| line.split(':').next().unwrap()).collect();
    assert_eq!(users, ["sconced", "hall"]);
    assert!(!passwords.contains("two words") && !passwords.contains(enrolment["secret"].as_str().unwrap()));
    assert!(exists(&world.path("files/access")));
    let (status, said) = daemon.terminate();
    assert_eq!(status.code(), Some(0), "{said}");
    assert!(!said.contains("two words"), "{said}");
}

/// A house with an external broker that is not there, its files in the folder `files`.
fn configured(world: &World, more: &str) {
    world.write(
        "sconced.toml",
        &format!(
            "[broker]\nurl = \"mqtt://127.0.0.1:1\"\nusername = \"keeper\"\npassword = \"p\"\nfiles = \"files\"\n{more}"
        ),
    );
}

const SERVE: [&str; 5] = ["serve", "--http", "127.0.0.1:0", "--config", "sconced.toml"];

fn users(world: &World) -> Vec<String> {
    let passwords = std::fs::read_to_string(world.path("files/passwords")).unwrap();
    passwords.lines().map(|line| line.split(':').next().unwrap().to_owned()).collect()
}

#[test]
fn its_files_are_brought_to_what_the_house_has_at_every_start_and_after_a_restore() {
    let world = World::new();
    configured(&world, "");
    let daemon = world.start(&SERVE);
    for id in ["hall", "stairs"] {
        world.ok(&["add", id]);
    }
    world.ok(&["enrol", "hall"]);
    let backup = world.json(&["backup"])["name"].as_str().unwrap().to_owned();
    let of_hall = |world: &World| {
        let passwords = std::fs::read_to_string(world.path("files/passwords")).unwrap();
        passwords.lines().find(|line| line.starts_with("hall:")).map(ToOwned::to_owned)
    };
    let first = of_hall(&world).unwrap();
    world.ok(&["enrol", "hall"]);
    world.ok(&["enrol", "stairs"]);
    assert_ne!(of_hall(&world), Some(first.clone()));
    daemon.terminate();
    // somebody else's hand, and a file that was lost
    let passwords = std::fs::read_to_string(world.path("files/passwords")).unwrap();
    world.write(
        "files/passwords",
        &format!("Owner's tool:$7$x\nghost:$7$x\n{passwords}").replace("stairs:", "landing:"),
    );
    world.ok(&["restore", &format!("sconced-data/backups/{backup}")]);
    let daemon = world.start(&SERVE);
    assert_eq!(users(&world), ["Owner's tool", "keeper", "hall"]);
    assert_eq!(of_hall(&world), Some(first.clone()), "the secret of the backup holds again");
    let (_, said) = daemon.terminate();
    assert!(said.contains("ghost, landing"), "{said}");
    std::fs::remove_dir_all(world.path("files")).unwrap();
    let _daemon = world.start(&SERVE);
    assert_eq!(users(&world), ["keeper", "hall"]);
    assert_eq!(of_hall(&world), Some(first));
}

#[test]
fn a_fixture_may_not_bear_a_name_of_the_daemon_at_the_broker() {
    let world = World::new();
    let daemon = world.serve(&[]);
    for id in ["keeper", "second"] {
        world.ok(&["add", id]);
    }
    let (code, said) = world.fails(&["add", "sconced-daemon"]);
    assert!(code == 1 && said.contains("choose another id"), "{said}");
    daemon.terminate();
    for (more, setting, fixture) in
        [("", "broker.username", "keeper"), ("client_id = \"second\"\n", "broker.client_id", "second")]
    {
        configured(&world, more);
        if setting == "broker.client_id" {
            let daemon = world.serve(&[]);
            let url = format!("{}/v1/fixtures/keeper", daemon.part("http"));
            let left = std::fs::read_to_string(world.path("sconced-data/daemon.json")).unwrap();
            let left: serde_json::Value = serde_json::from_str(&left).unwrap();
            let token = format!("Bearer {}", left["token"].as_str().unwrap());
            ureq::delete(&url).header("authorization", token).call().unwrap();
            daemon.terminate();
        }
        let (code, said) = world.fails(&SERVE);
        assert_eq!(code, 2, "{said}");
        assert!(said.contains(setting) && said.contains(&format!("\"{fixture}\"")), "{said}");
        assert!(!exists(&world.path("files/passwords")), "its line was written");
    }
    configured(&world, "");
    let _daemon = world.start(&SERVE);
    for id in ["keeper", "sconced-daemon"] {
        let (code, said) = world.fails(&["add", id]);
        assert!(code == 1 && said.contains("choose another id"), "{said}");
    }
    assert_eq!(users(&world), ["keeper"]);
}

/// A process in the place of a broker that notes down when it is told to read its files again.
struct Told(std::process::Child);

impl Told {
    fn start(world: &World) -> Self {
        let script = "trap 'echo again >> told' HUP; echo $$ > pid.part; mv pid.part pid; while :; do sleep 0.02; done";
        let child =
            std::process::Command::new("/bin/sh").args(["-c", script]).current_dir(world.path("")).spawn().unwrap();
        until("its process id", || exists(&world.path("pid")).then_some(()));
        Self(child)
    }
}

impl Drop for Told {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn the_broker_is_told_to_read_its_files_again_where_its_process_id_is_known() {
    let world = World::new();
    configured(&world, "reload = \"pid\"\n");
    let told = Told::start(&world);
    let times = || std::fs::read_to_string(world.path("told")).map_or(0, |text| text.lines().count());
    let daemon = world.start(&SERVE);
    until("the broker to be told of the start", || (times() == 1).then_some(()));
    world.ok(&["add", "hall"]);
    let enrolment = world.json(&["enrol", "hall"]);
    assert!(enrolment["takes_effect"].as_str().unwrap().starts_with("now"), "{enrolment}");
    until("the broker to be told of the enrolment", || (times() == 2).then_some(()));
    drop(told);
    // the file is still there, but leads nowhere: the enrolment stands, and says what is left to do
    let printed = world.ok(&["enrol", "hall"]);
    assert!(printed.contains("It holds when the broker has read its password file again"), "{printed}");
    let (_, said) = daemon.terminate();
    assert!(said.contains("could not be told to read its files again"), "{said}");
}

#[test]
fn without_files_an_enrolment_says_that_the_broker_has_to_be_told_by_hand() {
    let world = World::new();
    let _daemon = world.start(&["serve", "--http", "127.0.0.1:0", "--broker", "mqtt://127.0.0.1:1"]);
    world.ok(&["add", "hall"]);
    assert!(world.ok(&["enrol", "hall"]).contains("told the broker by hand"));
}
