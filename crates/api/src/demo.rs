//! The demo's power switch.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A power cut of the whole house.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PowerCut {
    /// How long it lasts, in seconds: more than 0, at most 300.
    #[schema(example = 5.0, exclusive_minimum = 0, maximum = 300)]
    pub cut_seconds: f64,
}

/// The power was cut.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PowerCutDone {
    /// How many fixtures lost their power.
    #[schema(example = 5)]
    pub cut: usize,
    /// How long it lasts, in seconds.
    #[schema(example = 5.0)]
    pub cut_seconds: f64,
}
