//! A document as it was: the nearest snapshot after the wanted state (or the document as it is), walked back.

use document::Value;
use jiff::{SignedDuration, Timestamp};
use kernel::{Fixture, Paper};
use sqlx::Row as _;

use crate::batch::slot;
use crate::error::StoreError;
use crate::rows::as_signed;
use crate::store::Store;
use crate::text::Text;

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

macro_rules! walk {
    ($goes_on:literal) => {
        concat!(
            "back (id, revision, at, prev, inverse, step) AS (
                 SELECT id, revision, at, prev, inverse, 1 FROM history
                 WHERE id = coalesce((SELECT history FROM anchor), ?3)
                 UNION ALL
                 SELECT h.id, h.revision, h.at, h.prev, h.inverse, step + 1 FROM back JOIN history h ON h.id = back.prev
                 WHERE ",
            $goes_on,
            " AND step < ?4
             )
             SELECT (SELECT revision || ' ' || at || ' ' || octet_length(body) || ' ' || body FROM anchor),
                 (SELECT group_concat(id || ' ' || revision || ' ' || at || ' ' || ifnull(prev, '-') || ' '
                     || octet_length(inverse) || ' ' || inverse, '') FROM back)"
        )
    };
}

/// Rows walked at a time: more than lie between two snapshots.
const PORTION: i64 = 128;

/// The first snapshot that is not before what is wanted, and the rows back from it (or from a given row, where there is
/// none) to the one that made what is wanted. One query, and one row as [`Text`] reads it, since each is a crossing to
/// the connection's thread.
const WALK_TO_REVISION: &str = concat!(
    "WITH RECURSIVE anchor AS MATERIALIZED (
         SELECT revision, at, history, body FROM snapshot WHERE slot = ?1 AND revision >= ?2 ORDER BY revision LIMIT 1
     ),",
    walk!("back.revision > ?2")
);
const WALK_TO_TIME: &str = concat!(
    "WITH RECURSIVE anchor AS MATERIALIZED (
         SELECT revision, at, history, body FROM snapshot WHERE slot = ?1 AND at > ?5 ORDER BY at LIMIT 1
     ),",
    walk!("back.at > ?2")
);

/// What is wanted of the past.
#[derive(Clone, Copy)]
enum Wanted {
    Revision(i64),
    Time(Timestamp),
}

impl Wanted {
    /// Whether this state is wanted: of two, the later. A time is not always known.
    fn is_reached(self, revision: i64, at: Option<Timestamp>) -> bool {
        match self {
            Self::Revision(wanted) => revision <= wanted,
            Self::Time(when) => at.is_some_and(|at| at <= when),
        }
    }
}

/// A state on the way back.
struct State {
    revision: i64,
    /// When it came to this revision, as far as the walk has told.
    at: Option<Timestamp>,
    /// The row that made it.
    row: Option<i64>,
    document: Value,
    /// The time of the oldest row that was met.
    oldest: Option<Timestamp>,
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
        self.past(fixture, paper, Wanted::Revision(as_signed(revision))).await
    }

    /// The document at a time: as the last change not after it left it.
    ///
    /// # Errors
    /// [`StoreError::NotThere`] before the fixture was made, [`StoreError::Retired`] when history no longer reaches
    /// back to it.
    pub async fn at_time(&self, fixture: &Fixture, paper: Paper, when: Timestamp) -> Result<Past, StoreError> {
        let past = self.past(fixture, paper, Wanted::Time(when)).await?;
        if past.revision == 0 && when < fixture.created {
            let created = fixture.created;
            return Err(StoreError::NotThere(format!("{} was made at {created}, there is nothing before", fixture.id)));
        }
        Ok(past)
    }

    async fn past(&self, fixture: &Fixture, paper: Paper, wanted: Wanted) -> Result<Past, StoreError> {
        let held = fixture.held(paper);
        let at = (held.revision.get() > 0).then_some(held.at);
        let mut state = State {
            revision: as_signed(held.revision.get()),
            at,
            row: held.head,
            document: if paper == Paper::Reported { fixture.reported_steady() } else { held.value() },
            oldest: at,
        };
        let mut slot = Some(slot(fixture.key, paper));
        while state.revision > 0 && !(state.at.is_some() && wanted.is_reached(state.revision, state.at)) {
            // the snapshot is looked for once; what is walked from there on is its own past
            let Some(row) = state.row else { break };
            if !self.walk(&mut state, slot.take(), row, wanted).await? {
                break; // the rest is retired
            }
        }
        if state.revision == 0 || wanted.is_reached(state.revision, state.at) {
            let revision = u64::try_from(state.revision).unwrap_or(0);
            return Ok(Past { revision, at: state.at, document: state.document });
        }
        Err(StoreError::Retired { since: state.oldest.map_or_else(|| "now".into(), |at| at.to_string()) })
    }

    /// Walks a state back, from a snapshot of the slot if there is a better one; whether there was a row to walk.
    async fn walk(&self, state: &mut State, slot: Option<i64>, row: i64, wanted: Wanted) -> Result<bool, StoreError> {
        let reading = || StoreError::sql("reading the past");
        let query = match wanted {
            Wanted::Revision(revision) => sqlx::query(WALK_TO_REVISION).bind(slot).bind(revision),
            Wanted::Time(when) => sqlx::query(WALK_TO_TIME).bind(slot).bind(when.as_millisecond()),
        };
        let mut query = query.bind(row).bind(PORTION);
        if let Wanted::Time(when) = wanted {
            // clocks step: a day of grace, so that a snapshot is surely after every change that is not after `when`
            let edge = when.checked_add(SignedDuration::from_hours(24)).unwrap_or(Timestamp::MAX);
            query = query.bind(edge.as_millisecond());
        }
        let found = query.fetch_one(self.readers()).await.map_err(reading())?;
        let text = |index: usize| -> Result<Vec<u8>, StoreError> {
            Ok(found.try_get_unchecked::<Option<Vec<u8>>, _>(index).map_err(reading())?.unwrap_or_default())
        };
        let anchor = text(0)?;
        let mut anchor = Text::of("snapshot", &anchor);
        if anchor.begin_row()? {
            let at = anchor.at("at")?;
            let body = anchor.text("body")?;
            let document = serde_json::from_str(body).map_err(|error| anchor.bad("body", error))?;
            *state = State { revision: anchor.key, at: Some(at), row: None, document, oldest: Some(at) };
            if wanted.is_reached(state.revision, state.at) {
                return Ok(true);
            }
        }
        let rows = text(1)?;
        let mut rows = Text::of("history", &rows);
        let mut walked = false;
        while rows.begin_row()? {
            walked = true;
            let (revision, at, prev) = (rows.number("revision")?, rows.at("at")?, rows.optional("prev")?);
            let inverse = rows.text("inverse")?;
            // the first row is the one that made the state in hand
            (state.at, state.oldest, state.row) = (Some(at), Some(at), prev);
            if wanted.is_reached(state.revision, state.at) {
                return Ok(true);
            }
            let inverse: Value = serde_json::from_str(inverse).map_err(|error| rows.bad("inverse", error))?;
            document::merge(&mut state.document, &inverse);
            (state.revision, state.at) = (revision - 1, None);
        }
        Ok(walked)
    }
}
