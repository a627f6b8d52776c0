//! What is read: what shows, what comes, documents of the past.

use document::Value;
use jiff::{SignedDuration, Timestamp};
use kernel::{Fixture, Paper, Rejection, ShownLook};
use store::Past;

use crate::error::ServiceError;
use crate::service::Service;

/// What a fixture should show at an instant.
#[derive(Debug, Clone)]
pub struct Shown {
    /// The revision of the desired document that says so.
    pub revision: u64,
    /// The instant.
    pub at: Timestamp,
    /// The look and why.
    pub shown: ShownLook,
}

/// One coming change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgendaChange {
    /// From when.
    pub at: Timestamp,
    /// The look's name.
    pub look: String,
    /// Why.
    pub because: &'static str,
    /// Until when, if a change is foreseen.
    pub until: Option<Timestamp>,
    /// Whether the floor is kept under it.
    pub floored: bool,
}

/// The coming changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Agenda {
    /// The revision of the desired document that says so.
    pub revision: u64,
    /// The changes; the first covers the beginning.
    pub changes: Vec<AgendaChange>,
}

/// An agenda may be asked for at most this long.
const LONGEST: SignedDuration = SignedDuration::from_hours(24 * 400);

impl Service {
    /// What a fixture should show at an instant by its desired document of now.
    ///
    /// # Errors
    /// [`Rejection::NoLooks`] for kinds without looks.
    pub fn shown(&self, fixture: &Fixture, at: Timestamp) -> Result<Shown, ServiceError> {
        let shown = fixture
            .outlook()
            .shown(fixture.place(self.site()), &self.running(fixture), at)
            .ok_or_else(|| no_looks(fixture))?;
        Ok(Shown { revision: fixture.desired.revision.get(), at, shown })
    }

    /// The changes of what a fixture shows from one instant to another, at most 400 days.
    ///
    /// # Errors
    /// [`Rejection::NoLooks`], or [`Rejection::Invalid`] when the span of time is not one.
    pub fn agenda(&self, fixture: &Fixture, from: Timestamp, to: Timestamp) -> Result<Agenda, ServiceError> {
        if !fixture.outlook().has_looks() {
            return Err(no_looks(fixture).into());
        }
        if to <= from || to.duration_since(from) > LONGEST {
            return Err(Rejection::invalid(
                document::Pointer::default(),
                format!("from {from} to {to} is not a span of time of at most 400 days"),
                "name a `to` that is after `from` and at most 400 days later",
            )
            .into());
        }
        let changes = fixture
            .outlook()
            .agenda(fixture.place(self.site()), &self.running(fixture), from, to)
            .into_iter()
            .map(|change| AgendaChange {
                at: change.at,
                look: change.look,
                because: change.because.as_str(),
                until: change.until,
                floored: change.floored,
            })
            .collect();
        Ok(Agenda { revision: fixture.desired.revision.get(), changes })
    }

    /// A document as it was at a time.
    ///
    /// # Errors
    /// [`store::StoreError::NotThere`], [`store::StoreError::Retired`] and what the store says.
    pub async fn at_time(&self, fixture: &Fixture, paper: Paper, when: Timestamp) -> Result<Past, ServiceError> {
        Ok(self.store.at_time(fixture, paper, when).await?)
    }

    /// A document at a revision.
    ///
    /// # Errors
    /// As [`Service::at_time`].
    pub async fn at_revision(&self, fixture: &Fixture, paper: Paper, revision: u64) -> Result<Past, ServiceError> {
        Ok(self.store.at_revision(fixture, paper, revision).await?)
    }

    /// The merge patch that would bring what is reported to what is desired.
    #[must_use]
    pub fn delta(&self, fixture: &Fixture) -> Value {
        fixture.delta()
    }
}

fn no_looks(fixture: &Fixture) -> Rejection {
    Rejection::NoLooks { id: fixture.id.clone(), kind: fixture.record.kind.clone() }
}
