//! The header is what cbindgen makes of the sources.
//!
//! `UPDATE_HEADER=1 cargo test -p device-c --test face header` writes it anew.

use std::path::{Path, PathBuf};

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn made_from_the_sources() -> String {
    let root = Path::new(ROOT);
    let mut sources: Vec<PathBuf> =
        std::fs::read_dir(root.join("src")).unwrap().map(|entry| entry.unwrap().path()).collect();
    sources.sort();
    let config = cbindgen::Config::from_file(root.join("cbindgen.toml")).unwrap();
    let builder = sources.into_iter().fold(cbindgen::Builder::new().with_config(config), cbindgen::Builder::with_src);
    let mut header = Vec::new();
    builder.generate().expect("cbindgen reads the sources").write(&mut header);
    String::from_utf8(header).unwrap()
}

#[test]
fn the_header_is_that_of_the_sources() {
    let path = Path::new(ROOT).join("include/sconced_device.h");
    let made = made_from_the_sources();
    if std::env::var_os("UPDATE_HEADER").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    for (number, (kept, made)) in kept.lines().zip(made.lines()).enumerate() {
        assert_eq!(kept, made, "line {} of {}; the head of this file says how to renew it", number + 1, path.display());
    }
    assert_eq!(kept.len(), made.len());
}

#[test]
fn every_function_of_the_library_is_in_the_header_and_says_what_it_answers() {
    let header = std::fs::read_to_string(Path::new(ROOT).join("include/sconced_device.h")).unwrap();
    let mut functions = 0;
    for entry in std::fs::read_dir(Path::new(ROOT).join("src")).unwrap() {
        let path = entry.unwrap().path();
        let source = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        for exported in source.split("#[unsafe(no_mangle)]").skip(1) {
            let name = exported.split("fn ").nth(1).and_then(|rest| rest.split('(').next()).unwrap();
            let declared = header.find(&format!(" {name}(")).unwrap_or_else(|| panic!("{name} is not in the header"));
            let words = header.get(..declared).unwrap().rsplit("/**").next().unwrap();
            assert!(words.contains("Error"), "{name} does not say which errors it answers");
            functions += 1;
        }
    }
    assert!(functions > 30, "only {functions} functions were found");
}
