//! A document as it was: the nearest snapshot after the wanted state (or the document as it is), walked back.

use document::Value;
use jiff::{SignedDuration, Timestamp};
use kernel::{Fixture, Paper};

use crate::batch::{SNAPSHOT_EVERY, slot};
use crate::error::StoreError;
use crate::store::Store;

/// A document as it was.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    /// The revision.
    pub revision: u64,
    /// When it came to that revision; `None` for the empty document before the first, and where that is no longer
    /// kept.
    pub at: Option<Timestamp>,
    /// The document.
    pub document: Value,
}

/// From where the walk goes back.
struct Anchor {
    revision: i64,
    at: Timestamp,
    row: Option<i64>,
    document: Value,
}

impl Store {
    /// The document at a revision.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] above the current one, [`StoreError::Retired`] when history no longer reaches it.
    pub async fn at_revision(&self, fixture: &Fixture, paper: Paper, revision: u64) -> Result<Past, StoreError> {
        let held = fixture.held(paper);
        let current = held.revision.get();
        if revision > current {
            return Err(StoreError::NotThere(format!(
                "{} of {} has no revision {revision}; the newest is {current}",
                paper.as_str(),
                fixture.id
            )));
        }
        let wanted = i64::try_from(revision).unwrap_or(i64::MAX);
        let snapshot: Option<(i64, i64, i64, String)> = sqlx::query_as(
            "SELECT revision, at, history, body FROM snapshot WHERE slot = ? AND revision >= ? ORDER BY revision LIMIT 1",
        )
        .bind(slot(fixture.key, paper))
        .bind(wanted)
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::sql("reading the past"))?;
        let anchor = anchor(fixture, paper, snapshot)?;
        self.walked(anchor, |at_revision, _| at_revision <= wanted).await
    }

    /// The document at a time: as the last change not after it left it.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] before the fixture was made, [`StoreError::Retired`] when history no longer reaches
    /// back to it.
    pub async fn at_time(&self, fixture: &Fixture, paper: Paper, when: Timestamp) -> Result<Past, StoreError> {
        // clocks step: a day of grace, so that a snapshot is surely after every change that is not after `when`
        let edge = when.checked_add(SignedDuration::from_hours(24)).unwrap_or(Timestamp::MAX);
        let snapshot: Option<(i64, i64, i64, String)> = sqlx::query_as(
            "SELECT revision, at, history, body FROM snapshot WHERE slot = ? AND at > ? ORDER BY at LIMIT 1",
        )
        .bind(slot(fixture.key, paper))
        .bind(edge.as_millisecond())
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::sql("reading the past"))?;
        let anchor = anchor(fixture, paper, snapshot)?;
        let past = self.walked(anchor, |_, at| at.is_some_and(|at| at <= when)).await?;
        if past.revision == 0 && when < fixture.created {
            let created = fixture.created;
            return Err(StoreError::NotThere(format!("{} was made at {created}, there is nothing before", fixture.id)));
        }
        Ok(past)
    }

    /// Walks back from an anchor to the first state that is reached, asked by its revision and, where that is known,
    /// its time.
    async fn walked(
        &self,
        anchor: Anchor,
        reached: impl Fn(i64, Option<Timestamp>) -> bool,
    ) -> Result<Past, StoreError> {
        let portion = usize::try_from(SNAPSHOT_EVERY).unwrap_or(64) + 1;
        let Anchor { mut revision, at, mut row, mut document } = anchor;
        let mut at = (revision > 0).then_some(at);
        let mut oldest = at;
        'walk: while revision > 0 && !(at.is_some() && reached(revision, at)) {
            let Some(start) = row else { break };
            let changes = self.walk_back(start, -1, portion).await?;
            if changes.is_empty() {
                break; // the rest is retired
            }
            for change in changes {
                // the first change is the one that made the state in hand
                at = Some(change.at);
                oldest = at;
                if reached(revision, at) {
                    break 'walk;
                }
                document = document::merged(&document, &change.inverse);
                revision = i64::try_from(change.revision).unwrap_or(i64::MAX) - 1;
                row = change.prev;
                at = None;
            }
        }
        if revision == 0 || reached(revision, at) {
            return Ok(Past { revision: u64::try_from(revision).unwrap_or(0), at, document });
        }
        Err(StoreError::Retired { since: oldest.map_or_else(|| "now".into(), |at| at.to_string()) })
    }
}

fn anchor(fixture: &Fixture, paper: Paper, snapshot: Option<(i64, i64, i64, String)>) -> Result<Anchor, StoreError> {
    let held = fixture.held(paper);
    match snapshot {
        Some((revision, at, row, body)) => {
            let document =
                serde_json::from_str(&body).map_err(|error| crate::load::bad("snapshot", "body", revision, error))?;
            Ok(Anchor { revision, at: crate::load::time("snapshot", "at", revision, at)?, row: Some(row), document })
        }
        None => Ok(Anchor {
            revision: i64::try_from(held.revision.get()).unwrap_or(i64::MAX),
            at: held.at,
            row: held.head,
            document: if paper == Paper::Reported { fixture.reported_steady() } else { held.value() },
        }),
    }
}
