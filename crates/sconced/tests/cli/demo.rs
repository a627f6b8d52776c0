//! The demo: five fixtures in step, a past, a power cut, and commands that find it.

use serde_json::{Value, json};

use crate::program::{Daemon, World, exists, get, until};

const FIVE: [&str; 5] = ["breakfast-room", "hall", "jetty", "landing", "stairs"];

fn demo(world: &World, more: &[&str]) -> Daemon {
    world.start(&[&["demo", "--http", "127.0.0.1:0"], more].concat())
}

fn fixtures(daemon: &Daemon) -> Vec<Value> {
    get(&format!("{}/v1/fixtures", daemon.part("http")))["fixtures"].as_array().unwrap().clone()
}

fn all_in_step(daemon: &Daemon) -> Option<()> {
    let fixtures = fixtures(daemon);
    (fixtures.len() == 5 && fixtures.iter().all(|fixture| fixture["standing"] == "in-step")).then_some(())
}

#[test]
fn the_five_fixtures_get_in_step_and_other_shells_find_the_demo() {
    let world = World::new();
    let daemon = demo(&world, &[]);
    until("five fixtures in step", || all_in_step(&daemon));
    let output = world.run(&["list"]);
    let said = crate::program::text(&output.stderr);
    assert_eq!(said.trim(), format!("talking to the demo at {}", daemon.part("http")));
    let told: Value = serde_json::from_slice(&world.run(&["list", "--json"]).stderr).unwrap();
    assert_eq!(told["note"], json!(said.trim()));
    let named = world.run(&["list", "--data", daemon.part("data")]);
    assert_eq!(crate::program::text(&named.stderr), "", "whoever names its folder knows");
    let listed = world.json(&["list"]);
    let ids: Vec<&str> = listed["fixtures"].as_array().unwrap().iter().map(|f| f["id"].as_str().unwrap()).collect();
    assert_eq!(ids, FIVE);
    let past = world.json(&["past", "--limit", "1000", "--until", "-1d"]);
    let changes = past["changes"].as_array().unwrap();
    assert!(changes.len() > 30, "{}", changes.len());
    assert!(changes.iter().all(|change| change["via"] == "demo"));
    let rev = world.json(&["edit", "hall", r#"{"lit":false}"#])["rev"].clone();
    until("the hall to apply the edit", || {
        let hall = get(&format!("{}/v1/fixtures/hall", daemon.part("http")));
        (hall["standing"] == "in-step" && hall["reported"]["applied"] == rev).then_some(())
    });
    let folder = std::path::PathBuf::from(daemon.part("data"));
    let word = world.path(&format!("sconced-{}/current.json", rustix::process::geteuid().as_raw()));
    assert!(exists(&word));
    let (status, said) = daemon.terminate();
    assert_eq!(status.code(), Some(0), "{said}");
    assert!(said.contains("curl") && said.contains("invented"), "{said}");
    assert!(!exists(&folder), "the temporary folder is still there");
    assert!(!exists(&word), "the demo is still found");
}

#[test]
fn a_power_cut_takes_the_whole_house_and_all_of_it_comes_back() {
    let world = World::new();
    let daemon = demo(&world, &[]);
    until("five fixtures in step", || all_in_step(&daemon));
    let boots = |fixtures: &[Value]| fixtures.iter().map(|f| f["boots_heard"].as_u64().unwrap()).sum::<u64>();
    let before = boots(&fixtures(&daemon));
    let answer: Value = ureq::post(format!("{}/v1/demo/power", daemon.part("http")))
        .send_json(json!({"cut_seconds": 2}))
        .unwrap()
        .body_mut()
        .read_json()
        .unwrap();
    assert!(answer.to_string().contains('5'), "{answer}");
    until("five silent fixtures", || {
        fixtures(&daemon).iter().all(|fixture| fixture["standing"] == "silent").then_some(())
    });
    until("five boots", || (boots(&fixtures(&daemon)) == before + 5).then_some(()));
    until("five fixtures in step again", || all_in_step(&daemon));
    assert_eq!(daemon.terminate().0.code(), Some(0));
}

#[test]
fn a_demo_with_a_folder_of_its_own_goes_on_where_it_was() {
    let world = World::new();
    let daemon = demo(&world, &["--data", "heron"]);
    let rev = world.json(&["edit", "jetty", r#"{"lit":false}"#, "--data", "heron"])["rev"].clone();
    daemon.terminate();
    let daemon = demo(&world, &["--data", "heron"]);
    let jetty = get(&format!("{}/v1/fixtures/jetty", daemon.part("http")));
    assert_eq!(jetty["desired"]["rev"], rev);
    until("five fixtures in step", || all_in_step(&daemon));
}

#[test]
fn an_address_that_is_asked_for_and_taken_is_refused_with_4() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let world = World::new();
    let (code, said) = world.fails(&["demo", "--http", &taken.local_addr().unwrap().to_string()]);
    assert_eq!(code, 4, "{said}");
    let left = std::fs::read_dir(world.path("")).unwrap().count();
    assert_eq!(left, 0, "something was left behind");
}

#[test]
fn simulated_fixtures_are_enrolled_through_the_daemon_and_tell_every_change() {
    let world = World::new();
    let daemon = world.serve(&["--open-on-loopback"]);
    let simulated = world.start(&["simulate", "--enrol", "3", "--start-pause", "0", "--json"]);
    let first: Value = serde_json::from_str(&simulated.ready).unwrap();
    assert!(first["fixture"].as_str().unwrap().starts_with("simulated-"), "{first}");
    until("three fixtures in step", || {
        let all = fixtures(&daemon);
        (all.len() == 3 && all.iter().all(|fixture| fixture["standing"] == "in-step")).then_some(())
    });
    world.ok(&["edit", "simulated-2", r#"{"lit":false}"#]);
    let wanted = |line: &Value| line["fixture"] == "simulated-2" && line["rev"] == 1;
    while !wanted(&serde_json::from_str(&simulated.line().unwrap()).unwrap()) {}
    simulated.signal(rustix::process::Signal::TERM);
    until("the fixtures to say goodbye", || {
        fixtures(&daemon).iter().all(|fixture| fixture["standing"] == "silent").then_some(())
    });
}
