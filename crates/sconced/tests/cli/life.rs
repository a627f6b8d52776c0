//! Start and stop: the ready line, exit codes, signals.

use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use std::os::unix::net::UnixDatagram;

use rustix::process::Signal;
use serde_json::Value;

use crate::program::{BOUND, Daemon, World, exists, get};

#[test]
fn when_ready_it_prints_one_line_and_both_ports_answer() {
    let world = World::new();
    let daemon = world.serve(&["--data", "house"]);
    assert!(daemon.ready.starts_with("ready http=http://127.0.0.1:"), "{}", daemon.ready);
    assert_eq!(daemon.part("data"), world.path("house").to_str().unwrap());
    assert!(ureq::get(format!("{}/healthz", daemon.part("http"))).call().unwrap().status().is_success());
    assert!(ureq::get(format!("{}/readyz", daemon.part("http"))).call().unwrap().status().is_success());
    std::net::TcpStream::connect(daemon.part("mqtt")).unwrap();
}

#[test]
fn sigterm_and_sigint_stop_it_with_0_and_take_the_word_of_it_away() {
    for signal in [Signal::TERM, Signal::INT] {
        let world = World::new();
        let daemon = world.serve(&[]);
        let left = world.path("sconced-data/daemon.json");
        let here: Value = serde_json::from_str(&std::fs::read_to_string(&left).unwrap()).unwrap();
        assert_eq!(here["pid"], daemon.pid());
        assert_eq!(here["http"], daemon.part("http"));
        daemon.signal(signal);
        let (status, said) = daemon.end();
        assert_eq!(status.code(), Some(0), "{said}");
        assert!(!exists(&left));
        assert!(!exists(&world.path("sconced-data/sconced.sqlite-wal")), "the database was not closed");
    }
}

#[test]
fn the_admin_token_of_a_new_house_is_said_once_and_opens_it() {
    let world = World::new();
    let daemon = world.serve(&[]);
    let url = format!("{}/v1/fixtures", daemon.part("http"));
    assert_eq!(ureq::get(&url).call().unwrap_err().to_string(), "http status: 401");
    let (_, said) = daemon.terminate();
    let token = said.lines().map(str::trim).find(|line| line.len() == 43 && !line.contains(' ')).unwrap().to_owned();
    let daemon = world.serve(&[]);
    let url = format!("{}/v1/fixtures", daemon.part("http"));
    ureq::get(&url).header("authorization", format!("Bearer {token}")).call().unwrap();
    let (_, said) = daemon.terminate();
    assert!(!said.contains("admin token"), "{said}");
}

#[test]
fn a_second_daemon_on_one_folder_is_refused_with_3_and_the_holders_process_id() {
    let world = World::new();
    let daemon = world.serve(&[]);
    let (code, said) = world.fails(&["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"]);
    assert_eq!(code, 3, "{said}");
    assert!(said.contains(&daemon.pid().to_string()), "{said}");
    assert!(exists(&world.path("sconced-data/daemon.json")), "the first one's word was taken away");
}

#[test]
fn a_folder_that_holds_something_else_is_refused_with_3_and_left_alone() {
    let world = World::new();
    std::fs::create_dir(world.path("house")).unwrap();
    let database = world.write("house/sconced.sqlite", "a shopping list, and certainly no database");
    let (code, said) = world.fails(&["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0", "--data", "house"]);
    assert_eq!(code, 3, "{said}");
    assert!(std::fs::read_to_string(database).unwrap().starts_with("a shopping list"));
}

#[test]
fn an_address_that_is_taken_is_refused_with_4_and_named() {
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let addr = taken.local_addr().unwrap().to_string();
    let world = World::new();
    for arguments in [["--http", &addr, "--mqtt", "127.0.0.1:0"], ["--http", "127.0.0.1:0", "--mqtt", &addr]] {
        let (code, said) = world.fails(&[&["serve"], &arguments[..]].concat());
        assert_eq!(code, 4, "{said}");
        assert!(said.contains(&addr) && said.contains("in use"), "{said}");
    }
    // nothing was left that would keep the next one out
    world.serve(&[]);
}

#[test]
fn a_wrong_command_line_or_configuration_is_refused_with_2() {
    let world = World::new();
    world.write("bad.toml", "[http]\nlisten = \"nowhere\"\n");
    let cases: [(&[&str], &str); 6] = [
        (&[], "Usage"),
        (&["serv"], "unrecognized subcommand"),
        (&["serve", "--http", "nowhere"], "--http"),
        (&["serve", "--config", "bad.toml"], "http.listen"),
        (&["serve", "--config", "missing.toml"], "missing.toml"),
        (&["serve", "--broker", "http://b"], "mqtt://HOST:PORT"),
    ];
    for (arguments, word) in cases {
        let (code, said) = world.fails(arguments);
        assert_eq!(code, 2, "{arguments:?}: {said}");
        assert!(said.contains(word), "{arguments:?}: {said}");
    }
    let output = world.program(&["serve"]).env("SCONCED_LOG__LEVEL", "loud").output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(!exists(&world.path("sconced-data")), "something was made before the configuration was checked");
}

#[test]
fn a_second_daemon_that_fails_leaves_the_first_one_working() {
    let world = World::new();
    let daemon = world.serve(&["--open-on-loopback"]);
    world.fails(&["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"]);
    assert_eq!(get(&format!("{}/v1/fixtures", daemon.part("http")))["fixtures"], serde_json::json!([]));
}

