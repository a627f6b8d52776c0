//! What every handler can reach.

use std::sync::Arc;

use axum::body::Bytes;
use service::{Fixture, FixtureId, Rejection, Service, ServiceError};

use crate::caller::LOOPBACK;
use crate::options::WebOptions;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;
use crate::throttle::Throttle;

/// What every handler can reach. Cheap to clone.
#[derive(Debug, Clone)]
pub(crate) struct App(Arc<Shared>);

/// See [`App`].
#[derive(Debug)]
pub(crate) struct Shared {
    pub(crate) service: Arc<Service>,
    pub(crate) options: WebOptions,
    pub(crate) throttle: Throttle,
    /// The OpenAPI document as it is served.
    pub(crate) openapi: Bytes,
    /// The name of whoever calls from the machine itself.
    pub(crate) loopback: Arc<str>,
}

impl App {
    pub(crate) fn new(service: Arc<Service>, options: WebOptions, openapi: Bytes) -> Self {
        let (throttle, loopback) = (Throttle::default(), LOOPBACK.into());
        Self(Arc::new(Shared { service, options, throttle, openapi, loopback }))
    }

    /// The fixture of that id.
    pub(crate) fn fixture(&self, id: &FixtureId) -> Result<Arc<Fixture>, Refusal> {
        self.service.house().get(id.as_str()).ok_or_else(|| Rejection::UnknownFixture(id.to_string()).into())
    }
}

/// Carries something out to its end even when the caller leaves meanwhile: what has several steps, of which the first
/// is already durable.
pub(crate) async fn to_the_end<T: Send + 'static>(
    work: impl Future<Output = Result<T, ServiceError>> + Send + 'static,
) -> Result<T, Refusal> {
    match tokio::spawn(work).await {
        Ok(done) => Ok(done?),
        Err(error) => Err(Refusal::new(ProblemType::DEFECT, format!("it was not finished: {error}"))),
    }
}

impl std::ops::Deref for App {
    type Target = Shared;

    fn deref(&self) -> &Shared {
        &self.0
    }
}
