//! What a fixture should show at an instant, why, since when and until when.

use std::fmt;

use jiff::Timestamp;

use crate::{Plan, Until};

/// The name of the built-in look with nothing lit.
pub const DARK: &str = "dark";

/// Why a fixture shows what it shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Because {
    /// The document says that it is not lit.
    Unlit,
    /// The owner's override holds.
    Override,
    /// A link runs.
    Link,
    /// The timetable says so.
    Timetable,
    /// Nothing else holds, and the document has a default.
    Default,
    /// Nothing holds.
    Dark,
}

impl Because {
    /// The word as messages carry it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Unlit => "unlit",
            Self::Override => "override",
            Self::Link => "link",
            Self::Timetable => "timetable",
            Self::Default => "default",
            Self::Dark => "dark",
        }
    }
}

impl fmt::Display for Because {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// What a fixture should show at an instant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Showing {
    /// The look's name; [`DARK`] when unlit or when nothing holds.
    pub look: String,
    /// Why.
    pub because: Because,
    /// Since when, as far as the document can tell: the later of its last edit and of what ended
    /// since then. Nothing for an instant before the edit.
    pub since: Option<Timestamp>,
    /// Until when, the instant itself not included; nothing while no change is foreseen.
    pub until: Option<Timestamp>,
}

/// What a fixture should show at `now` by its plan, which was last edited at `edited_at`.
///
/// In this order: nothing when not lit; the override while it holds; `default`; [`DARK`].
///
/// **The timetable has no say here yet.** It is validated and kept with the plan, but its instants
/// are not solved, and no link is known. Hence an override until the next change holds until it is
/// released, and [`Because::Timetable`] and [`Because::Link`] are never answered.
#[must_use]
pub fn showing(plan: &Plan, edited_at: Timestamp, now: Timestamp) -> Showing {
    let mut since = edited_at;
    let mut until = None;
    let (look, because) = if !plan.lit {
        (DARK, Because::Unlit)
    } else if let Some(held) = plan.override_at(now) {
        if let Until::At(end) = held.until {
            until = Some(end);
        }
        (held.look.as_str(), Because::Override)
    } else {
        // An override that ran out is the last thing that changed, unless the edit came after it.
        if let Some(Until::At(end)) = plan.owners_override.as_ref().map(|ended| ended.until) {
            since = since.max(end);
        }
        match plan.default.as_deref() {
            Some(look) => (look, Because::Default),
            None => (DARK, Because::Dark),
        }
    };
    Showing { look: look.to_owned(), because, since: (since <= now).then_some(since), until }
}
