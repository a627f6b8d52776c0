//! Requests made with an Idempotency-Key: remembered for a day, in the same commit as what they did.

use std::collections::HashMap;

use jiff::{SignedDuration, Timestamp};
use kernel::{Answer, FixtureId, Rejection};
use serde::{Deserialize, Serialize};

use crate::rows::RequestRow;

/// How long a key is remembered.
pub(crate) const KEPT: SignedDuration = SignedDuration::from_hours(24);

/// A key, and a fingerprint of the request that it stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Once {
    /// The caller's key, with whom and what it is for.
    pub key: String,
    /// A hash of method, path and body.
    pub fingerprint: [u8; 32],
}

/// What is kept of an answer.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    fixture: String,
    revision: u64,
    changed: Vec<String>,
}

impl Once {
    pub(crate) fn row(&self, at: Timestamp, answer: Option<&(Answer, FixtureId)>) -> RequestRow {
        let answer = answer.and_then(|(answer, fixture)| {
            serde_json::to_string(&Kept {
                fixture: fixture.to_string(),
                revision: answer.revision.get(),
                changed: answer.changed.iter().map(ToString::to_string).collect(),
            })
            .ok()
        });
        RequestRow { key: self.key.clone(), fingerprint: self.fingerprint.to_vec(), at: at.as_millisecond(), answer }
    }
}

/// The answer that is kept: nothing when it held a secret.
pub(crate) type KeptAnswer = Option<(Answer, FixtureId)>;

/// The keys of the last day.
#[derive(Debug, Default)]
pub(crate) struct Requests(HashMap<String, (Once, KeptAnswer)>);

impl Requests {
    /// The answer to a repeated request; `None` when the request is new. `pending` is what the batch in the making has
    /// under this key.
    pub(crate) fn replay(
        &self,
        once: &Once,
        pending: Option<(&Once, &KeptAnswer)>,
    ) -> Result<Option<(Answer, FixtureId)>, Rejection> {
        let known = pending.or_else(|| self.0.get(&once.key).map(|(once, answer)| (once, answer)));
        match known {
            None => Ok(None),
            Some((first, _)) if first.fingerprint != once.fingerprint => Err(Rejection::KeyReused),
            Some((_, None)) => Err(Rejection::SecretShown),
            Some((_, Some(answer))) => Ok(Some(answer.clone())),
        }
    }

    pub(crate) fn remember(&mut self, key: String, once: Once, answer: KeptAnswer) {
        self.0.insert(key, (once, answer));
    }

    /// Takes in a row at start.
    pub(crate) fn load(&mut self, key: String, fingerprint: &[u8], answer: Option<&str>) {
        let Ok(fingerprint) = <[u8; 32]>::try_from(fingerprint) else { return };
        let answer = answer.and_then(|text| serde_json::from_str::<Kept>(text).ok()).and_then(|kept| {
            let changed = kept.changed.iter().filter_map(|pointer| pointer.parse().ok()).collect();
            let answer = Answer { revision: document::Revision::new(kept.revision), changed, advice: Vec::new() };
            Some((answer, kept.fixture.parse().ok()?))
        });
        self.remember(key.clone(), Once { key, fingerprint }, answer);
    }

    /// Forgets what the database has forgotten.
    pub(crate) fn forget(&mut self, keys: &[String]) {
        for key in keys {
            self.0.remove(key);
        }
    }
}
