//! What a fixture should show, and what comes next.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

/// Why a fixture shows what it shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Because {
    /// The document says that it is not lit.
    Unlit,
    /// The owner's override holds.
    Override,
    /// A link runs.
    Link,
    /// The timetable says so.
    Timetable,
    /// Nothing else holds, and the document has a default.
    Default,
    /// Nothing holds.
    Dark,
}

/// What a fixture should show at an instant, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Showing {
    /// The revision of the desired document that says so.
    #[schema(example = 42)]
    pub rev: u64,
    /// The instant (RFC 3339).
    #[schema(example = "2026-11-25T20:00:00Z")]
    pub at: String,
    /// The name of the look; `dark` for nothing lit, `override` for an override with a look of its own.
    #[schema(example = "evening")]
    pub look: String,
    /// Why it shows.
    pub because: Because,
    /// Since when (RFC 3339); null where that cannot be told.
    #[schema(example = "2026-11-25T15:12:00Z")]
    pub since: Option<String>,
    /// Until when (RFC 3339), the instant itself not included: the first at which `look`, `because` or `floored` is
    /// another; null while no change is foreseen.
    #[schema(example = "2026-11-25T22:45:00Z")]
    pub until: Option<String>,
    /// Whether the document's `floor` is kept beneath it: from sunset to sunrise at the fixture's place, unless it is
    /// not lit.
    #[schema(example = false)]
    pub floored: bool,
    /// The index in `timetable`, counted from 0, of the entry that shows; null if `because` is another.
    #[schema(example = 0)]
    pub entry: Option<u32>,
    /// The id of the link that shows; null if `because` is another.
    #[schema(example = json!(null))]
    pub link: Option<String>,
    /// For each colour the linear duty of red, green and blue (and white, where the chip has it), 0 to 65535, intensity
    /// applied.
    #[schema(example = json!([[12850, 46774, 40349]]))]
    pub channels: Vec<Vec<u16>>,
    /// The linear duty of red, green and blue (and white, where the chip has it), 0 to 65535, below which no pixel of
    /// the whole length goes; null unless `floored`.
    #[schema(example = json!(null))]
    pub floor: Option<Vec<u16>>,
    /// The lit part of the length, 0 to 65535 for 0 to 1.
    #[schema(example = json!([0, 65535]))]
    pub span: [u16; 2],
    /// The motif: its name, and for all but `steady` period in milliseconds, width and softness (0 to 65535), toward,
    /// seed.
    #[schema(value_type = Vec<Value>, example = json!(["unroll", 1500, 16384, 32768, "start", 0]))]
    pub motif: Vec<Value>,
    /// How long the fade to this look takes, in milliseconds.
    #[schema(example = 2000)]
    pub fade_ms: u32,
}

/// One change of what shows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AgendaChange {
    /// From when (RFC 3339). The first change is the one that holds at the beginning, so it may lie before it.
    #[schema(example = "2026-11-25T22:45:00Z")]
    pub at: String,
    /// The name of the look.
    #[schema(example = "late")]
    pub look: String,
    /// Why it shows.
    pub because: Because,
    /// Until when (RFC 3339); null while no change is foreseen.
    #[schema(example = "2026-11-26T06:40:00Z")]
    pub until: Option<String>,
    /// Whether the document's `floor` is kept beneath it.
    #[schema(example = false)]
    pub floored: bool,
}

/// The changes of what a fixture shows in a span of time, without a gap.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Agenda {
    /// The revision of the desired document that says so.
    #[schema(example = 42)]
    pub rev: u64,
    /// The changes in the order of time.
    pub changes: Vec<AgendaChange>,
}
