//! Edits of documents: what is asked and what came of it.

use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use utoipa::ToSchema;

use crate::strip::InlineOrNamedLook;

/// Something worth knowing about an edit that was accepted all the same.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Advice {
    /// JSON Pointer (RFC 6901) of the place in the document.
    #[schema(example = "/sparkle")]
    pub pointer: String,
    /// What there is to know, and what could be done.
    #[schema(example = "sparkle is not known to sconced; it is kept for the firmware as it is")]
    pub text: String,
}

/// What came of an edit. It is durable when this is answered.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct EditAnswer {
    /// The revision that the document is at now; the same as before when nothing changed.
    #[schema(example = 42)]
    pub rev: u64,
    /// JSON Pointers of the members that changed; empty when nothing did.
    #[schema(example = json!(["/looks/evening/intensity"]))]
    pub changed: Vec<String>,
    /// What is worth knowing about the document as it is now.
    pub advice: Vec<Advice>,
    /// The whole document as it is now.
    #[schema(value_type = Object, example = json!({"looks": {"evening": {"kelvin": 2400, "intensity": 60}}, "default": "evening"}))]
    pub document: Box<RawValue>,
}

/// To which revision the desired document is to be put back.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UndoRequest {
    /// The revision whose document is wanted again; left out, the one before the current.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 17)]
    pub to: Option<u64>,
}

/// What came of an undo. It is durable when this is answered.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UndoAnswer {
    /// The revision that the document is at now: undoing makes a new one.
    #[schema(example = 43)]
    pub rev: u64,
    /// The revision whose document was put back.
    #[schema(example = 41)]
    pub to: u64,
    /// JSON Pointers of the members that changed; empty when nothing did.
    #[schema(example = json!(["/looks/evening/intensity"]))]
    pub changed: Vec<String>,
    /// What is worth knowing about the document as it is now.
    pub advice: Vec<Advice>,
    /// The whole document as it is now.
    #[schema(value_type = Object, example = json!({"looks": {"evening": {"kelvin": 2400, "intensity": 70}}, "default": "evening"}))]
    pub document: Box<RawValue>,
}

/// The owner's look in place of the timetable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OverrideRequest {
    /// The name of a look of the fixture, or a look of its own.
    pub look: InlineOrNamedLook,
    /// When it ends: an RFC 3339 time, `next-change` for the next change of the timetable, or null to hold it until it
    /// is released.
    #[serde(default)]
    #[schema(example = "2026-11-25T22:00:00Z")]
    pub until: Option<String>,
}
