//! History: every accepted change, with the patch there and back.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// Which of a fixture's documents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// The record: title, kind, groups …
    Fixture,
    /// What the owner wants.
    Desired,
    /// What the fixture says it has.
    Reported,
}

/// The way by which a change came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// The HTTP API.
    Http,
    /// The page in a browser.
    Page,
    /// The command line.
    Cli,
    /// A fixture's own message.
    Mqtt,
    /// The daemon itself, such as an override that has ended.
    Daemon,
    /// Invented data of the demo.
    Demo,
}

/// One change.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Change {
    /// Its number; later changes have higher ones.
    #[schema(example = 1042)]
    pub id: i64,
    /// The fixture.
    #[schema(example = "hall")]
    pub fixture: String,
    /// Which document changed.
    pub document: Paper,
    /// The revision that the document came to.
    #[schema(example = 42)]
    pub rev: u64,
    /// When (RFC 3339).
    #[schema(example = "2026-11-25T20:00:00Z")]
    pub at: String,
    /// Who: the name of a token, `loopback`, `fixture:ID` or `sconced`.
    #[schema(example = "loopback")]
    pub by: String,
    /// By which way.
    pub via: Way,
    /// What it was a part of, if of something larger.
    #[schema(example = json!(null))]
    pub cause: Option<String>,
    /// The merge patch (RFC 7396) from the revision before; null when the fixture was taken away.
    #[schema(value_type = Value, example = json!({"looks": {"evening": {"intensity": 60}}}))]
    pub patch: Value,
    /// The merge patch back to the revision before.
    #[schema(value_type = Value, example = json!({"looks": {"evening": {"intensity": 70}}}))]
    pub inverse: Value,
}

/// A page of history.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HistoryPage {
    /// The changes in the order that was asked for. A page may be short, even empty, and still have a next one.
    pub changes: Vec<Change>,
    /// The `cursor` of the next page, also in the `Link` header; null on the last page.
    #[schema(example = "r1041")]
    pub next: Option<String>,
}
