//! How a fixture stands: in step, behind, silent, never heard.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::fixture::Fixture;

/// How a fixture stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// It says that it has applied the newest revision, and what it reports agrees with it.
    InStep,
    /// It is there, but has not applied the newest revision or reports something else.
    Behind,
    /// Its connection is gone.
    Silent,
    /// Nothing was ever heard of it.
    NeverHeard,
}

impl Standing {
    /// All standings.
    pub const ALL: [Self; 4] = [Self::InStep, Self::Behind, Self::Silent, Self::NeverHeard];

    /// The word for filters: `in-step`, `behind`, `silent`, `never-heard`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::InStep => "in-step",
            Self::Behind => "behind",
            Self::Silent => "silent",
            Self::NeverHeard => "never-heard",
        }
    }

    /// The standing that a word names.
    #[must_use]
    pub fn read(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|standing| standing.as_str() == word)
    }

    /// How a fixture stands now.
    #[must_use]
    pub fn of(fixture: &Fixture) -> Self {
        if fixture.life.heard.is_none() {
            Self::NeverHeard
        } else if fixture.life.alive == Some(false) {
            Self::Silent
        } else if fixture.is_in_step() {
            Self::InStep
        } else {
            Self::Behind
        }
    }
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::InStep => "in step",
            Self::Behind => "behind",
            Self::Silent => "silent",
            Self::NeverHeard => "never heard",
        })
    }
}

impl Fixture {
    /// Whether it has applied the newest revision and reports nothing that differs from it.
    #[must_use]
    pub fn is_in_step(&self) -> bool {
        self.life.applied == self.desired.revision
            && (self.reported.text == self.desired.text
                || self.delta().as_object().is_some_and(serde_json::Map::is_empty))
    }
}
