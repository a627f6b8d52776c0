//! What can be wrong with a build sheet or with what energy is reckoned from, and what to write instead.

use std::fmt;

use thiserror::Error;

/// Which rule a place of a build sheet breaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// A member that a build sheet does not know.
    UnknownMember,
    /// The same member twice in one object.
    TwiceGiven,
    /// A member without which there is no build sheet.
    Missing,
    /// Another JSON type than the member takes.
    WrongType,
    /// A name that is not in the list.
    UnknownName,
    /// A number outside what can be.
    OutOfRange,
    /// Two members that exclude each other, or the lack of one that another needs.
    Clash,
    /// A place along the strip that the strip does not have.
    OffTheStrip,
    /// A voltage that this chip was never made for.
    VoltsAgainstChip,
}

/// One fault of a build sheet: where, what, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// JSON Pointer (RFC 6901) of the place, from the root of the build sheet, such as `/feed/points/1`.
    pub pointer: String,
    /// Which rule it breaks.
    pub kind: FaultKind,
    /// What is wrong, with the value as given.
    pub text: String,
    /// What to write instead.
    pub mend: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = if self.pointer.is_empty() { "(whole sheet)" } else { &self.pointer };
        write!(f, "{place}: {}; {}", self.text, self.mend)
    }
}

/// Why a build sheet or an energy question was refused.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum BudgetError {
    /// The build sheet has faults: all of them, in the order of the sheet's members.
    #[error("the build sheet has {} fault{}: {}", .0.len(), if .0.len() == 1 { "" } else { "s" }, told(.0))]
    Sheet(Vec<Fault>),
    /// A supply efficiency that is not above 0 and at most 1.
    #[error(
        "{value} is no supply efficiency: write a fraction above 0 and at most 1, such as 0.85, from the supply's data sheet"
    )]
    Efficiency {
        /// The value as given.
        value: f64,
    },
    /// A stretch of time that is negative or no number.
    #[error("segment {index} lasts {value} s: write a duration of 0 s or more")]
    Duration {
        /// Which segment, from 0.
        index: usize,
        /// The value as given, in seconds.
        value: f64,
    },
    /// A current, voltage or price that is negative or no number.
    #[error("{value} is no {what}: write a finite number of 0 or more")]
    Quantity {
        /// What the value should have been.
        what: &'static str,
        /// The value as given.
        value: f64,
    },
}

fn told(faults: &[Fault]) -> String {
    faults.iter().map(Fault::to_string).collect::<Vec<_>>().join(" | ")
}
