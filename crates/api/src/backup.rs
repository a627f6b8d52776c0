//! Backups of the database.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A backup: a whole, checked copy of the database.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Backup {
    /// Its file name.
    #[schema(example = "sconced-20261125T220000123Z.sqlite")]
    pub name: String,
    /// When it was made (RFC 3339).
    #[schema(example = "2026-11-25T22:00:00.123Z")]
    pub at: String,
    /// Its size in bytes.
    #[schema(example = 131072)]
    pub bytes: u64,
}

/// The backups that there are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Backups {
    /// The newest first.
    pub backups: Vec<Backup>,
}
