//! Whether the daemon is up and can do its work.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The daemon answers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Health {
    /// True whenever this is answered at all.
    #[schema(example = true)]
    pub serving: bool,
}

/// The daemon can do its work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Readiness {
    /// Whether edits can be made durable.
    #[schema(example = true)]
    pub database: bool,
    /// Whether there is a link to the broker.
    #[schema(example = true)]
    pub broker: bool,
}
