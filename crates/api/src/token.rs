//! Bearer tokens.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a token may do. Each includes those before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Scope {
    /// Read everything but secrets.
    Read,
    /// Change what fixtures should do.
    Edit,
    /// Make, enrol and delete fixtures, back up, make tokens.
    Admin,
}

/// A token, without its text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Token {
    /// Its number.
    #[schema(example = 2)]
    pub id: i64,
    /// Its name, by which history knows what it does.
    #[schema(example = "kitchen tablet")]
    pub name: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was made (RFC 3339).
    #[schema(example = "2026-11-25T20:00:00Z")]
    pub created: String,
}

/// The tokens that there are.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Tokens {
    /// The tokens in the order in which they were made.
    pub tokens: Vec<Token>,
}

/// A token to be made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NewToken {
    /// Its name: 1 to 64 bytes without control characters, not yet taken.
    #[schema(example = "kitchen tablet", min_length = 1, max_length = 64)]
    pub name: String,
    /// What it may do.
    pub scope: Scope,
}

/// A new token. Its text is shown this once and kept as a hash only.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TokenMade {
    /// Its number.
    #[schema(example = 2)]
    pub id: i64,
    /// Its name.
    #[schema(example = "kitchen tablet")]
    pub name: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was made (RFC 3339).
    #[schema(example = "2026-11-25T20:00:00Z")]
    pub created: String,
    /// Its text, to be sent as `Authorization: Bearer …`: 43 characters of the URL-safe base64 alphabet.
    #[schema(example = "an-example-that-opens-nothing-0123456789abc")]
    pub token: String,
}
