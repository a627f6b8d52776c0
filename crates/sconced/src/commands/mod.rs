//! What each command does.

mod agenda;
mod backup;
mod documents;
mod dump;
mod fixtures;
mod past;
mod progress;
mod restore;
mod shell;
mod showing;
mod simulate;

use jiff::Timestamp;

use crate::arguments::{Command, CommandLine, Common};
use crate::config::Sources;
use crate::error::Failure;
use crate::output::Output;

/// Carries a command out.
///
/// # Errors
/// [`Failure`] with its exit code.
pub fn run(line: CommandLine) -> Result<(), Failure> {
    let CommandLine { common, command } = line;
    let out = Output { json: common.json };
    match command {
        Command::Serve(arguments) => {
            let sources = Sources::new(arguments.flags(common.data), std::env::vars_os());
            long_running(crate::daemon::serve(sources))
        }
        Command::Demo(arguments) => long_running(crate::demo::demo(arguments, common.data)),
        Command::Simulate(arguments) => long_running(simulate::simulate(arguments, common, out)),
        Command::Add(arguments) => fixtures::add(&arguments, &common, out),
        Command::List(arguments) => fixtures::list(&arguments, &common, out),
        Command::Enrol(arguments) => fixtures::enrol(&arguments, &common, out),
        Command::Edit(arguments) => documents::edit(&arguments, &common, out),
        Command::Desired(arguments) => documents::desired(&arguments, &common, out),
        Command::Showing(arguments) => showing::showing(&arguments, &common, out),
        Command::Agenda(arguments) => agenda::agenda(&arguments, &common, out),
        Command::Year(arguments) => agenda::year(&arguments, &common, out),
        Command::Undo(arguments) => documents::undo(&arguments, &common, out),
        Command::Past(arguments) => past::past(&arguments, &common, out),
        Command::Backup => backup::backup(&common, out),
        Command::Restore(arguments) => restore::restore(&arguments, &common, out),
        Command::Dump(arguments) => dump::dump(&arguments, &common, out),
        Command::Completions(arguments) => shell::completions(&arguments, out),
        Command::Man => shell::manual(out),
        Command::ExampleConfig => out.text(&crate::config::example()),
    }
}

/// Runs something on all cores until it ends. What still works in the background then is left behind.
fn long_running(work: impl Future<Output = Result<(), Failure>>) -> Result<(), Failure> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Failure::System(error.to_string()))?;
    let ended = runtime.block_on(work);
    runtime.shutdown_background();
    ended
}

/// Runs one thing to its end.
fn at_once<T>(work: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.map_err(|error| Failure::System(error.to_string()))?.block_on(work)
}

/// A time of the command line.
fn time(text: &str) -> Result<Timestamp, Failure> {
    crate::client::read_time(text, now()).map_err(|error| Failure::Usage(error.to_string()))
}

/// A time of the command line as the daemon reads it.
fn time_text(text: &str) -> Result<String, Failure> {
    Ok(time(text)?.to_string())
}

/// The time now.
fn now() -> Timestamp {
    service::Clock::System.now()
}

/// The daemon that is meant.
fn daemon(common: &Common) -> Result<crate::client::Client, Failure> {
    crate::client::find(common)
}
