//! Fixtures: how they are made, what they look like from outside, how they stand.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How a fixture stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// It has applied the newest revision, and what it reports agrees with it.
    InStep,
    /// It is there, but has not applied the newest revision, or reports something else.
    Behind,
    /// Its connection is gone.
    Silent,
    /// Nothing was ever heard of it.
    NeverHeard,
}

/// Why a controller started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BootReason {
    /// Power came on.
    PowerOn,
    /// The supply sagged below what the controller needs.
    Brownout,
    /// The controller hung and its watchdog started it anew.
    Watchdog,
    /// The firmware started itself anew.
    Software,
}

/// A place on earth with its time zone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Place {
    /// Degrees north of the equator, -90 to 90.
    #[schema(example = 52.37, minimum = -90, maximum = 90)]
    pub latitude: f64,
    /// Degrees east of Greenwich, -180 to 180.
    #[schema(example = 4.9, minimum = -180, maximum = 180)]
    pub longitude: f64,
    /// An IANA time zone.
    #[schema(example = "Europe/Amsterdam")]
    pub zone: String,
}

/// A fixture to be made: its id and what its record says. Everything but the id may be left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NewFixture {
    /// Its id, also its MQTT user name and the level of its topics: 1 to 64 of a-z, 0-9 and `-`, beginning and ending
    /// with a letter or digit. It cannot be changed later.
    #[schema(example = "hall", pattern = "^[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?$")]
    pub id: String,
    /// What people call it, 1 to 200 bytes; left out, the id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "Reeds in the hall")]
    pub title: Option<String>,
    /// What it is: `strip` (also when left out), `free`, or a kind of the owner's; see `/v1/kinds`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "strip")]
    pub kind: Option<String>,
    /// The groups that it is in: at most 64 names of the form of an id, each once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["indoors", "way-to-bed"]), max_items = 64)]
    pub groups: Option<Vec<String>>,
    /// Whether it hangs behind a wall switch, so that its silence is normal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = false)]
    pub switched: Option<bool>,
    /// Its own place in place of the site's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// JSON Pointers of members of the reported document that change on their own: they make no history and do not
    /// count for the delta. Left out: `/rssi` and `/uptime`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["/rssi", "/uptime"]), max_items = 32)]
    pub volatile: Option<Vec<String>>,
    /// Free words, at most 4,000 bytes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "144 pixels, fed from both ends")]
    pub notes: Option<String>,
}

/// What the owner wants, in short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct DesiredState {
    /// The revision of the desired document; 0 when nothing was ever asked of the fixture.
    #[schema(example = 42)]
    pub rev: u64,
    /// When it came to that revision (RFC 3339); null at revision 0.
    #[schema(example = "2026-11-25T20:00:00Z")]
    pub at: Option<String>,
}

/// What the fixture says it has, in short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReportedState {
    /// The revision of the desired document that it says it has applied; 0 for none.
    #[schema(example = 42)]
    pub applied: u64,
    /// When it said so (RFC 3339); null when it never did.
    #[schema(example = "2026-11-25T20:00:01Z")]
    pub applied_at: Option<String>,
    /// The revision of the reported document; 0 when it never reported.
    #[schema(example = 39)]
    pub rev: u64,
    /// When the reported document came to that revision (RFC 3339); null at revision 0.
    #[schema(example = "2026-11-25T20:00:01Z")]
    pub at: Option<String>,
}

/// The last boot that a fixture told of.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LastBoot {
    /// When it was heard (RFC 3339).
    #[schema(example = "2026-11-25T19:58:00Z")]
    pub at: String,
    /// Why the controller started.
    pub reason: BootReason,
    /// The revision that it held when it started, 0 for none.
    #[schema(example = 0)]
    pub have: u64,
    /// Its firmware's version, as it says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "2.1.0")]
    pub firmware: Option<String>,
    /// How often it has started, as it counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = 40)]
    pub boots: Option<u64>,
    /// Signal strength in dBm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = -61)]
    pub rssi: Option<i64>,
}

/// A fixture: its record, and how it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Fixture {
    /// Its id.
    #[schema(example = "hall")]
    pub id: String,
    /// What people call it.
    #[schema(example = "Reeds in the hall")]
    pub title: String,
    /// What kind of fixture it is.
    #[schema(example = "strip")]
    pub kind: String,
    /// The groups that it is in.
    #[schema(example = json!(["indoors", "way-to-bed"]))]
    pub groups: Vec<String>,
    /// Whether it hangs behind a wall switch, so that its silence is normal.
    #[schema(example = false)]
    pub switched: bool,
    /// Its own place in place of the site's, if it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// JSON Pointers of members of the reported document that make no history, if the owner named any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = json!(["/rssi", "/uptime"]))]
    pub volatile: Option<Vec<String>>,
    /// Free words, if there are any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "144 pixels, fed from both ends")]
    pub notes: Option<String>,
    /// When it was made (RFC 3339).
    #[schema(example = "2026-11-01T10:00:00Z")]
    pub created: String,
    /// When its present secret was made (RFC 3339); null while it is not enrolled.
    #[schema(example = "2026-11-01T10:05:00Z")]
    pub enrolled: Option<String>,
    /// The revision of its record, which is what `PATCH` and `DELETE` of the fixture depend on.
    #[schema(example = 3)]
    pub rev: u64,
    /// What the owner wants.
    pub desired: DesiredState,
    /// What it says it has.
    pub reported: ReportedState,
    /// How it stands.
    pub standing: Standing,
    /// What its `alive` topic says; null when it never said anything there.
    #[schema(example = true)]
    pub alive: Option<bool>,
    /// When it was last heard (RFC 3339); null when it never was.
    #[schema(example = "2026-11-25T20:00:01Z")]
    pub heard: Option<String>,
    /// Its last boot; null when it told of none.
    pub boot: Option<LastBoot>,
    /// How many boots were heard of it in all.
    #[schema(example = 40)]
    pub boots_heard: u64,
}

/// A page of fixtures, by id.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Fixtures {
    /// The fixtures.
    pub fixtures: Vec<Fixture>,
    /// The `cursor` of the next page, also in the `Link` header; null on the last page.
    #[schema(example = "ahall")]
    pub next: Option<String>,
}
