//! Edits, undo, create and delete, as callers ask for them.

use document::{Revision, Value};
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
}

impl Asked {
    /// Asked by someone, without condition.
    #[must_use]
    pub fn by(actor: Actor) -> Self {
        Self { actor, precondition: Precondition::None, once: None }
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

impl Service {
    /// Makes a fixture. `record` holds members of its record: title, kind, groups …
    ///
    /// # Errors
    /// [`Rejection::Exists`], [`Rejection::Invalid`], [`Rejection::UnknownKind`], and what the store says.
    pub async fn create(&self, id: FixtureId, record: Value, asked: Asked) -> Result<Outcome, ServiceError> {
        self.execute(Command::Create { id, record }, asked.actor, asked.once).await
    }

    /// Changes a fixture's record ([`Paper::Fixture`]) or its desired document ([`Paper::Desired`]).
    ///
    /// # Errors
    /// [`Rejection::UnknownFixture`], [`Rejection::Stale`], [`Rejection::Invalid`] and what the store says.
    pub async fn edit(&self, id: FixtureId, paper: Paper, edit: Edit, asked: Asked) -> Result<Outcome, ServiceError> {
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

    /// Puts the desired document back as it was one revision before, or at revision `to`, as a new revision.
    ///
    /// # Errors
    /// [`Rejection::NothingToUndo`], [`Rejection::Stale`] when another edit came in between, and what the store says.
    pub async fn undo(&self, id: FixtureId, to: Option<u64>, asked: Asked) -> Result<Undone, ServiceError> {
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
        let _one = self.settling.lock().await;
        let outcome =
            self.execute(Command::Delete { id, precondition: asked.precondition }, asked.actor, asked.once).await?;
        // a repeated request must not touch a fixture that was made under this id since
        if !outcome.replayed {
            self.withdraw(&broker_id).await?;
        }
        Ok(outcome)
    }
}
