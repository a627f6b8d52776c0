//! All that decides what a fixture shows: its plan, where it stands, and the links that run.

use jiff::Timestamp;

use crate::{Place, Plan};

/// A link that runs, or has run, or will: for this time it makes the fixture show its look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Running {
    /// The link's id.
    pub link: String,
    /// The look's name.
    pub look: String,
    /// From this instant on.
    pub since: Timestamp,
    /// Until this instant, itself not included; nothing while no end is foreseen. One that ends no later than it
    /// begins never runs.
    pub until: Option<Timestamp>,
}

impl Running {
    pub(crate) fn runs_at(&self, now: Timestamp) -> bool {
        self.since <= now && self.until.is_none_or(|until| now < until)
    }
}

/// What is asked about: nothing but this and an instant decides what shows.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// What the owner wants over time.
    pub plan: &'a Plan,
    /// Where the fixture stands. Without it the timetable's entries never begin, and every hour counts as dark.
    pub place: Option<&'a Place>,
    /// When the plan's document was last edited. An override until the next change counts from here.
    pub edited_at: Timestamp,
    /// The links on this fixture. Of several that run at an instant the last in the slice shows; one before it
    /// comes back when the last ends first.
    pub running: &'a [Running],
}
