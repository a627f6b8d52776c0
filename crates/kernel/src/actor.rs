//! Who asks, and by which way.

use std::sync::Arc;

use serde::Serialize;

/// The way by which a command came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// The HTTP API.
    Http,
    /// The page in a browser.
    Page,
    /// The command line.
    Cli,
    /// A fixture's own message.
    Mqtt,
    /// The daemon itself, such as an override that has ended.
    Daemon,
    /// Invented data of the demo.
    Demo,
}

impl Way {
    /// All ways, for filters and documentation.
    pub const ALL: [Self; 6] = [Self::Http, Self::Page, Self::Cli, Self::Mqtt, Self::Daemon, Self::Demo];

    /// The word kept in history.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Http => "http",
            Self::Page => "page",
            Self::Cli => "cli",
            Self::Mqtt => "mqtt",
            Self::Daemon => "daemon",
            Self::Demo => "demo",
        }
    }

    /// The way that a word of history names.
    #[must_use]
    pub fn read(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|way| way.as_str() == word)
    }
}

/// Who asks for a change and by which way; both stand in history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Actor {
    /// A token's name, `fixture:ID`, `loopback` or `sconced`.
    pub by: Arc<str>,
    /// By which way.
    pub via: Way,
}

impl Actor {
    /// An actor of that name and way.
    #[must_use]
    pub fn new(by: &str, via: Way) -> Self {
        Self { by: by.into(), via }
    }

    /// The daemon itself.
    #[must_use]
    pub fn daemon() -> Self {
        Self::new("sconced", Way::Daemon)
    }

    /// A fixture, by a message of its own.
    #[must_use]
    pub fn fixture(id: &str) -> Self {
        Self::new(&format!("fixture:{id}"), Way::Mqtt)
    }
}
