//! Bare ceilings that need a process of their own, laid out as the daemon is: one process, one tokio runtime with a
//! worker a core, what answers in the same process as the broker and linked to it by a TCP connection on loopback.
//!
//! Each ends when its standard input is closed, so none outlives the run.

mod http;
mod idle;
mod responder;

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use broker::{Credentials, Embedded, Options};
use clap::Subcommand;

use crate::child::Child;
use crate::error::BenchError;
use crate::history::SECRET;

/// A bare ceiling.
#[derive(Debug, Clone, PartialEq, Eq, Subcommand)]
pub(crate) enum Bare {
    /// The broker, and a client that answers each boot with fixed bytes
    Responder {
        /// Fixtures whose answers are also kept as retained messages
        #[arg(long)]
        fixtures: u32,
        /// Bytes of the answer on `desired`
        #[arg(long)]
        desired: usize,
        /// Bytes of the answer on `showing`; 0 for none
        #[arg(long)]
        showing: usize,
    },
    /// A handler that answers fixed bytes
    Http {
        /// The file with head and body of the answer
        #[arg(long)]
        answer: PathBuf,
        /// The folder of the house into which plain SQLite writes before a PATCH is answered
        #[arg(long)]
        data: Option<PathBuf>,
    },
    /// The broker, an HTTP server and a pool of connections to a database, and nothing to do
    Idle {
        /// The folder of the database
        #[arg(long)]
        data: PathBuf,
    },
}

/// Runs one until its standard input is closed.
pub(crate) async fn run(bare: Bare) -> Result<(), BenchError> {
    match bare {
        Bare::Responder { fixtures, desired, showing } => responder::run(fixtures, desired, showing).await,
        Bare::Http { answer, data } => http::run(&answer, data.as_deref()).await,
        Bare::Idle { data } => idle::run(&data).await,
    }
}

/// Starts one as its own process.
pub(crate) fn start(bare: &Bare, folder: &Path) -> Result<Child, BenchError> {
    let program = std::env::current_exe().map_err(BenchError::io("finding this program"))?;
    let mut command = Command::new(program);
    command.arg("bare");
    match bare {
        Bare::Responder { fixtures, desired, showing } => {
            command.arg("responder").args(["--fixtures", &fixtures.to_string()]);
            command.args(["--desired", &desired.to_string(), "--showing", &showing.to_string()]);
        }
        Bare::Http { answer, data } => {
            command.arg("http").arg("--answer").arg(answer);
            if let Some(data) = data {
                command.arg("--data").arg(data);
            }
        }
        Bare::Idle { data } => {
            command.arg("idle").arg("--data").arg(data);
        }
    }
    Child::start(&mut command, &folder.join("bare.log"))
}

/// Says a line to the process that started this one.
fn tell(line: &str) -> Result<(), BenchError> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{line}").and_then(|()| out.flush()).map_err(BenchError::io("writing a line"))
}

/// Waits until standard input is closed; each line of it before that is a question to `answer`.
async fn until_closed(answer: impl Fn(&str) -> String + Send + 'static) -> Result<(), BenchError> {
    let reading = tokio::task::spawn_blocking(move || {
        for line in std::io::stdin().lines().map_while(Result::ok) {
            if tell(&answer(&line)).is_err() {
                return;
            }
        }
    });
    reading.await.map_err(|error| BenchError::unexpected("reading standard input", error.to_string()))
}

/// Every fixture of a made house has the same secret.
struct Everyone;

impl Credentials for Everyone {
    fn admits(&self, username: &str, secret: &[u8]) -> bool {
        self.knows(username) && secret == SECRET.as_bytes()
    }

    fn knows(&self, username: &str) -> bool {
        username.starts_with("f-")
    }
}

/// The daemon's broker, with the daemon's options.
async fn broker() -> Result<Embedded, BenchError> {
    Embedded::start(Options::default(), Arc::new(Everyone))
        .await
        .map_err(|error| BenchError::unexpected("starting the broker", error.to_string()))
}
