//! The real daemon as its own process, on a house made before.

use std::net::SocketAddr;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use crate::child::Child;
use crate::error::BenchError;
use crate::http::{Http, request};
use crate::load::{Edits, Requests as _};
use crate::process;

/// How long the daemon may take until it has published everything after its start.
const SETTLED: Duration = Duration::from_secs(120);

/// A running daemon.
#[derive(Debug)]
pub(crate) struct Daemon {
    child: Child,
    /// Where HTTP answers.
    pub(crate) http: SocketAddr,
    /// Where the broker listens.
    pub(crate) mqtt: SocketAddr,
}

impl Daemon {
    /// Starts it. Retention and backups are off: a house made for measuring is older than an owner would keep, and
    /// its clearing would be measured in place of what is meant.
    pub(crate) fn start(program: &Path, data: &Path) -> Result<Self, BenchError> {
        let mut command = Command::new(program);
        command.args(["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0", "--open-on-loopback", "--data"]);
        command.arg(data);
        for (name, value) in [
            ("SCONCED_RETENTION__HISTORY_DAYS", "0"),
            ("SCONCED_RETENTION__HISTORY_ROWS", "0"),
            ("SCONCED_BACKUPS__EVERY_HOURS", "0"),
            ("SCONCED_LOG__LEVEL", "warn"),
        ] {
            command.env(name, value);
        }
        let child = Child::start(&mut command, &data.join("log"))?;
        let (http, mqtt) = (child.address("http")?, child.address("mqtt")?);
        Ok(Self { child, http, mqtt })
    }

    /// Starts it and waits until it has published what the broker lost and rests.
    pub(crate) async fn settled(program: &Path, data: &Path) -> Result<Self, BenchError> {
        let daemon = Self::start(program, data)?;
        daemon.rest().await?;
        Ok(daemon)
    }

    /// Waits until it rests.
    pub(crate) async fn rest(&self) -> Result<(), BenchError> {
        process::rest(self.pid(), SETTLED).await
    }

    /// Its process id.
    pub(crate) fn pid(&self) -> u32 {
        self.child.pid()
    }

    /// From its start to its line `ready …`.
    pub(crate) fn started_in(&self) -> Duration {
        self.child.started_in
    }

    /// Reads a path: the answer's head and body.
    pub(crate) async fn get(&self, path: &str) -> Result<(Vec<u8>, Vec<u8>), BenchError> {
        let mut http = Http::open(self.http).await?;
        let answer = http.ask(&request(self.http, "GET", path, None)).await?.good()?;
        Ok((answer.head.to_vec(), answer.body.to_vec()))
    }

    /// Edits as a caller of the load does: the answer's bytes.
    pub(crate) async fn edited(&self, edit: &mut Edits) -> Result<Vec<u8>, BenchError> {
        let mut http = Http::open(self.http).await?;
        let answer = http.ask(edit.next()).await?.good()?;
        Ok([answer.head, answer.body].concat())
    }

    /// Stops it in good order.
    pub(crate) fn stop(self) -> Result<(), BenchError> {
        self.child.stop()
    }
}
