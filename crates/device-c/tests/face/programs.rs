//! Programs in C that check the face by themselves: what is wrong is an answer, and the rules come through.

use crate::compiler::{Program, Watched};

fn every_check_of(name: &str, watched: Watched) {
    let Some(said) = Program::compile(name, watched).run("") else { return };
    let checks: u32 = said.trim().strip_suffix(" checks").and_then(|count| count.parse().ok()).expect("a count");
    assert!(checks > 20, "{name} has checked no more than {checks} times");
}

#[test]
fn nonsense_is_answered_with_an_error_under_sanitizers() {
    every_check_of("nonsense", Watched::BySanitizers);
}

#[test]
fn nonsense_is_answered_with_an_error_under_valgrind() {
    every_check_of("nonsense", Watched::ByValgrind);
}

#[test]
fn the_rules_for_messages_come_through_to_c_under_sanitizers() {
    every_check_of("rules", Watched::BySanitizers);
}
