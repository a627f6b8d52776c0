//! Parameters that several operations share, for the OpenAPI description.

use utoipa::IntoParams;

use crate::history::{Paper, Way};

/// Which fixture.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct FixturePath {
    /// The fixture's id: 1 to 64 of a-z, 0-9 and `-`, beginning and ending with a letter or digit.
    #[param(example = "hall", pattern = "^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$")]
    pub id: String,
}

/// Which token.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct TokenPath {
    /// The token's number.
    #[param(example = 2)]
    pub id: i64,
}

/// Which state of the past.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PastQuery {
    /// The document as it was at this time (RFC 3339). Not together with `rev`.
    #[param(example = "2026-11-20T18:00:00Z")]
    pub at: Option<String>,
    /// The document at this revision. Not together with `at`.
    #[param(example = 17)]
    pub rev: Option<u64>,
}

/// On which condition something is read.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct ReadHeaders {
    /// Entity tags that the caller holds already (RFC 9110, 13.1.2): with one of them, or `*`, the answer is 304.
    #[param(rename = "If-None-Match", example = "\"42\"")]
    pub if_none_match: Option<String>,
}

/// On which condition an edit is made.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct EditHeaders {
    /// Entity tags that the edit depends on, or `*` (RFC 9110, 13.1.1): when none is the current one the answer is 412
    /// and nothing changes. Weak tags never match. For the fixture itself only the part of the tag before the first
    /// `-`, the revision of its record, is compared, and that number alone will do.
    #[param(rename = "If-Match", example = "\"42\"")]
    pub if_match: Option<String>,
    /// Entity tags that must not be the current one (RFC 9110, 13.1.2); `*` asks that nothing was ever written there.
    #[param(rename = "If-None-Match", example = "*")]
    pub if_none_match: Option<String>,
}

/// That a request is carried out once only.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub struct OnceHeader {
    /// A key of the caller's own, 1 to 255 printable ASCII characters: a request repeated under the same key within a
    /// day is answered again, with `Idempotency-Replayed: true`, but not carried out again.
    #[param(rename = "Idempotency-Key", example = "7b0d9c52-5d0f-4c6e-9a53-4d0a0b6f2c11")]
    pub idempotency_key: Option<String>,
}

/// Which part of history.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct HistoryQuery {
    /// Not before this time (RFC 3339).
    #[param(example = "2026-11-20T00:00:00Z")]
    pub since: Option<String>,
    /// Before this time (RFC 3339).
    #[param(example = "2026-11-26T00:00:00Z")]
    pub until: Option<String>,
    /// Only what touched this place of the document (JSON Pointer, RFC 6901).
    #[param(example = "/looks/evening")]
    pub path: Option<String>,
    /// Only by this actor: the name of a token, `loopback`, `fixture:ID` or `sconced`.
    #[param(example = "loopback")]
    pub by: Option<String>,
    /// Only by this way.
    pub via: Option<Way>,
    /// Only of this document.
    pub document: Option<Paper>,
    /// `newest` first, also when left out, or `oldest` first.
    #[param(example = "newest", pattern = "^(newest|oldest)$")]
    pub order: Option<String>,
    /// How many changes a page has at most, 1 to 1000; 100 when left out.
    #[param(example = 100, minimum = 1, maximum = 1000)]
    pub limit: Option<u32>,
    /// Where the page begins: the `next` of the page before, with the same other parameters.
    #[param(example = "r1041")]
    pub cursor: Option<String>,
}
