//! The desired document of a strip, described for readers. The daemon reads documents by its own rules, which name the
//! place of every fault; these types say what they are.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The desired document of a fixture of the kind `strip`. All members are optional. Members that are not known here
/// are kept for the firmware and flagged in `advice`. At most 8,192 bytes as compact JSON, 16 levels, 512 members.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct StripDocument {
    /// Whether it is lit at all; true when left out.
    #[schema(example = true)]
    pub lit: Option<bool>,
    /// The name of the look for when nothing else holds; left out, nothing is lit then.
    #[schema(example = "evening")]
    pub default: Option<String>,
    /// How long it takes from one look to the next, in seconds, 0 to 3600.
    #[schema(example = 2.0, minimum = 0, maximum = 3600)]
    pub fade: Option<f64>,
    /// The least intensity that a walkway keeps in the dark hours, 0 to 100; 0 for none.
    #[schema(example = 8.0, minimum = 0, maximum = 100)]
    pub floor: Option<f64>,
    /// The looks by name, at most 64. `dark` is built in: nothing lit.
    pub looks: Option<BTreeMap<String, LookDocument>>,
    /// Which look from when.
    pub timetable: Option<Vec<TimetableEntry>>,
    /// The owner's look in place of the timetable.
    #[serde(rename = "override")]
    pub owners_override: Option<OverrideDocument>,
}

/// A look: a named appearance. It has `colours` or `kelvin`, not both.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LookDocument {
    /// 1 to 8 CSS Color 4 texts (hex, name, rgb(), hsl()); several are spread along the span.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["#3fb6a8"]), min_items = 1, max_items = 8)]
    pub colours: Option<Vec<String>>,
    /// White light of this colour temperature in kelvin, 1000 to 12000.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 2400.0, minimum = 1000, maximum = 12000)]
    pub kelvin: Option<f64>,
    /// How bright it is to the eye, 0 to 100; 100 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 70.0, minimum = 0, maximum = 100)]
    pub intensity: Option<f64>,
    /// The part of the length that is lit, from and to, 0 to 1; the whole when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!([0.0, 0.2]))]
    pub span: Option<[f64; 2]>,
    /// How the light moves; it stands still when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub motif: Option<MotifDocument>,
}

/// How light moves over the strip. Nothing flashes more than three times a second.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MotifDocument {
    /// One of `steady`, `swell` (the whole rises and falls), `travel` (a lit stretch moves along), `unroll` (it lights
    /// up from one end), `hearth` (restless like embers), `glint` (single points flash up), `wander` (the colour drifts
    /// through its list).
    #[schema(example = "unroll")]
    pub name: String,
    /// The period in seconds, 0.4 to 3600.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 1.5, minimum = 0.4, maximum = 3600)]
    pub seconds: Option<f64>,
    /// How much of the span the lit stretch takes, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 0.25, minimum = 0, maximum = 1)]
    pub width: Option<f64>,
    /// Hard edges (0) to the softest (1).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 0.5, minimum = 0, maximum = 1)]
    pub softness: Option<f64>,
    /// Which end it moves to: `end` or `start`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "start")]
    pub toward: Option<String>,
    /// What sets apart two fixtures that would otherwise move alike, 0 to 65535.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 7)]
    pub seed: Option<u16>,
}

/// An entry of the timetable: which look from when. The entry whose instant is the latest not after now holds.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TimetableEntry {
    /// Wall time `HH:MM` or `HH:MM:SS`, or `sunrise`, `sunset`, `dawn`, `dusk`.
    #[schema(example = "sunset")]
    pub start: String,
    /// A signed RFC 5545 duration of at most 12 hours that shifts the start.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "-PT30M")]
    pub shift: Option<String>,
    /// The name of the look.
    #[schema(example = "evening")]
    pub look: String,
    /// On which days of the week: `mon`, `tue`, `wed`, `thu`, `fri`, `sat`, `sun`; all when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["fri", "sat"]))]
    pub days: Option<Vec<String>>,
    /// From which to which day of the year, month and day, both included; may run over the turn of the year.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["12-01", "01-06"]))]
    pub dates: Option<[String; 2]>,
    /// Not before this wall time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "16:30")]
    pub not_before: Option<String>,
    /// Not after this wall time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "22:00")]
    pub not_after: Option<String>,
}

/// The owner's look in place of the timetable.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OverrideDocument {
    /// The name of a look, or a look of its own.
    pub look: InlineOrNamedLook,
    /// When it ends: an RFC 3339 time or `next-change`; left out, it holds until it is released.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "2026-11-25T22:00:00Z")]
    pub until: Option<String>,
}

/// The name of a look, or a look of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum InlineOrNamedLook {
    /// The name of a look of the fixture, or `dark`.
    Named(String),
    /// A look of its own.
    Inline(LookDocument),
}
