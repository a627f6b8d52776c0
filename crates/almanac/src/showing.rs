//! What a fixture should show at an instant, why, since when and until when.

use std::fmt;

use jiff::Timestamp;

use crate::Scene;
use crate::course::Course;

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
    /// Since when, as far as the document can tell: the later of its last edit and of the last change of showing.
    /// It is never earlier than the edit, since what showed before that was another document's business. Nothing
    /// for an instant before the edit.
    pub since: Option<Timestamp>,
    /// Until when, the instant itself not included: the first at which `look`, `because` or `floored` is another.
    /// Nothing while no change is foreseen.
    pub until: Option<Timestamp>,
    /// Whether the floor is kept under it: the plan keeps one, the fixture is lit, and the hour is dark, which is
    /// from sunset to sunrise (stairwells are dark before the street is), or any hour without a place.
    pub floored: bool,
    /// The id of the link that shows, if `because` is a link. It may give way to another one with the same look
    /// before `until`.
    pub link: Option<String>,
    /// The index of the entry that shows, if `because` is the timetable. It may give way to another one with the
    /// same look before `until`.
    pub entry: Option<usize>,
}

/// What a fixture should show at `now`.
///
/// In this order: nothing when not lit; the override while it holds; the last of the links that run; the entry
/// of the timetable that holds; `default`; [`DARK`]. Of the timetable that entry holds which has begun latest,
/// less than 400 days ago; of several that begin at one instant the last in the list.
///
/// A change of showing is one of the look's name, of the reason or of the floor; an entry that hands over to another
/// with the same look changes nothing.
#[must_use]
pub fn showing(scene: &Scene<'_>, now: Timestamp) -> Showing {
    let mut course = Course::of(scene);
    let state = course.state(now);
    Showing {
        look: state.look.to_owned(),
        because: state.because,
        since: course.since(now, &state),
        until: course.next(now, &state).map(|(until, _)| until),
        floored: state.floored,
        link: state.link.map(str::to_owned),
        entry: state.held.map(|held| held.entry),
    }
}
