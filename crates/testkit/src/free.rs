//! Free ports and programs that may be missing.

use std::net::TcpListener;

/// A port that is free now. Only for programs that cannot take port 0 themselves.
///
/// # Panics
/// When there is none.
#[must_use]
pub fn free_port() -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).expect("a free port");
    listener.local_addr().expect("its address").port()
}

/// Whether a program is missing; says so loudly, and fails the test where everything has to be there (`CI` is set).
///
/// # Panics
/// When the program is missing and `CI` is set.
#[must_use]
pub fn missing(program: &str) -> bool {
    let found = std::env::var_os("PATH").is_some_and(|path| {
        std::env::split_paths(&path).chain(["/usr/sbin".into()]).any(|dir| dir.join(program).is_file())
    });
    if !found {
        assert!(std::env::var_os("CI").is_none(), "{program} is not installed, and this run has to be complete");
        eprintln!("NOT RUN: {program} is not installed");
    }
    !found
}
