//! When the sun rises and sets.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::fixture::Place;

/// How the sun stands to the altitude of one of its events on a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SunHeight {
    /// It crosses it: the event happens.
    Crosses,
    /// It stays above all day: for sunrise and sunset the polar day.
    AlwaysAbove,
    /// It stays below all day: for sunrise and sunset the polar night.
    AlwaysBelow,
    /// It crosses it the other way only, as when sunset moves past midnight towards the polar day; or the place has
    /// skipped the date, or nothing is known of its year (after 2999).
    NotThisDate,
}

/// An event of the sun on a date.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SunTime {
    /// When (RFC 3339), to the second; of two on one date the first. Null where it does not happen.
    #[schema(example = "2026-11-25T15:34:26Z")]
    pub at: Option<String>,
    /// Whether it happens, and if not, why.
    pub sun: SunHeight,
}

/// The sun on a date of a place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SunDay {
    /// The date by the place's clock.
    #[schema(example = "2026-11-25")]
    pub date: String,
    /// The place: that of the fixture, else the site's.
    pub place: Place,
    /// The sun comes within 6 degrees of the horizon (civil dawn).
    pub dawn: SunTime,
    /// The sun's upper rim comes over the horizon at sea level.
    pub sunrise: SunTime,
    /// The sun's upper rim goes under the horizon at sea level.
    pub sunset: SunTime,
    /// The sun goes more than 6 degrees below the horizon (civil dusk).
    pub dusk: SunTime,
}
