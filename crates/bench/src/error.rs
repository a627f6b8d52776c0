//! What can go wrong while measuring.

use std::path::PathBuf;

/// Why nothing was measured.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BenchError {
    /// The daemon's binary is not there.
    #[error(
        "there is no daemon at {}: build it with `cargo build --release -p sconced`, or name it with --sconced PATH",
        .0.display()
    )]
    NoDaemon(PathBuf),
    /// The operating system refused something.
    #[error("{doing}: {source}")]
    Io {
        /// What was being done.
        doing: &'static str,
        /// What the system says.
        source: std::io::Error,
    },
    /// Plain SQLite refused something.
    #[error("plain SQLite: {0}; is the disk full?")]
    Sqlite(#[from] rusqlite::Error),
    /// A house could not be made through the service.
    #[error("making the house: {0}")]
    Service(#[from] service::ServiceError),
    /// A child process did not become ready or ended.
    #[error("the process {program} {why}; its log: {log}")]
    Child {
        /// Which.
        program: String,
        /// What it did.
        why: String,
        /// The end of what it logged.
        log: String,
    },
    /// The other side answered what it should not.
    #[error("unexpected answer while {doing}: {what}")]
    Unexpected {
        /// What was being done.
        doing: &'static str,
        /// What came.
        what: String,
    },
    /// Something took longer than its bound.
    #[error("{0} took longer than its bound; the machine may be too busy to measure")]
    TooLong(&'static str),
    /// It was asked to end.
    #[error("interrupted; nothing was measured to its end")]
    Interrupted,
    /// The chart could not be drawn.
    #[error("drawing the chart: {0}")]
    Chart(String),
}

impl BenchError {
    /// What the system refused, with what was being done.
    pub(crate) fn io(doing: &'static str) -> impl FnOnce(std::io::Error) -> Self {
        move |source| Self::Io { doing, source }
    }

    /// An answer that should not have come.
    pub(crate) fn unexpected(doing: &'static str, what: impl Into<String>) -> Self {
        Self::Unexpected { doing, what: what.into() }
    }
}
