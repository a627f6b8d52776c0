//! Errors, as RFC 9457 problem details.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What was wrong with a request (RFC 9457). Nothing has changed when one of these is answered, unless its type says
/// otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// Which problem it is: a relative reference whose page says more. Programs tell problems apart by it.
    #[serde(rename = "type")]
    #[schema(example = "/problems/invalid")]
    pub kind: String,
    /// The kind of problem in a few words, the same for every problem of its type.
    #[schema(example = "The document would not be acceptable")]
    pub title: String,
    /// The HTTP status, once more.
    #[schema(example = 422)]
    pub status: u16,
    /// What was wrong this time.
    #[schema(example = "intensity is 120, which is not from 0 to 100")]
    pub detail: String,
    /// JSON Pointer (RFC 6901) of the first fault, where there is a place in the body to point at; the empty text is
    /// the whole body.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "/looks/evening/intensity")]
    pub pointer: Option<String>,
    /// What to do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "write 0 to 100, as the eye sees it")]
    pub advice: Option<String>,
    /// Every fault that was found, where there can be several.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<Fault>,
}

/// One fault of a document.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// JSON Pointer (RFC 6901) of the place.
    #[schema(example = "/looks/evening/intensity")]
    pub pointer: String,
    /// What is wrong there.
    #[schema(example = "intensity is 120, which is not from 0 to 100")]
    pub text: String,
    /// What to write instead.
    #[schema(example = "write 0 to 100, as the eye sees it")]
    pub advice: String,
}
