//! Enrolment: a controller's secret, and the end of the one before it.

use std::fmt::Debug;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use kernel::{Command, FixtureId, Rejection, SecretHash};

use crate::edits::Asked;
use crate::error::ServiceError;
use crate::secrets::random_secret;
use crate::service::Service;

/// When what was settled holds at the broker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakesEffect {
    /// It holds already, and connections under the secret before it have ended.
    AtOnce,
    /// The broker was told to read its files again, and does so now.
    ReadingAgain,
    /// The files are written, but the broker has not been told to read them again.
    WhenReadAgain,
    /// No file is written: the broker has to be told by hand.
    ByHand,
}

type Settled<'a> = Pin<Box<dyn Future<Output = Result<TakesEffect, String>> + Send + 'a>>;

/// What the broker side does at an enrolment. The embedded broker ends open connections, an external one gets its
/// files; the daemon wires in whichever it runs with.
pub trait BrokerFiles: Debug + Send + Sync {
    /// The line for a password file, if this broker uses one.
    fn line(&self, id: &str, secret: &str) -> Result<Option<String>, String>;
    /// The secret of a fixture is durable (`Some(line)` where one is used) or gone (`None`): files are written and
    /// connections under the old secret ended, as far as this broker lets it be done. Says when it holds.
    fn settled<'a>(&'a self, id: &'a str, line: Option<&'a str>) -> Settled<'a>;
}

/// A new enrolment. The secret is shown once and kept as a hash only.
#[derive(Debug, Clone)]
pub struct Enrolment {
    /// The fixture; also its MQTT user name.
    pub fixture: FixtureId,
    /// Its MQTT password.
    pub secret: String,
    /// When the broker knows of it.
    pub takes_effect: TakesEffect,
}

impl Service {
    /// Gives a fixture a new secret. The old one, and the connection open under it, end when the broker knows of it:
    /// [`Enrolment::takes_effect`].
    ///
    /// # Errors
    /// [`Rejection::UnknownFixture`], [`Rejection::Stale`], [`ServiceError::EnrolledSince`],
    /// [`ServiceError::Reserved`], [`ServiceError::BrokerFiles`], and what the store says.
    pub async fn enrol(&self, id: FixtureId, asked: Asked) -> Result<Enrolment, ServiceError> {
        self.refuse_reserved(&id)?;
        // one after the other, so that of two under one condition one is refused, and what the broker is told last is
        // what is kept
        let _turn = self.settling.turn(&id).await;
        let fixture = self.house().get(id.as_str()).ok_or_else(|| Rejection::UnknownFixture(id.to_string()))?;
        if !asked.precondition.holds(fixture.record_held.revision) {
            return Err(Rejection::Stale { current: fixture.record_held.revision }.into());
        }
        if asked.enrolment_seen.is_some_and(|seen| seen != fixture.enrolled_at) {
            return Err(ServiceError::EnrolledSince(id));
        }
        let secret = random_secret()?;
        let line = match &self.broker_files {
            None => None,
            Some(files) => files.line(id.as_str(), &secret).map_err(ServiceError::BrokerFiles)?,
        };
        let command = Command::Enrol {
            id: id.clone(),
            secret: SecretHash::of(self.store.key(), secret.as_bytes()),
            broker_line: line.as_deref().map(Arc::from),
        };
        self.execute(command, asked.actor, asked.once).await?;
        // only now: a credential is removed before its connection is ended, else it would come back
        let takes_effect = match &self.broker_files {
            None => TakesEffect::ByHand,
            Some(files) => {
                files.settled(id.as_str(), line.as_deref().or(Some(""))).await.map_err(ServiceError::BrokerFiles)?
            }
        };
        Ok(Enrolment { fixture: id, secret, takes_effect })
    }

    /// Ends what the broker knows of a fixture that is gone.
    pub(crate) async fn withdraw(&self, id: &FixtureId) -> Result<(), ServiceError> {
        match &self.broker_files {
            None => Ok(()),
            Some(files) => files.settled(id.as_str(), None).await.map(|_| ()).map_err(ServiceError::BrokerFiles),
        }
    }
}
