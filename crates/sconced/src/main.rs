//! The `sconced` program.

use std::io::Write as _;
use std::process::ExitCode;

use clap::Parser as _;
use sconced::arguments::CommandLine;

fn main() -> ExitCode {
    let line = CommandLine::parse();
    let json = line.common.json;
    match sconced::commands::run(line) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) if failure.is_broken_pipe() => ExitCode::SUCCESS,
        Err(failure) => {
            // nobody may be listening there; the exit code says it too
            let _ = writeln!(anstream::stderr(), "{}", failure.told(json));
            ExitCode::from(failure.code())
        }
    }
}
