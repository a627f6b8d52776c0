//! What can go wrong with something that was asked of the house.

use kernel::Rejection;
use store::{ExecuteError, StoreError};
use thiserror::Error;

/// Why something asked was not done. Nothing has changed.
#[derive(Debug, Clone, Error)]
pub enum ServiceError {
    /// The rules refuse it.
    #[error(transparent)]
    Rejected(#[from] Rejection),
    /// The database or a file failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The files for an external broker could not be written. The enrolment itself stands.
    #[error(
        "the fixture is enrolled, but the external broker's files could not be written: {0}; mend that and enrol again"
    )]
    BrokerFiles(String),
    /// The system gave no randomness.
    #[error("the system gave no randomness: {0}")]
    Randomness(String),
}

impl From<ExecuteError> for ServiceError {
    fn from(error: ExecuteError) -> Self {
        match error {
            ExecuteError::Rejected(rejection) => Self::Rejected(rejection),
            ExecuteError::Store(error) => Self::Store(error),
        }
    }
}
