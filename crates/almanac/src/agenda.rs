//! The coming changes of showing in absolute time, and when to look again.

use jiff::Timestamp;

use crate::course::Course;
use crate::{Because, Scene};

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
    /// Whether the floor is kept under it.
    pub floored: bool,
}

/// What shows from `from` until `to`, the latter not included, in the order of time and without a gap.
///
/// The first change is the one that holds at `from`: its `at` is since when, or `from` if that is not known, so
/// that an agenda asked for later begins with the same change. It is there even when `to` is not after `from`. Each
/// further one begins when the one before it ends. The answer agrees with [`showing`](crate::showing()) at every
/// instant that it covers. Its length is that of the time asked for: some changes a day.
#[must_use]
pub fn agenda(scene: &Scene<'_>, from: Timestamp, to: Timestamp) -> Vec<Change> {
    let mut course = Course::of(scene);
    let mut state = course.state(from);
    let mut at = course.since(from, &state).unwrap_or(from);
    let mut asked = from;
    let mut changes = Vec::new();
    loop {
        let next = course.next(asked, &state);
        changes.push(Change {
            at,
            look: state.look.to_owned(),
            because: state.because,
            until: next.as_ref().map(|(until, _)| *until),
            floored: state.floored,
        });
        match next {
            Some((until, then)) if until < to => (at, asked, state) = (until, until, then),
            _ => return changes,
        }
    }
}

/// The first instant after `now` at which what shows changes: the look's name, the reason or the floor. Nothing if
/// none is foreseen.
#[must_use]
pub fn next_change(scene: &Scene<'_>, now: Timestamp) -> Option<Timestamp> {
    let mut course = Course::of(scene);
    let state = course.state(now);
    course.next(now, &state).map(|(at, _)| at)
}

/// The first instant after `now` at which what shows changes or an override ends. Nothing if none is foreseen.
///
/// An override that ends while the fixture is not lit counts: nothing visible changes, but the document may be
/// tidied.
#[must_use]
pub fn next_deadline(scene: &Scene<'_>, now: Timestamp) -> Option<Timestamp> {
    let mut course = Course::of(scene);
    let state = course.state(now);
    let change = course.next(now, &state).map(|(at, _)| at);
    let end = course.end_of_override().filter(|end| now < *end);
    [change, end].into_iter().flatten().min()
}

/// When the plan's override ends or has ended, an override until the next change too; nothing if there is no override
/// or no end is foreseen. It does not hold at that instant.
#[must_use]
pub fn override_end(scene: &Scene<'_>) -> Option<Timestamp> {
    Course::of(scene).end_of_override()
}
