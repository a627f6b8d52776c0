//! Edits, undo, create and delete, as callers ask for them.

use document::{Revision, Value};
use jiff::Timestamp;
use kernel::{Actor, Command, Edit, FixtureId, Paper, Precondition, Rejection};
use store::{Once, Outcome};

use crate::error::ServiceError;
use crate::service::Service;

/// Who asks, under which condition, and whether once only.
#[derive(Debug, Clone)]
pub struct Asked {
    /// Who, by which way.
    pub actor: Actor,
    /// At which revision.
    pub precondition: Precondition,
    /// The Idempotency-Key.
    pub once: Option<Once>,
    /// The enrolment that the caller saw: when it was made, `Some(None)` for none yet, `None` when nothing is said of
    /// it. Only an enrolment asks for it.
    pub enrolment_seen: Option<Option<Timestamp>>,
}

impl Asked {
    /// Asked by someone, without condition.
    #[must_use]
    pub fn by(actor: Actor) -> Self {
        Self { actor, precondition: Precondition::None, once: None, enrolment_seen: None }
    }
}

/// What came of an undo.
#[derive(Debug, Clone)]
pub struct Undone {
    /// The revision whose state was put back.
    pub to: u64,
    /// What came of it.
    pub outcome: Outcome,
}

/// A revision at which no document ever is.
const NEVER: Revision = Revision::new(u64::MAX);
/// How often an undo that names no revision is begun anew when other edits come in between.
const UNDO_TRIES: u32 = 20;

impl Service {
    /// Makes a fixture. `record` holds members of its record: title, kind, groups …
    ///
    /// # Errors
    /// [`Rejection::Exists`], [`Rejection::Invalid`], [`Rejection::UnknownKind`], [`ServiceError::Reserved`], and what
    /// the store says.
    pub async fn create(&self, id: FixtureId, record: Value, asked: Asked) -> Result<Outcome, ServiceError> {
        self.refuse_reserved(&id)?;
        // the broker may still be forgetting a fixture of this id that was taken away
        let _turn = self.settling.turn(&id).await;
        self.execute(Command::Create { id, record }, asked.actor, asked.once).await
    }

    /// Changes a fixture's record ([`Paper::Fixture`]) or its desired document ([`Paper::Desired`]).
    ///
    /// # Errors
    /// [`Rejection::UnknownFixture`], [`Rejection::Stale`], [`Rejection::Invalid`] and what the store says.
    pub async fn edit(&self, id: FixtureId, paper: Paper, edit: Edit, asked: Asked) -> Result<Outcome, ServiceError> {
        // an enrolment holds its condition against the record
        let _turn = if paper == Paper::Fixture { Some(self.settling.turn(&id).await) } else { None };
        let command = Command::Edit { id, paper, edit, precondition: asked.precondition };
        self.execute(command, asked.actor, asked.once).await
    }

    /// Puts an override in place (`until: null` holds it until it is released), or releases it with `None`.
    ///
    /// # Errors
    /// As [`Service::edit`]; [`Rejection::NoLooks`] for kinds without looks.
    pub async fn put_override(
        &self,
        id: FixtureId,
        owners_override: Option<Value>,
        asked: Asked,
    ) -> Result<Outcome, ServiceError> {
        let value = owners_override.map(kernel::without_null_until);
        self.edit(id, Paper::Desired, Edit::Member("override", value), asked).await
    }

    /// Puts the desired document back as it was one revision before, or at revision `to`, as a new revision. Where the
    /// caller names no revision, one that was overtaken by another edit is begun anew.
    ///
    /// # Errors
    /// [`Rejection::NothingToUndo`], [`Rejection::Stale`] when the document is not at the revision that the caller
    /// names, [`ServiceError::Contended`], and what the store says.
    pub async fn undo(&self, id: FixtureId, to: Option<u64>, asked: Asked) -> Result<Undone, ServiceError> {
        let names_a_revision = matches!(asked.precondition, Precondition::OneOf(_));
        for _ in 0..UNDO_TRIES {
            match self.undo_from_now(id.clone(), to, asked.clone()).await {
                Err(ServiceError::Rejected(Rejection::Stale { .. })) if !names_a_revision => {}
                done => return done,
            }
        }
        Err(ServiceError::Contended(id, UNDO_TRIES))
    }

    /// Undoes from the revision that is current now.
    async fn undo_from_now(&self, id: FixtureId, to: Option<u64>, asked: Asked) -> Result<Undone, ServiceError> {
        let fixture = self.house().get(id.as_str()).ok_or_else(|| Rejection::UnknownFixture(id.to_string()))?;
        let current = fixture.desired.revision;
        let holds = asked.precondition.holds(current);
        // a request that is repeated under its key finds the document moved on, by itself: only the store can tell
        if asked.once.is_none() && !holds {
            return Err(Rejection::Stale { current }.into());
        }
        if current.get() == 0 {
            return Err(Rejection::NothingToUndo(current).into());
        }
        let command = if holds {
            let past = self.store.at_revision(&fixture, Paper::Desired, to.unwrap_or(current.get() - 1)).await?;
            Command::Undo { id, from: current, target: past.document }
        } else {
            Command::Undo { id, from: NEVER, target: Value::Null }
        };
        let outcome = self.execute(command, asked.actor, asked.once).await?;
        // an undo without a goal steps over the revision that was current, which is the one before its own
        let stepped_back =
            if outcome.replayed { outcome.answer.revision.get().saturating_sub(2) } else { current.get() - 1 };
        Ok(Undone { to: to.unwrap_or(stepped_back), outcome })
    }

    /// Takes a fixture away. Its history stays.
    ///
    /// # Errors
    /// [`Rejection::UnknownFixture`], [`Rejection::Stale`] and what the store says.
    pub async fn delete(&self, id: FixtureId, asked: Asked) -> Result<Outcome, ServiceError> {
        let broker_id = id.clone();
        let _turn = self.settling.turn(&broker_id).await;
        let outcome =
            self.execute(Command::Delete { id, precondition: asked.precondition }, asked.actor, asked.once).await?;
        // a repeated request must not touch a fixture that was made under this id since
        if !outcome.replayed {
            self.withdraw(&broker_id).await?;
        }
        Ok(outcome)
    }

    /// Refuses an id by which the daemon itself is known to the broker.
    pub(crate) fn refuse_reserved(&self, id: &FixtureId) -> Result<(), ServiceError> {
        if self.reserved.iter().any(|name| name == id.as_str()) {
            return Err(ServiceError::Reserved(id.clone()));
        }
        Ok(())
    }
}
