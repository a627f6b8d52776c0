//! The one place where the errors of the house become problems: rejections, the database's errors, faults of JSON.

use axum::http::header::RETRY_AFTER;
use service::{Finding, Rejection, ServiceError, StoreError};

use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

impl From<ServiceError> for Refusal {
    fn from(error: ServiceError) -> Self {
        match error {
            ServiceError::Rejected(rejection) => rejection.into(),
            ServiceError::Store(error) => error.into(),
            ServiceError::BrokerFiles(_) => Self::new(ProblemType::BROKER_FILES, error.to_string()),
            ServiceError::Reserved(_) => Self::new(ProblemType::RESERVED, error.to_string()),
            ServiceError::EnrolledSince(_) => Self::new(ProblemType::STALE, error.to_string()),
            ServiceError::Contended(..) => Self::new(ProblemType::CONTENDED, error.to_string()),
            // it keeps the daemon from starting, so that no request should ever meet it
            ServiceError::Kind { .. } => Self::new(ProblemType::DEFECT, error.to_string()),
            ServiceError::Randomness(_) => Self::new(ProblemType::NOT_READY, error.to_string()),
        }
    }
}

impl From<Rejection> for Refusal {
    fn from(rejection: Rejection) -> Self {
        let detail = rejection.to_string();
        match rejection {
            Rejection::UnknownFixture(_) => Self::new(ProblemType::UNKNOWN_FIXTURE, detail),
            Rejection::Exists(_) => Self::new(ProblemType::EXISTS, detail).pointer("/id"),
            Rejection::Stale { .. } => Self::new(ProblemType::STALE, detail),
            Rejection::Invalid(findings) => {
                Self::new(ProblemType::INVALID, detail).faults(findings.into_iter().map(fault).collect())
            }
            Rejection::Malformed(finding) | Rejection::Message(finding) => {
                Self::new(ProblemType::MALFORMED, detail).faults(vec![fault(finding)])
            }
            Rejection::TestFailed { pointer, .. } => Self::new(ProblemType::TEST_FAILED, detail).pointer(pointer),
            Rejection::UnknownKind { .. } => Self::new(ProblemType::UNKNOWN_KIND, detail).pointer("/kind"),
            Rejection::NoLooks { .. } => Self::new(ProblemType::NO_LOOKS, detail),
            Rejection::NothingToUndo(_) => Self::new(ProblemType::NOTHING_TO_UNDO, detail),
            Rejection::NeverGiven { .. } => Self::new(ProblemType::NEVER_GIVEN, detail).pointer("/rev"),
            Rejection::KeyReused => Self::new(ProblemType::KEY_REUSED, detail),
            Rejection::SecretShown => Self::new(ProblemType::SECRET_SHOWN, detail),
        }
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        let problem = match &error {
            StoreError::Sql { .. } | StoreError::Io { .. } => ProblemType::DATABASE,
            StoreError::Full => ProblemType::FULL,
            StoreError::Row { .. } | StoreError::Damaged { .. } => ProblemType::DAMAGED,
            // these three keep the daemon from starting, so that no request should ever meet them
            StoreError::Newer { .. } | StoreError::NotOurs { .. } | StoreError::InUse { .. } => ProblemType::DATABASE,
            StoreError::NotThere(_) => ProblemType::NOT_THERE,
            StoreError::Retired { .. } => ProblemType::RETIRED,
            StoreError::TokenExists(_) => ProblemType::EXISTS,
            StoreError::Cursor => ProblemType::CURSOR,
            StoreError::Stopped => ProblemType::STOPPING,
        };
        let refusal = Self::new(problem, error.to_string());
        match &error {
            StoreError::Stopped => refusal.header(RETRY_AFTER, "5"),
            StoreError::Sql { .. } | StoreError::Io { .. } | StoreError::Full => {
                tracing::error!(%error, "a request failed at the database");
                refusal.header(RETRY_AFTER, "30")
            }
            StoreError::Row { .. } | StoreError::Damaged { .. } => {
                tracing::error!(%error, "something stored is damaged");
                refusal
            }
            StoreError::TokenExists(_) => refusal.pointer("/name"),
            _ => refusal,
        }
    }
}

impl From<document::Fault> for Refusal {
    fn from(found: document::Fault) -> Self {
        let problem = if found.problem.is_syntax() { ProblemType::MALFORMED } else { ProblemType::INVALID };
        Self::at(problem, found.pointer.as_str(), &found.problem.to_string(), &found.problem.advice())
    }
}

fn fault(finding: Finding) -> api::Fault {
    api::Fault { pointer: finding.pointer.into(), text: finding.text, advice: finding.advice }
}

#[cfg(test)]
mod tests;
