//! Why a command was refused, in the words of the house. How that looks over HTTP or MQTT is decided at the edge.

use document::{Pointer, Revision};
use serde::Serialize;
use thiserror::Error;

use crate::name::{FixtureId, KindName};

/// One thing that is wrong in a document, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// RFC 6901 pointer to the offending place.
    pub pointer: Pointer,
    /// What is wrong.
    pub text: String,
    /// What to write instead.
    pub advice: String,
}

impl Finding {
    /// A finding at a place.
    #[must_use]
    pub fn new(pointer: Pointer, text: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { pointer, text: text.into(), advice: advice.into() }
    }
}

/// Something worth knowing about an edit that was accepted all the same.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Advice {
    /// RFC 6901 pointer to the place that it is about.
    pub pointer: Pointer,
    /// What there is to know, and what could be done.
    pub text: String,
}

/// Why a command was refused. Nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum Rejection {
    /// No fixture has this id.
    #[error("there is no fixture {0:?}; GET /v1/fixtures lists those there are")]
    UnknownFixture(String),
    /// A fixture of this id exists already.
    #[error("there is a fixture {0} already; choose another id, or change that one with PATCH")]
    Exists(FixtureId),
    /// The document has moved on since the caller read it.
    #[error(
        "the document is at revision {current}, not at the one that you named; read it again, then repeat the edit"
    )]
    Stale {
        /// The revision that is current.
        current: Revision,
    },
    /// The document that would result is not acceptable.
    #[error("{}", .0.first().map_or("the document is not acceptable", |f| f.text.as_str()))]
    Invalid(Vec<Finding>),
    /// The patch itself is malformed.
    #[error("{}", .0.text)]
    Malformed(Finding),
    /// A `test` operation of a JSON Patch did not hold.
    #[error("{text}; read the document again, nothing was changed")]
    TestFailed {
        /// The place that was tested.
        pointer: Pointer,
        /// What was tested.
        text: String,
    },
    /// No kind has this name.
    #[error("there is no kind {kind}; there are: {known}")]
    UnknownKind {
        /// The name asked for.
        kind: KindName,
        /// Those that there are.
        known: String,
    },
    /// The kind of this fixture has no looks.
    #[error("{id} is of kind {kind}, which has no looks; only a strip can be shown, overridden or switched")]
    NoLooks {
        /// The fixture.
        id: FixtureId,
        /// Its kind.
        kind: KindName,
    },
    /// There is no earlier state to go back to.
    #[error("there is nothing to undo: the document is at revision {0}")]
    NothingToUndo(Revision),
    /// A fixture reports a revision that it was never given.
    #[error("revision {rev} was never given out: the desired document is at {current}; ask for it again")]
    NeverGiven {
        /// The revision reported.
        rev: Revision,
        /// The newest that there is.
        current: Revision,
    },
    /// A message of a fixture that could not be read.
    #[error("{}", .0.text)]
    Message(Finding),
    /// The same Idempotency-Key came with another request.
    #[error("this Idempotency-Key was used for another request; choose a new key for a new request")]
    KeyReused,
    /// The answer to this Idempotency-Key held a secret and is not kept.
    #[error("this was done already, and its answer held a secret that is shown once only; ask anew with a new key")]
    SecretShown,
}

impl Rejection {
    /// One finding as a rejection.
    #[must_use]
    pub fn invalid(pointer: Pointer, text: impl Into<String>, advice: impl Into<String>) -> Self {
        Self::Invalid(vec![Finding::new(pointer, text, advice)])
    }

    /// A document fault (a bound broken, a null member) as a rejection.
    #[must_use]
    pub fn from_fault(fault: &document::Fault) -> Self {
        Self::invalid(fault.pointer.clone(), fault.problem.to_string(), fault.problem.advice())
    }
}
