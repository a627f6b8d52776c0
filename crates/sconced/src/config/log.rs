//! The section `log`.

use serde::Deserialize;

use super::section::{Fault, Section, section, section_face};

/// How much is logged; each includes those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub enum LogLevel {
    /// What failed.
    Error,
    /// What should be looked at.
    Warn,
    /// What happens.
    Info,
    /// How it happens.
    Debug,
    /// Everything.
    Trace,
}

impl LogLevel {
    const ALL: [Self; 5] = [Self::Error, Self::Warn, Self::Info, Self::Debug, Self::Trace];

    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warn => "warn",
            Self::Info => "info",
            Self::Debug => "debug",
            Self::Trace => "trace",
        }
    }
}

impl TryFrom<String> for LogLevel {
    type Error = String;

    fn try_from(word: String) -> Result<Self, String> {
        let level = Self::ALL.into_iter().find(|level| level.as_str() == word);
        level.ok_or_else(|| format!("{word:?} is none of error, warn, info, debug and trace"))
    }
}

/// For whom the log is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, clap::ValueEnum)]
#[serde(try_from = "String")]
pub enum LogFormat {
    /// Lines for people.
    Text,
    /// One JSON object a line, for machines.
    Json,
}

impl LogFormat {
    /// The word for it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Json => "json",
        }
    }
}

impl TryFrom<String> for LogFormat {
    type Error = String;

    fn try_from(word: String) -> Result<Self, String> {
        let format = [Self::Text, Self::Json].into_iter().find(|format| format.as_str() == word);
        format.ok_or_else(|| format!("{word:?} is neither text nor json"))
    }
}

section! {
    /// The log on standard error. It never holds a secret.
    Log {
        /// How much is logged: error, warn, info, debug or trace.
        /// Default: info. Environment: SCONCED_LOG__LEVEL.
        level: LogLevel = LogLevel::Info;
        /// For whom: text (lines for people) or json (one object a line).
        /// Default: text. Environment: SCONCED_LOG__FORMAT. Flag: --log.
        format: LogFormat = LogFormat::Text;
    }
}

impl Section for Log {
    section_face!("log");

    fn check(&self) -> Result<(), Fault> {
        Ok(())
    }
}
