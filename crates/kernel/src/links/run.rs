//! A link that runs on a target: all that must survive a restart.

use std::str::FromStr;
use std::sync::Arc;

use jiff::Timestamp;
use serde::{Deserialize, Deserializer, Serialize};

use super::link::{LinkId, LinkLook};
use crate::name::FixtureId;

/// How far a run has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Stage {
    /// A walkway lit for a short time by a pulse that is not confirmed yet.
    Raised,
    /// Shown for `run_on`.
    Confirmed,
    /// Over, and its dead time is not; nothing shows.
    Resting,
}

/// One link on one target. The link's look is not in it: it is the link's own, as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Run {
    /// The link.
    pub link: LinkId,
    /// The target.
    #[serde(deserialize_with = "parsed")]
    pub to: FixtureId,
    /// When it began.
    pub since: Timestamp,
    /// When it ends or, when it rests, when it ended.
    pub until: Timestamp,
    /// How far it has come.
    pub stage: Stage,
}

impl Run {
    /// Whether it shows something until its end comes.
    #[must_use]
    pub fn is_active(&self) -> bool {
        self.stage != Stage::Resting
    }
}

/// A link that runs on a target now, with the look that it shows.
#[derive(Debug, Clone, PartialEq)]
pub struct RunningLook {
    /// The link.
    pub link: LinkId,
    /// What it shows.
    pub look: Arc<LinkLook>,
    /// Since when.
    pub since: Timestamp,
    /// Until when, the instant itself not included.
    pub until: Timestamp,
}

fn parsed<'de, D: Deserializer<'de>>(deserializer: D) -> Result<FixtureId, D::Error> {
    FixtureId::from_str(&String::deserialize(deserializer)?).map_err(serde::de::Error::custom)
}
