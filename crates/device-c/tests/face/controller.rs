//! The library as a controller gets it: without the standard library.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use crate::compiler::{Program, Watched, build};

/// What a C library for controllers has.
const FROM_C: [&str; 5] = ["bcmp", "memcmp", "memcpy", "memmove", "memset"];

/// What the part of the library that is ours takes from elsewhere. All that is Rust is one part, since it was optimised as
/// a whole; the other parts are the compiler's own.
fn needed(library: &Path) -> BTreeSet<String> {
    let listed = Command::new("readelf").args(["--symbols", "--wide"]).arg(library).output();
    let listed = listed.expect("readelf: install the Debian package binutils");
    let (mut needed, mut exported, mut ours) = (BTreeSet::new(), 0, false);
    for line in String::from_utf8_lossy(&listed.stdout).lines() {
        if line.starts_with("File:") {
            ours = line.contains("(sconced_device-");
            continue;
        }
        match *line.split_whitespace().collect::<Vec<_>>() {
            [_, _, _, _, _, _, "UND", name] if ours => _ = needed.insert(name.to_owned()),
            [_, _, _, "FUNC", "GLOBAL", _, _, name] if ours && name.starts_with("sconced_") => exported += 1,
            _ => {}
        }
    }
    assert!(exported > 40, "only {exported} functions have machine code");
    needed
}

#[test]
fn without_the_standard_library_it_needs_nothing_but_memory_functions() {
    let library = build("rustc", &["--no-default-features", "--profile", "firmware", "--crate-type", "staticlib"]);
    // Names with two underlines are the compiler's own arithmetic, which the library brings along.
    let mut missing = needed(&library);
    missing.retain(|name| !FROM_C.contains(&name.as_str()) && !name.starts_with("__"));
    assert!(missing.is_empty(), "a controller would have to bring {missing:?}");
    let said = Program::compile_against(&library, "rules", Watched::BySanitizers).run("").unwrap();
    assert!(said.ends_with(" checks\n"), "{said}");
}
