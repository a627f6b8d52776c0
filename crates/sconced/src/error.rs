//! Everything that can end a run otherwise than well, each with its exit code.

use std::net::SocketAddr;
use std::path::PathBuf;

use serde_json::{Value, json};
use service::ServiceError;
use store::StoreError;

use crate::client::Problem;
use crate::config::{ConfigError, Fault};

/// Why a command did not succeed. The text says what to do.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// The command line asks for something that makes no sense, or a file of the owner's cannot be used.
    #[error("{0}")]
    Usage(String),
    /// The configuration cannot be used.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// The database cannot be used.
    #[error("{0}")]
    Database(String),
    /// An address cannot be listened on.
    #[error(
        "{what} cannot listen on {addr}: {why}; stop the program that listens there, or choose another address with {flag} (port 0 takes a free one)"
    )]
    Address {
        /// What wanted to listen.
        what: &'static str,
        /// Where.
        addr: SocketAddr,
        /// What the system said.
        why: String,
        /// The flag that changes it.
        flag: &'static str,
    },
    /// The embedded broker could not be started for another reason than its address.
    #[error("the broker cannot be started: {0}")]
    Broker(String),
    /// The daemon refused.
    #[error("{0}")]
    Refused(Box<Problem>),
    /// No daemon answers.
    #[error("{0}")]
    NoDaemon(String),
    /// The daemon's answer cannot be read.
    #[error("the answer of {url} cannot be read: {why}; is it a sconced of this version?")]
    Answer {
        /// What was asked.
        url: String,
        /// What is wrong with the answer.
        why: String,
    },
    /// A file could not be read or written.
    #[error("{doing} {path} failed: {source}", path = .path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// What was to be printed could not be.
    #[error("writing to standard output failed: {0}")]
    Output(std::io::Error),
    /// The system gave no signals, threads or randomness.
    #[error("the system refuses what a daemon needs: {0}")]
    System(String),
    /// A second signal came while the daemon was stopping, or it did not stop in time.
    #[error("{0}")]
    Hard(&'static str),
}

impl Failure {
    /// The exit code: 1 for what a client command could not do, 2 for usage and configuration, 3 for the database, 4
    /// for an address that cannot be bound.
    #[must_use]
    pub fn code(&self) -> u8 {
        match self {
            Self::Usage(_) | Self::Config(_) => 2,
            Self::Database(_) => 3,
            Self::Address { .. } => 4,
            _ => 1,
        }
    }

    /// What is said on standard error: a line for people, or a problem object for programs.
    #[must_use]
    pub fn told(&self, json: bool) -> String {
        let red = anstyle::AnsiColor::Red.on_default().bold();
        match self {
            Self::Refused(problem) if json && serde_json::from_str::<Value>(&problem.text).is_ok() => {
                problem.text.clone()
            }
            _ if json => json!({"title": "sconced could not do it", "detail": self.to_string()}).to_string(),
            _ => format!("{red}sconced:{red:#} {self}"),
        }
    }

    /// Whether nobody is left who reads the output; that is no failure worth a word.
    #[must_use]
    pub fn is_broken_pipe(&self) -> bool {
        matches!(self, Self::Output(error) if error.kind() == std::io::ErrorKind::BrokenPipe)
    }

    pub(crate) fn file(doing: &'static str, path: impl Into<PathBuf>) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.into();
        move |source| Self::File { doing, path, source }
    }
}

impl From<Fault> for Failure {
    fn from(fault: Fault) -> Self {
        Self::Config(ConfigError::Fault(fault))
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        Self::Database(error.to_string())
    }
}

impl From<ServiceError> for Failure {
    fn from(error: ServiceError) -> Self {
        match error {
            ServiceError::Store(error) => error.into(),
            ServiceError::Kind { .. } => Self::Usage(error.to_string()),
            ServiceError::Randomness(_) => Self::System(error.to_string()),
            other => Self::Database(other.to_string()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exit_codes_are_those_of_the_manual() {
        let addr = SocketAddr::from(([127, 0, 0, 1], 8470));
        let fault = Fault::new("http.listen", "a", "b");
        for (failure, code) in [
            (Failure::Usage(String::new()), 2),
            (fault.into(), 2),
            (StoreError::Full.into(), 3),
            (ServiceError::Kind { path: "kinds/x.json".into(), why: String::new(), advice: "" }.into(), 2),
            (Failure::Address { what: "HTTP", addr, why: String::new(), flag: "--http" }, 4),
            (Failure::NoDaemon(String::new()), 1),
            (Failure::Hard(""), 1),
        ] {
            assert_eq!(failure.code(), code, "{failure:?}");
        }
    }
}
