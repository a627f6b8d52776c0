//! What can be wrong with a document, where, and what to do about it.

use alloc::format;
use alloc::string::{String, ToString};
use core::fmt;

use crate::Pointer;

/// A problem and the place that has it.
///
/// Written out it is one sentence: what is wrong, where, and what to do.
///
/// ```
/// use document::{Bounds, Problem, parse};
///
/// let fault = parse(br#"{"lit": true, "lit": false}"#, &Bounds::DOCUMENT).unwrap_err();
/// assert_eq!(fault.problem, Problem::Duplicate);
/// assert_eq!(
///     fault.to_string(),
///     "the member occurs twice in its object, at /lit: keep one of the two",
/// );
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The offending place; for text that is not JSON, the place that was being read.
    pub pointer: Pointer,
    /// What is wrong there.
    pub problem: Problem,
}

impl Fault {
    /// A problem at a place.
    #[must_use]
    pub fn new(pointer: Pointer, problem: Problem) -> Self {
        Self { pointer, problem }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { pointer, problem } = self;
        if pointer.is_whole() {
            write!(f, "{problem}: {}", problem.advice())
        } else {
            write!(f, "{problem}, at {pointer}: {}", problem.advice())
        }
    }
}

impl core::error::Error for Fault {}

/// What is wrong with a document.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Problem {
    /// The bytes are not UTF-8 (RFC 8259 section 8.1 asks for it).
    #[error("the text is not UTF-8: byte {at} does not continue it")]
    NotUtf8 {
        /// How many bytes are good before the first bad one.
        at: usize,
    },
    /// The text is not JSON (RFC 8259).
    #[error("the text is not JSON: {message} (line {line}, column {column})")]
    Syntax {
        /// The line, from 1.
        line: usize,
        /// The column in bytes, from 1.
        column: usize,
        /// What was met or missed there.
        message: String,
    },
    /// An object has two members of one name; RFC 8259 section 4 leaves open which one counts.
    #[error("the member occurs twice in its object")]
    Duplicate,
    /// A number is too large for a binary64 (IEEE 754), so it would be read as infinite.
    #[error("the number is too large")]
    NotFinite,
    /// The text, or the value written compactly, is too long.
    #[error("{bytes} bytes are too many; at most {limit} are taken")]
    TooManyBytes {
        /// How long it is.
        bytes: usize,
        /// How long it may be.
        limit: usize,
    },
    /// Objects and arrays are nested too deep; the outermost is level 1.
    #[error("objects and arrays are nested deeper than {limit} levels")]
    TooDeep {
        /// How many levels there may be.
        limit: usize,
    },
    /// There are too many object members, counted over all levels.
    #[error("there are more than {limit} members in all")]
    TooManyMembers {
        /// How many members there may be.
        limit: usize,
    },
    /// A member's name is too long.
    #[error("the name of the member has {bytes} bytes; a name has at most {limit}")]
    NameTooLong {
        /// The length of the name in bytes of UTF-8.
        bytes: usize,
        /// How long it may be.
        limit: usize,
    },
    /// A member's name is the empty string.
    #[error("the name of the member is empty")]
    NameEmpty,
    /// A member's name has a control character (Unicode category Cc).
    #[error("the name of the member has a control character")]
    NameHasControl,
    /// A stored document has a member that is null, which no merge patch can set (RFC 7396
    /// section 1).
    #[error("the member is null, which a document cannot hold")]
    NullMember,
    /// A stored document is something else than an object.
    #[error("a document is a JSON object and this is not one")]
    NotAnObject,
}

impl Problem {
    /// What the reader should do about it, as the part of a sentence.
    #[must_use]
    pub fn advice(&self) -> String {
        match self {
            Self::NotUtf8 { .. } => "send JSON as UTF-8".to_string(),
            Self::Syntax { .. } => "correct the text there and send it again".to_string(),
            Self::Duplicate => "keep one of the two".to_string(),
            Self::NotFinite => "write a number between -1.7e308 and 1.7e308, or write it as a string".to_string(),
            Self::TooManyBytes { bytes, limit } => {
                format!("leave out at least {} bytes", bytes.saturating_sub(*limit))
            }
            Self::TooDeep { limit } => {
                format!("bring it to {limit} levels or fewer by flattening what is nested")
            }
            Self::TooManyMembers { limit } => {
                format!("leave members out until there are {limit} or fewer")
            }
            Self::NameTooLong { limit, .. } => {
                format!("choose a name of at most {limit} bytes")
            }
            Self::NameEmpty => "give the member a name".to_string(),
            Self::NameHasControl => "choose a name without control characters".to_string(),
            Self::NullMember => "leave the member out instead of setting it to null".to_string(),
            Self::NotAnObject => "send an object, {} for an empty document".to_string(),
        }
    }

    /// Whether the text is malformed JSON (`true`: HTTP's 400), rather than well-formed JSON that
    /// breaks a rule (`false`: 422).
    #[must_use]
    pub fn is_syntax(&self) -> bool {
        matches!(self, Self::NotUtf8 { .. } | Self::Syntax { .. } | Self::Duplicate)
    }
}
