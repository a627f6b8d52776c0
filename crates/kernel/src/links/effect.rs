//! What comes of an event: effects on what shows, and for each link the reason why it did what it did.

use std::fmt;
use std::sync::Arc;

use jiff::Timestamp;
use serde::Serialize;

use super::link::{LinkId, LinkLook};
use super::run::Stage;
use crate::name::FixtureId;

/// Something that the rest of the house has to carry out, keep or tell.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// A link begins to run on a target.
    Begin {
        /// The link.
        link: LinkId,
        /// The target.
        to: FixtureId,
        /// What it shows.
        look: Arc<LinkLook>,
        /// From when.
        since: Timestamp,
        /// Until when, the instant itself not included.
        until: Timestamp,
        /// [`Stage::Raised`] for the first unconfirmed pulse on a walkway, otherwise [`Stage::Confirmed`].
        stage: Stage,
    },
    /// A run goes on for longer, or what had been raised is confirmed.
    Extend {
        /// The link.
        link: LinkId,
        /// The target.
        to: FixtureId,
        /// Until when now; never earlier than before.
        until: Timestamp,
        /// What the run is now.
        stage: Stage,
    },
    /// A run goes on, but its instants or its look are others: the clock was set back, or the link was edited.
    Changed {
        /// The link.
        link: LinkId,
        /// The target.
        to: FixtureId,
        /// From when, by the clock as it now goes.
        since: Timestamp,
        /// Until when.
        until: Timestamp,
    },
    /// A run is over.
    End {
        /// The link.
        link: LinkId,
        /// The target.
        to: FixtureId,
        /// When it ended; earlier than now when the tick came late.
        at: Timestamp,
    },
    /// A sensor is in a storm, and a walkway that runs by it is held on until it has calmed.
    HeldOn {
        /// The link.
        link: LinkId,
        /// The walkway.
        to: FixtureId,
        /// Whose sensor chatters.
        sensor: FixtureId,
        /// When the guard took hold.
        at: Timestamp,
    },
    /// A sensor is in a storm, and the link does not hear it until it has calmed.
    Muted {
        /// The link.
        link: LinkId,
        /// The target that is left alone.
        to: FixtureId,
        /// Whose sensor chatters.
        sensor: FixtureId,
        /// When the guard took hold.
        at: Timestamp,
    },
    /// The storm guard lets go of what it held on or muted.
    Released {
        /// The link.
        link: LinkId,
        /// The target.
        to: FixtureId,
        /// Whose sensor chattered.
        sensor: FixtureId,
        /// When.
        at: Timestamp,
    },
}

impl Effect {
    /// The link that it is about.
    #[must_use]
    pub fn link(&self) -> &LinkId {
        self.parts().0
    }

    /// The target that it is about.
    #[must_use]
    pub fn to(&self) -> &FixtureId {
        self.parts().1
    }

    /// Whether what shows on the target may be another because of it, so that it is to be published anew.
    #[must_use]
    pub fn is_seen(&self) -> bool {
        !matches!(self, Self::HeldOn { .. } | Self::Muted { .. } | Self::Released { .. })
    }

    fn parts(&self) -> (&LinkId, &FixtureId) {
        match self {
            Self::Begin { link, to, .. }
            | Self::Extend { link, to, .. }
            | Self::Changed { link, to, .. }
            | Self::End { link, to, .. }
            | Self::HeldOn { link, to, .. }
            | Self::Muted { link, to, .. }
            | Self::Released { link, to, .. } => (link, to),
        }
    }
}

/// What an event led to for one link and target, or why to nothing. In the order of how much came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The link is switched off.
    Disabled,
    /// Its number is lower than the last one's.
    OutOfOrder,
    /// Its number was counted already.
    Duplicate,
    /// The link's window is shut.
    OutsideWindow,
    /// Nobody is in the group, the fixture is gone, or it has no such look.
    CannotShow,
    /// Nothing is lit on the target, and the link only follows where something is.
    Unlit,
    /// The last run ended too short a time ago.
    DeadTime,
    /// The sensor is in a storm.
    Muted,
    /// Not enough pulses yet.
    Unconfirmed,
    /// What ran goes on for longer.
    Extended,
    /// A walkway was raised for a short time by a pulse that is not confirmed.
    Raised,
    /// A run began, or what had been raised was confirmed.
    Begun,
}

impl Verdict {
    /// The word as answers carry it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Disabled => "disabled",
            Self::OutOfOrder => "out-of-order",
            Self::Duplicate => "duplicate",
            Self::OutsideWindow => "outside-window",
            Self::CannotShow => "cannot-show",
            Self::Unlit => "unlit",
            Self::DeadTime => "dead-time",
            Self::Muted => "muted",
            Self::Unconfirmed => "unconfirmed",
            Self::Extended => "extended",
            Self::Raised => "raised",
            Self::Begun => "begun",
        }
    }

    /// What happened, in a sentence for people.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Disabled => "The link is switched off.",
            Self::OutOfOrder => "The event came late, after a newer one, and does not count.",
            Self::Duplicate => "The event was delivered twice and counts once.",
            Self::OutsideWindow => "It is not the time of day for this link.",
            Self::CannotShow => "There is no target that has this look.",
            Self::Unlit => "The target is dark, and this link only follows where something is lit.",
            Self::DeadTime => "The last run ended too short a time ago.",
            Self::Muted => "The sensor reports too often, so this link does not hear it until it has calmed.",
            Self::Unconfirmed => "One pulse alone is not believed; the link waits for more.",
            Self::Extended => "The look was shown already and stays for longer.",
            Self::Raised => "The walkway was lit for a short time, until more pulses confirm it.",
            Self::Begun => "The look was shown.",
        }
    }

    /// Whether the event counted for how long something shows.
    #[must_use]
    pub fn is_counted(self) -> bool {
        matches!(self, Self::Extended | Self::Raised | Self::Begun)
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What an event led to for one link.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Outcome {
    /// The link.
    pub link: LinkId,
    /// The target, where it came so far that a target was asked.
    pub to: Option<FixtureId>,
    /// What.
    pub verdict: Verdict,
}

/// All that came of an event.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// What is to be done, in order. What was due before the event comes first.
    pub effects: Vec<Effect>,
    /// One for each link that listens to the event and each of its targets.
    pub outcomes: Vec<Outcome>,
}
