//! Help, completions, manual, and the example configuration.

use crate::program::{World, text};

const COMMANDS: [&str; 19] = [
    "serve",
    "demo",
    "add",
    "list",
    "enrol",
    "edit",
    "desired",
    "showing",
    "agenda",
    "year",
    "past",
    "undo",
    "backup",
    "restore",
    "dump",
    "simulate",
    "completions",
    "man",
    "example-config",
];

#[test]
fn every_command_has_a_help_text_with_an_example() {
    let world = World::new();
    let all = world.ok(&["--help"]);
    for command in COMMANDS {
        assert!(all.contains(&format!("\n  {command} ")), "{command} is not listed");
        let help = world.ok(&[command, "--help"]);
        assert!(help.contains("Usage: sconced ") && help.contains(&format!("  sconced {command}")), "{help}");
    }
}

#[test]
fn help_shows_no_token_of_the_environment() {
    let world = World::new();
    let output = world.program(&["list", "--help"]).env("SCONCED_TOKEN", "pinewood").output().unwrap();
    assert!(!text(&output.stdout).contains("pinewood"));
}

#[test]
fn there_are_completions_for_the_usual_shells() {
    let world = World::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = world.ok(&["completions", shell]);
        assert!(script.contains("enrol") && script.contains("open-on-loopback"), "{shell}");
    }
}

#[test]
fn the_manual_names_every_command_and_its_arguments() {
    let manual = World::new().ok(&["man"]);
    assert!(manual.contains(".TH sconced 1"));
    for command in COMMANDS {
        assert!(manual.contains(&format!(".SH \"SCONCED {}\"", command.replace('-', " ").to_uppercase())), "{command}");
    }
    assert!(manual.contains("open\\-on\\-loopback"));
}

#[test]
fn the_example_configuration_can_be_served() {
    let world = World::new();
    let example = world.ok(&["example-config"]);
    world.write("sconced.toml", &example);
    let daemon = world.serve(&["--config", "sconced.toml"]);
    assert_eq!(daemon.terminate().0.code(), Some(0));
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let world = World::new();
    let mut child = world.program(&["man"]).stdout(std::process::Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    assert!(child.wait().unwrap().success());
}
