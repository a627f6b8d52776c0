//! Messages ready to be handed to the client.

use std::collections::HashSet;
use std::sync::{Arc, Mutex, PoisonError};

use service::{Fixture, FixtureId, FixtureKey};
use tokio::sync::mpsc;

use crate::payload::{Circumstances, beacon_message, desired_message, patch_message, showing_message};
use crate::problem::Restraint;
use crate::shared::Shared;

/// One message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Letter {
    pub(crate) topic: String,
    pub(crate) retained: bool,
    pub(crate) payload: String,
}

/// What goes out besides the outbox. It is not durable: a fixture that misses it asks again.
#[derive(Debug, Clone)]
pub(crate) enum Out {
    /// The answer to `boot` and `ask`.
    State(FixtureKey),
    /// A problem object.
    Problem { id: String, payload: String },
}

/// The way to the publisher. It cannot grow without end: an answer that waits is not asked for twice, and problems are
/// said with restraint.
#[derive(Clone)]
pub(crate) struct Outgoing {
    queue: mpsc::UnboundedSender<Out>,
    waiting: Arc<Mutex<HashSet<FixtureKey>>>,
    restraint: Arc<Restraint>,
}

impl Outgoing {
    pub(crate) fn new() -> (Self, mpsc::UnboundedReceiver<Out>) {
        let (queue, receiver) = mpsc::unbounded_channel();
        (Self { queue, waiting: Arc::default(), restraint: Arc::default() }, receiver)
    }

    /// Has a fixture answered.
    pub(crate) fn answer(&self, key: FixtureKey) {
        if self.waiting.lock().unwrap_or_else(PoisonError::into_inner).insert(key) {
            let _ = self.queue.send(Out::State(key));
        }
    }

    /// The answer is on its way: from now on another may be asked for.
    pub(crate) fn answering(&self, key: FixtureKey) {
        self.waiting.lock().unwrap_or_else(PoisonError::into_inner).remove(&key);
    }

    /// Says a problem to a fixture, unless it was told too often already.
    pub(crate) fn problem(&self, id: &str, payload: impl FnOnce() -> String) {
        if self.restraint.allows(id) {
            let _ = self.queue.send(Out::Problem { id: id.to_owned(), payload: payload() });
        }
    }
}

impl Shared {
    /// The state of a fixture as messages: `desired`, and `showing` where its kind has looks.
    pub(crate) fn state(&self, fixture: &Fixture, retained: bool) -> Vec<Letter> {
        let running = self.service.running(fixture);
        let place = fixture.place(self.service.site());
        let circumstances = Circumstances { place, running: &running, now: self.service.now() };
        let id = fixture.id.as_str();
        let mut letters = Vec::with_capacity(3);
        letters.push(Letter {
            topic: self.topics.down(id, "desired"),
            retained,
            payload: desired_message(fixture, &circumstances),
        });
        let topic = self.topics.down(id, "showing");
        if let Some(payload) = showing_message(fixture, &circumstances, topic.len()) {
            letters.push(Letter { topic, retained, payload });
        } else if retained {
            // a fixture that changed to a kind without looks must not go on showing an old one
            letters.push(Letter { topic, retained, payload: String::new() });
        }
        letters
    }

    /// A new revision, or what time has made of the same one, as messages: the patch from what was last published first,
    /// if there is one, then the whole, retained.
    pub(crate) fn news(&self, fixture: &Fixture) -> Vec<Letter> {
        let payload = match self.publishing(fixture.key, &fixture.desired) {
            Some(before) if before.revision == fixture.desired.revision => None,
            Some(before) if before.revision < fixture.desired.revision => {
                Some(patch_message(&before, &fixture.desired))
            }
            // what was published before is not known any more
            _ => Some(beacon_message(&fixture.desired)),
        };
        let mut letters = self.state(fixture, true);
        letters.splice(0..0, payload.map(|payload| self.patch_letter(fixture, payload)));
        letters
    }

    /// What is sent again: the state, and a word to those who live on patches.
    pub(crate) fn again(&self, fixture: &Fixture) -> Vec<Letter> {
        let mut letters = self.state(fixture, false);
        letters.push(self.patch_letter(fixture, beacon_message(&fixture.desired)));
        letters
    }

    fn patch_letter(&self, fixture: &Fixture, payload: String) -> Letter {
        Letter { topic: self.topics.down(fixture.id.as_str(), "patch"), retained: false, payload }
    }

    /// Empty retained messages, by which a broker forgets what it kept, the fixture's own word included.
    pub(crate) fn withdrawal(&self, id: &FixtureId) -> Vec<Letter> {
        ["desired", "showing", "alive"]
            .into_iter()
            .map(|what| Letter { topic: self.topics.down(id.as_str(), what), retained: true, payload: String::new() })
            .collect()
    }
}
