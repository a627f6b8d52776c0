//! What can be asked of the house.

use std::sync::Arc;

use document::{Pointer, Revision, Value};

use crate::fixture::{Paper, SecretHash};
use crate::message::Message;
use crate::name::FixtureId;

/// How a document is to change.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// An RFC 7396 merge patch.
    Merge(Value),
    /// RFC 6902 operations.
    Operations(Value),
    /// A whole new document.
    Replace(Value),
    /// One top-level member put in place whole, or taken away.
    Member(&'static str, Option<Value>),
}

/// What the caller says the document is at now (RFC 9110, section 13.1.1).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Precondition {
    /// Nothing is said.
    #[default]
    None,
    /// It exists, at whatever revision.
    Exists,
    /// It is at one of these revisions. A tag that names no revision is left out; an empty list never holds.
    OneOf(Vec<u64>),
}

impl Precondition {
    /// Whether it holds for a document at that revision.
    #[must_use]
    pub fn holds(&self, current: Revision) -> bool {
        match self {
            Self::None | Self::Exists => true,
            Self::OneOf(list) => list.contains(&current.get()),
        }
    }
}

/// One thing asked of the house.
#[derive(Debug, Clone)]
pub enum Command {
    /// Make a fixture with this record (members of the record document).
    Create {
        /// Its id.
        id: FixtureId,
        /// Its record.
        record: Value,
    },
    /// Change a fixture's record or its desired document.
    Edit {
        /// The fixture.
        id: FixtureId,
        /// `Fixture` or `Desired`; what is reported is changed by the fixture alone.
        paper: Paper,
        /// How.
        edit: Edit,
        /// At which revision.
        precondition: Precondition,
    },
    /// Put the desired document back as it was at an earlier revision, as a new revision.
    Undo {
        /// The fixture.
        id: FixtureId,
        /// The revision that the caller saw as current; another one is a [`crate::Rejection::Stale`].
        from: Revision,
        /// The document as it was.
        target: Value,
    },
    /// Take a fixture away with its documents and its secret. History stays.
    Delete {
        /// The fixture.
        id: FixtureId,
        /// At which revision of the record.
        precondition: Precondition,
    },
    /// Give a fixture a new secret; the old one ends.
    Enrol {
        /// The fixture.
        id: FixtureId,
        /// The hash of the new secret.
        secret: SecretHash,
        /// The line for an external broker's password file, where one is used.
        broker_line: Option<Arc<str>>,
    },
    /// A fixture has said something.
    Hear {
        /// The fixture.
        id: FixtureId,
        /// What.
        message: Message,
    },
    /// The time has come to look whether an override has ended.
    Tick {
        /// The fixture.
        id: FixtureId,
    },
}

impl Command {
    /// The fixture that the command is about.
    #[must_use]
    pub fn fixture(&self) -> &FixtureId {
        match self {
            Self::Create { id, .. }
            | Self::Edit { id, .. }
            | Self::Undo { id, .. }
            | Self::Delete { id, .. }
            | Self::Enrol { id, .. }
            | Self::Hear { id, .. }
            | Self::Tick { id } => id,
        }
    }

    /// The pointer of a top-level member.
    #[must_use]
    pub fn member_pointer(name: &str) -> Pointer {
        Pointer::default().child(name)
    }
}
