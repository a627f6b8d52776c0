//! The commands against a running daemon.

use std::io::Write as _;
use std::process::Stdio;

use serde_json::json;

use crate::program::{World, text};

/// A world with a daemon and one fixture, `hall`.
fn with_hall() -> (World, crate::program::Daemon) {
    let world = World::new();
    let daemon = world.serve(&[]);
    world.ok(&["add", "hall", "--title", "Reeds in the hall", "--group", "indoors"]);
    (world, daemon)
}

#[test]
fn a_fixture_goes_from_add_to_undo_without_a_token_on_the_same_machine() {
    let (world, _daemon) = with_hall();
    let patch = r##"{"lit":true,"looks":{"evening":{"colours":["#3fb6a8"],"intensity":70}},"default":"evening"}"##;
    let edited = world.json(&["edit", "hall", patch]);
    assert_eq!(edited["rev"], 1);
    assert_eq!(world.json(&["edit", "hall", r#"{"lit":false}"#, "--if-match", "1"])["rev"], 2);
    assert_eq!(world.json(&["desired", "hall"])["lit"], false);
    assert_eq!(world.json(&["desired", "hall", "--rev", "1"])["lit"], true);
    assert_eq!(world.json(&["undo", "hall"])["to"], 1);
    assert_eq!(world.json(&["desired", "hall"])["lit"], true);
    let showing = world.json(&["showing", "hall", "--at", "+3h"]);
    assert_eq!(showing["look"], "evening");
    let past = world.json(&["past", "hall", "--since", "-1h", "--path", "/lit", "--oldest-first"]);
    let changes = past["changes"].as_array().unwrap();
    assert_eq!(changes.iter().map(|change| &change["rev"]).collect::<Vec<_>>(), [1, 2, 3]);
    assert!(changes.iter().all(|change| change["by"] == "cli" && change["via"] == "cli"), "{past}");
    assert_eq!(world.json(&["past", "--limit", "2"])["changes"].as_array().unwrap().len(), 2);
    let listed = world.json(&["list", "--standing", "never-heard", "--group", "indoors"]);
    assert_eq!(listed["fixtures"][0]["id"], "hall");
    assert_eq!(world.json(&["list", "--standing", "silent"])["fixtures"], json!([]));
}

#[test]
fn what_people_read_is_plain_text_without_colour_codes() {
    let (world, _daemon) = with_hall();
    assert!(world.ok(&["edit", "hall", r#"{"lit":false}"#]).starts_with("hall is at rev 1: /lit changed."));
    assert!(world.ok(&["edit", "hall", r#"{"lit":false}"#]).starts_with("Nothing to change: hall stays at rev 1."));
    let listed = world.ok(&["list"]);
    assert!(
        listed.starts_with("ID") && listed.contains("Reeds in the hall") && listed.contains("never heard"),
        "{listed}"
    );
    let past = world.ok(&["past", "hall"]);
    assert!(past.contains("{\"lit\":false}"), "{past}");
    assert!(world.ok(&["undo", "hall"]).contains("put back as it was at rev 0"));
    for printed in [listed, past, world.ok(&["showing", "hall"]), world.ok(&["enrol", "hall"])] {
        assert!(!printed.contains('\u{1b}'), "{printed}");
    }
}

#[test]
fn enrolment_prints_what_the_firmware_needs() {
    let (world, daemon) = with_hall();
    let enrolment = world.json(&["enrol", "hall"]);
    assert_eq!(enrolment["username"], "hall");
    assert_eq!(enrolment["secret"].as_str().unwrap().len(), 43);
    let port: u16 = daemon.part("mqtt").rsplit_once(':').unwrap().1.parse().unwrap();
    assert_eq!(enrolment["broker"]["port"], port);
    let printed = world.ok(&["enrol", "hall"]);
    assert!(printed.contains("password") && printed.contains(&port.to_string()), "{printed}");
    assert!(!printed.contains(enrolment["secret"].as_str().unwrap()), "the secret is not new");
    assert!(printed.contains("It holds at once: the secret before it has ended"), "{printed}");
}

#[test]
fn a_patch_comes_from_a_file_or_from_standard_input_and_an_array_is_json_patch() {
    let (world, _daemon) = with_hall();
    world.write("patch.json", r#"{"lit":false}"#);
    assert_eq!(world.json(&["edit", "hall", "@patch.json"])["rev"], 1);
    let mut child =
        world.program(&["edit", "hall", "-", "--json"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(br#"[{"op":"replace","path":"/lit","value":true}]"#).unwrap();
    let output = child.wait_with_output().unwrap();
    let answer: serde_json::Value = serde_json::from_str(&text(&output.stdout)).unwrap();
    assert_eq!(answer["document"]["lit"], true);
}

#[test]
fn a_refusal_says_what_is_wrong_where_and_what_to_do_and_ends_with_1() {
    let (world, _daemon) = with_hall();
    let wrong = r##"{"looks":{"a":{"colours":["#fff"],"intensity":120}}}"##;
    let (code, said) = world.fails(&["edit", "hall", wrong]);
    assert_eq!(code, 1);
    assert!(said.contains("/looks/a/intensity") && said.contains("what to do:"), "{said}");
    let output = world.run(&["edit", "hall", wrong, "--json"]);
    let problem: serde_json::Value = serde_json::from_str(&text(&output.stderr)).unwrap();
    assert_eq!((&problem["status"], &problem["pointer"]), (&json!(422), &json!("/looks/a/intensity")));
    assert!(output.stdout.is_empty());
    let (code, said) = world.fails(&["edit", "stairs", "{}"]);
    assert!(code == 1 && said.contains("stairs"), "{said}");
    let (code, _) = world.fails(&["edit", "hall", r#"{"lit":true}"#, "--if-match", "7"]);
    assert_eq!(code, 1);
    let (code, said) = world.fails(&["add", "hall"]);
    assert!(code == 1 && said.contains("hall"), "{said}");
}

#[test]
fn what_makes_no_sense_is_refused_with_2_before_anything_is_sent() {
    let world = World::new();
    for arguments in [
        &["edit", "Hall", "{}"] as &[&str],
        &["edit", "hall", "{lit}"],
        &["showing", "hall", "--at", "yesterday"],
        &["past", "--limit", "0"],
        &["desired", "hall", "--rev", "1", "--at", "now"],
        &["simulate"],
        &["list", "--url", "https://localhost"],
    ] {
        let (code, said) = world.fails(arguments);
        assert_eq!(code, 2, "{arguments:?}: {said}");
    }
}

#[test]
fn without_a_daemon_a_command_says_how_to_start_one() {
    let world = World::new();
    let (code, said) = world.fails(&["list", "--data", "nowhere"]);
    assert_eq!(code, 1);
    assert!(said.contains("sconced serve"), "{said}");
    let (code, said) = world.fails(&["list", "--url", "http://127.0.0.1:1"]);
    assert!(code == 1 && said.contains("http://127.0.0.1:1"), "{said}");
}

#[test]
fn a_token_of_another_scope_or_none_is_told_apart() {
    let (world, daemon) = with_hall();
    let url = daemon.part("http").to_owned();
    // elsewhere, so that the daemon's own word is not found
    let elsewhere = World::new();
    let (code, said) = elsewhere.fails(&["list", "--url", &url]);
    assert!(code == 1 && said.contains("--token"), "{said}");
    let (code, said) = elsewhere.fails(&["list", "--url", &url, "--token", "wrong"]);
    assert!(code == 1 && !said.contains("wrong"), "{said}");
    let (code, _) = world.fails(&["list", "--token", "wrong"]);
    assert_eq!(code, 1);
    world.ok(&["list", "--url", &url]);
}
