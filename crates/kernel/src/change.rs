//! What a decision brings: the fixture as it will stand, the rows to write, the answer to give.

use std::sync::Arc;

use document::{Pointer, Revision};

use crate::fixture::{Boot, Fixture, Paper};
use crate::rejection::Advice;

/// One row of history to write.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Which document.
    pub paper: Paper,
    /// The revision that it comes to.
    pub revision: Revision,
    /// The merge patch from the revision before, as compact JSON; `null` when the fixture was taken away.
    pub patch: Arc<str>,
    /// The merge patch back to the revision before, as compact JSON.
    pub inverse: Arc<str>,
    /// The document at this revision without its volatile members: written as a snapshot every so many revisions.
    pub after: Arc<str>,
}

/// Something a fixture told that is kept beside history.
#[derive(Debug, Clone, PartialEq)]
pub enum Noted {
    /// A boot.
    Boot(Boot),
    /// An event of a sensor.
    Event {
        /// Its name.
        event: Arc<str>,
        /// Its number.
        n: u64,
    },
}

/// What has to go out over MQTT once the change is durable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Publish {
    /// Nothing.
    #[default]
    Nothing,
    /// What is desired and what shows, as retained messages.
    State,
    /// Empty retained messages: the fixture is gone.
    Withdraw,
}

/// What the caller gets to know.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    /// The revision of the document that was asked about.
    pub revision: Revision,
    /// The leaves of it that changed; empty when nothing did.
    pub changed: Vec<Pointer>,
    /// What is worth knowing.
    pub advice: Vec<Advice>,
}

/// What is decided: to be made durable first, then to be true.
#[derive(Debug, Clone)]
pub struct Decision {
    /// The fixture as it will stand; `None` when it is taken away.
    pub fixture: Option<Fixture>,
    /// Rows of history, in order.
    pub entries: Vec<Entry>,
    /// What was told and is kept.
    pub noted: Option<Noted>,
    /// What goes out.
    pub publish: Publish,
    /// Which documents' text changed, whether or not a row of history was written.
    pub rewritten: Vec<Paper>,
    /// Whether what is known of its life changed.
    pub lived: bool,
    /// Whether its secret changed, and the line for an external broker.
    pub enrolled: Option<Option<Arc<str>>>,
    /// The answer.
    pub answer: Answer,
}

impl Decision {
    /// A decision by which nothing changes.
    #[must_use]
    pub fn unchanged(fixture: Fixture, answer: Answer) -> Self {
        Self {
            fixture: Some(fixture),
            entries: Vec::new(),
            noted: None,
            publish: Publish::Nothing,
            rewritten: Vec::new(),
            lived: false,
            enrolled: None,
            answer,
        }
    }

    /// Whether there is anything to make durable.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.fixture.is_some()
            && self.entries.is_empty()
            && self.noted.is_none()
            && self.rewritten.is_empty()
            && !self.lived
            && self.enrolled.is_none()
    }
}
