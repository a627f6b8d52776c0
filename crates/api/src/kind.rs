//! Kinds of fixtures.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// A kind in a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct KindName {
    /// Its name.
    #[schema(example = "strip")]
    pub name: String,
    /// Whether it is built in; the others are the owner's, each a JSON Schema.
    #[schema(example = true)]
    pub built_in: bool,
}

/// The kinds that there are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Kinds {
    /// The kinds by name.
    pub kinds: Vec<KindName>,
}

/// A kind of fixture: which desired documents it accepts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Kind {
    /// Its name.
    #[schema(example = "strip")]
    pub name: String,
    /// Whether it is built in.
    #[schema(example = true)]
    pub built_in: bool,
    /// What a desired document of this kind has to be, in words.
    #[schema(example = "addressable strips: looks, timetable, override; see StripDocument")]
    pub text: String,
    /// The JSON Schema (draft 2020-12) of a kind of the owner's; null for those built in.
    #[schema(value_type = Option<Object>, example = json!(null))]
    pub schema: Option<Value>,
}
