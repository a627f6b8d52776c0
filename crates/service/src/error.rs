//! What can go wrong with something that was asked of the house.

use std::path::PathBuf;

use kernel::{FixtureId, Rejection};
use store::{ExecuteError, StoreError};
use thiserror::Error;

/// Why something asked was not done. Nothing has changed, unless the variant says otherwise.
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
    /// A fixture of this id would come in at the broker as the daemon itself.
    #[error("{0} is a name of the daemon itself at the broker, so no fixture may have it; choose another id")]
    Reserved(FixtureId),
    /// Another enrolment came in between.
    #[error("{0} was enrolled by somebody else since you read it; read it again, and enrol again if you still want to")]
    EnrolledSince(FixtureId),
    /// Other edits came in between again and again.
    #[error("the desired document of {0} was changed by others {1} times meanwhile; try again in a moment")]
    Contended(FixtureId, u32),
    /// A kind of the owner's cannot be used; it keeps the daemon from starting.
    #[error("the kind in {path} cannot be used: {why}; {advice}", path = .path.display())]
    Kind {
        /// Its file, or the folder of all of them.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
        /// What to do.
        advice: &'static str,
    },
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
