//! How close the daemon comes to what the machine can do at all: each figure and its bare ceiling, measured in turn in
//! one run.
//!
//! It measures and never judges by the clock of another run: disks wander, so only ratios of one run count. It holds
//! no rule of the trade and changes nothing outside a temporary folder.

mod arguments;
mod bare;
mod chart;
mod child;
mod daemon;
mod error;
mod figure;
mod figures;
mod fixtures;
mod history;
mod http;
mod load;
mod machine;
mod mqtt;
mod packet;
mod plain;
mod plan;
mod process;
mod report;
mod rounds;
mod yard;

use std::io::Write as _;
use std::process::ExitCode;

use clap::Parser as _;

use crate::arguments::{Arguments, What};
use crate::error::BenchError;
use crate::plan::Plan;
use crate::yard::Yard;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let ended = match runtime {
        Ok(runtime) => runtime.block_on(async {
            // dropped halfway, a run still ends its processes and removes its folder
            tokio::select! {
                ended = run(arguments) => ended,
                _ = tokio::signal::ctrl_c() => Err(BenchError::Interrupted),
            }
        }),
        Err(source) => Err(BenchError::Io { doing: "starting tokio", source }),
    };
    match ended {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            say(&format!("bench: {error}"));
            ExitCode::FAILURE
        }
    }
}

/// Says something on standard error; the table alone goes to standard output.
fn say(text: &str) {
    // nobody may be listening there; that is no reason to end
    let _ = writeln!(std::io::stderr(), "{text}");
}

async fn run(arguments: Arguments) -> Result<(), BenchError> {
    let what = match arguments.what.unwrap_or(What::All) {
        What::Bare(bare) => return bare::run(bare).await,
        what => what,
    };
    machine::allow_connections();
    let plan = Plan::new(arguments.common.quick);
    let mut yard = Yard::new(&arguments.common, plan).await?;
    let machine = machine::Machine::look(yard.folder())?;
    let (began, quiet) = (std::time::Instant::now(), machine::Quiet::look());
    let mut measured = Vec::new();
    for name in figures::ALL.iter().filter(|name| what == What::All || what == **name) {
        say(&format!("{:>4} s  {}", began.elapsed().as_secs(), name.as_str()));
        measured.extend(figures::measure(name, &mut yard).await?);
    }
    let report = report::Report {
        machine,
        plan,
        figures: measured,
        seconds: began.elapsed().as_secs_f64(),
        others_percent: quiet.others_percent(),
    };
    if let Some(path) = &arguments.common.svg {
        chart::draw(path, &report)?;
    }
    let text = if arguments.common.json { report.json() } else { report.table() };
    writeln!(std::io::stdout(), "{text}").map_err(|source| BenchError::Io { doing: "writing the report", source })
}