#[test]
fn the_log_is_json_when_asked_for() {
    let world = World::new();
    let daemon = world.serve(&["--log", "json"]);
    let (_, said) = daemon.terminate();
    let objects: Vec<Value> = said.lines().filter_map(|line| serde_json::from_str(line).ok()).collect();
    assert!(objects.iter().any(|line| line["fields"]["message"] == "ready"), "{said}");
}

#[test]
fn sighup_takes_over_what_it_can_and_names_what_needs_a_restart() {
    let world = World::new();
    let config = world.write("sconced.toml", "[log]\nlevel = \"info\"\n");
    let (daemon, heard) = told_to_systemd(&world, &["--config", "sconced.toml"]);
    assert_eq!(heard(), "READY=1");
    for text in ["[log]\nlevel = \"debug\"\n[backups]\nevery_hours = 6\nkeep = 3\n", "[log]\nlevel = \"loud\"\n"] {
        std::fs::write(&config, text).unwrap();
        daemon.signal(Signal::HUP);
        assert!(heard().starts_with("RELOADING=1\nMONOTONIC_USEC="));
        assert_eq!(heard(), "READY=1");
    }
    let (status, said) = daemon.terminate();
    assert_eq!(status.code(), Some(0));
    assert!(said.contains("backups.every_hours, log.level"), "{said}");
    assert!(said.contains("backups.keep"), "{said}");
    assert!(said.contains("cannot be used; all stays as it was"), "{said}");
}

#[test]
fn a_second_signal_ends_a_stop_that_waits_for_somebody_at_once_with_1() {
    let world = World::new();
    let (daemon, heard) = told_to_systemd(&world, &["--open-on-loopback"]);
    assert_eq!(heard(), "READY=1");
    let addr = daemon.part("http").strip_prefix("http://").unwrap();
    let mut slow = std::net::TcpStream::connect(addr).unwrap();
    let head = "POST /v1/fixtures HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n\
                Content-Length: 100\r\nExpect: 100-continue\r\n\r\n";
    slow.write_all(head.as_bytes()).unwrap();
    // the answer to Expect says that somebody reads the body now, so that stopping has to wait for it
    slow.read_exact(&mut [0; 12]).unwrap();
    daemon.signal(Signal::TERM);
    assert_eq!(heard(), "STOPPING=1");
    daemon.signal(Signal::TERM);
    let (status, said) = daemon.end();
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(said.contains("second signal"), "{said}");
}

#[test]
fn the_token_of_one_start_is_worth_nothing_after_the_next() {
    let world = World::new();
    let left = || -> Value {
        serde_json::from_str(&std::fs::read_to_string(world.path("sconced-data/daemon.json")).unwrap()).unwrap()
    };
    let daemon = world.serve(&[]);
    let old = left()["token"].as_str().unwrap().to_owned();
    world.ok(&["list", "--token", &old]);
    daemon.terminate();
    let _daemon = world.serve(&[]);
    assert_ne!(left()["token"], old);
    assert_eq!(world.fails(&["list", "--token", &old]).0, 1);
}

#[test]
fn systemd_is_told_when_it_is_ready_and_when_it_stops() {
    let world = World::new();
    let (daemon, heard) = told_to_systemd(&world, &[]);
    assert_eq!(heard(), "READY=1");
    daemon.signal(Signal::TERM);
    assert_eq!(heard(), "STOPPING=1");
    assert_eq!(daemon.end().0.code(), Some(0));
}

/// A daemon, and what it tells systemd: the messages of `sd_notify(3)`.
fn told_to_systemd(world: &World, more: &[&str]) -> (Daemon, impl Fn() -> String + use<>) {
    let socket = UnixDatagram::bind(world.path("notify")).unwrap();
    socket.set_read_timeout(Some(BOUND)).unwrap();
    let ports = ["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"];
    let mut command = world.program(&[&ports, more].concat());
    command.env("NOTIFY_SOCKET", world.path("notify"));
    let mut daemon = Daemon::spawn(command);
    daemon.wait_until_ready();
    let heard = move || {
        let mut bytes = [0; 256];
        let length = socket.recv(&mut bytes).unwrap();
        String::from_utf8(bytes[..length].to_vec()).unwrap().trim().to_owned()
    };
    (daemon, heard)
}

#[test]
fn a_kind_that_cannot_be_used_is_refused_with_2_and_its_file() {
    let world = World::new();
    let serve = ["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"];
    std::fs::create_dir_all(world.path("sconced-data/kinds")).unwrap();
    let kind = world.write("sconced-data/kinds/kettle.json", "{");
    let (code, said) = world.fails(&serve);
    assert!(code == 2 && said.contains("kinds/kettle.json") && said.contains("mend it"), "{said}");
    world.write("sconced-data/kinds/kettle.json", "{}");
    let daemon = world.serve(&[]);
    world.ok(&["add", "hall", "--kind", "kettle"]);
    daemon.terminate();
    std::fs::remove_file(kind).unwrap();
    let (code, said) = world.fails(&serve);
    assert!(code == 2 && said.contains("kinds/kettle.json") && said.contains("hall"), "{said}");
}
