//! The golden frames of `device`, rendered by a program in C.

use std::fmt::Write as _;

use serde_json::Value;

use crate::compiler::{Program, Watched};

const VECTORS: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../device/vectors/frames.json"));

/// Numbers of a list, one after the other, however deep.
fn numbers(value: &Value, into: &mut String) {
    match value {
        Value::Array(list) => list.iter().for_each(|value| numbers(value, into)),
        value => write!(into, " {value}").unwrap(),
    }
}

fn count(list: &Value) -> usize {
    list.as_array().unwrap().len()
}

/// `CHIP ORDER PIXELS SKIP GLOBAL BALANCE×4 RUNS (FROM TO)×RUNS`
fn strip(build: &Value) -> String {
    let mut text = format!(" {} {}", build["chip"].as_str().unwrap(), build["order"].as_str().unwrap());
    for member in ["pixels", "skip", "global", "balance"] {
        numbers(&build[member], &mut text);
    }
    write!(text, " {}", count(&build["runs"])).unwrap();
    numbers(&build["runs"], &mut text);
    text
}

/// `FLOOR×4 LENGTH MESSAGE`: the look as the message `showing` that a daemon would send, but for the floor, which no
/// message carries.
fn look(look: &Value) -> String {
    let message = serde_json::json!({"rev": 1, "now_ms": 1, "look": "evening", "channels": look["colours"],
        "span": look["span"], "motif": look["motif"], "fade_ms": 0, "because": "default"})
    .to_string();
    let mut text = String::new();
    numbers(&look["floor"], &mut text);
    write!(text, " {} {message}", message.len()).unwrap();
    text
}

/// What the program is told, and what it has to say, line by line.
fn cases() -> (String, Vec<String>) {
    let vectors: Value = serde_json::from_str(VECTORS).unwrap();
    let (mut told, mut said) = (String::new(), Vec::new());
    let list = |name: &str| vectors[name].as_array().unwrap().clone();
    for case in list("frames") {
        writeln!(told, "frame{}{} {}", strip(&case["build"]), look(&case["look"]), case["unix_ms"]).unwrap();
        said.push(case["bytes"].as_str().unwrap().to_owned());
    }
    for case in list("ceilings") {
        write!(told, "ceiling{}{}", strip(&case["build"]), look(&case["look"])).unwrap();
        for member in ["channels", "idle", "ceiling_milliamps"] {
            numbers(&case[member], &mut told);
        }
        told.push('\n');
        let bytes = case["bytes"].as_str().unwrap();
        said.push(format!("{} {} {} {bytes}", case["wanted"], case["drawn"], case["factor"]));
    }
    for case in list("crossings") {
        writeln!(told, "player {}", case["pixels"]).unwrap();
        for step in case["steps"].as_array().unwrap() {
            let when = format!("{} {}", step["uptime_ms"], step["unix_ms"]);
            if step.get("set").is_some() {
                writeln!(told, "set {when} {}{}", step["fade_ms"], look(&step["set"])).unwrap();
            } else {
                writeln!(told, "picture {when}").unwrap();
                let mut picture = String::new();
                numbers(&step["picture"], &mut picture);
                said.push(picture.trim_start().to_owned());
            }
        }
    }
    (told, said)
}

fn hold_the_golden_frames_against(watched: Watched) {
    let (told, wanted) = cases();
    let Some(said) = Program::compile("vectors", watched).run(&told) else { return };
    let said: Vec<&str> = said.lines().collect();
    for (number, (said, wanted)) in said.iter().zip(&wanted).enumerate() {
        assert_eq!(said, wanted, "case {number}");
    }
    assert_eq!(said.len(), wanted.len());
    assert!(wanted.len() > 80, "only {} golden frames", wanted.len());
}

#[test]
fn a_program_in_c_renders_the_golden_frames_under_sanitizers() {
    hold_the_golden_frames_against(Watched::BySanitizers);
}

#[test]
fn a_program_in_c_renders_the_golden_frames_under_valgrind() {
    hold_the_golden_frames_against(Watched::ByValgrind);
}
