//! The coming changes of showing in absolute time, and when to look again.

use jiff::Timestamp;

use crate::{Because, Plan, Until, showing};

/// One change of what shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// From this instant on.
    pub at: Timestamp,
    /// The look's name.
    pub look: String,
    /// Why.
    pub because: Because,
    /// Until when, the instant itself not included; nothing while no change is foreseen.
    pub until: Option<Timestamp>,
}

/// What shows from `from` until `to`, the latter not included, in the order of time and without a
/// gap.
///
/// The first change is the one that holds at `from`: its `at` is when it began, or `from` if that
/// is not known, so that an agenda asked for later begins with the same change. It is there even
/// when `to` is not after `from`. Each further one begins when the one before it ends. The answer
/// agrees with [`showing`] at every instant that it covers.
#[must_use]
pub fn agenda(plan: &Plan, edited_at: Timestamp, from: Timestamp, to: Timestamp) -> Vec<Change> {
    let mut changes = Vec::new();
    let mut next = Some(from);
    while let Some(instant) = next {
        let shown = showing(plan, edited_at, instant);
        let at = if changes.is_empty() { shown.since.unwrap_or(from) } else { instant };
        // An end is not included in what it ends, so it is later than `instant`; asking keeps the
        // loop from ever standing still.
        next = shown.until.filter(|end| instant < *end && *end < to);
        changes.push(Change { at, look: shown.look, because: shown.because, until: shown.until });
    }
    changes
}

/// The next instant after `now` at which what shows changes or an override ends, if one is
/// foreseen.
///
/// An override that ends while the fixture is not lit counts: nothing visible changes, but the
/// document may be tidied.
#[must_use]
pub fn next_deadline(plan: &Plan, now: Timestamp) -> Option<Timestamp> {
    match plan.override_at(now)?.until {
        Until::At(end) => Some(end),
        Until::NextChange | Until::Released => None,
    }
}
