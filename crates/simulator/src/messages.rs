//! The payloads that a fixture reads and writes.

use document::Value;
use serde::Deserialize;
use serde_json::{Map, json};

/// Why a controller booted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BootReason {
    /// The power came back.
    PowerOn,
    /// The supply sagged.
    Brownout,
    /// The firmware hung and was restarted.
    Watchdog,
    /// The firmware restarted itself.
    Software,
}

impl BootReason {
    /// The reason as the `boot` message spells it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::PowerOn => "power-on",
            Self::Brownout => "brownout",
            Self::Watchdog => "watchdog",
            Self::Software => "software",
        }
    }
}

/// `desired`: the whole.
#[derive(Debug, Deserialize)]
pub(crate) struct Desired {
    pub(crate) rev: u64,
    pub(crate) now_ms: u64,
    pub(crate) document: Value,
    #[serde(default)]
    pub(crate) agenda: Vec<(u64, String)>,
    /// The dark hours, for a document with a floor.
    #[serde(default)]
    pub(crate) dark: Option<Vec<(u64, u64)>>,
    #[serde(default)]
    pub(crate) ceiling_milliamps: Option<u64>,
}

/// `patch`: from one revision to the next.
#[derive(Debug, Deserialize)]
pub(crate) struct Patch {
    pub(crate) from: u64,
    pub(crate) rev: u64,
    pub(crate) patch: Value,
}

/// The part of `showing` that the rules need; the payload itself is kept as it came.
#[derive(Debug, Deserialize)]
pub(crate) struct Showing {
    pub(crate) rev: u64,
    pub(crate) now_ms: u64,
    pub(crate) look: String,
    #[serde(default)]
    pub(crate) ceiling_milliamps: Option<u64>,
}

pub(crate) fn boot(reason: BootReason, have: u64, boots: u64, rssi: i32) -> String {
    json!({"reason": reason.as_str(), "have": have, "firmware": "sim-1.0", "boots": boots, "rssi": rssi}).to_string()
}

pub(crate) fn ask(have: u64) -> String {
    json!({ "have": have }).to_string()
}

/// A report with a patch says what the fixture has; one without says that the revision was applied as it was given.
pub(crate) fn reported(rev: u64, patch: Option<&Value>) -> String {
    match patch {
        Some(patch) => json!({"rev": rev, "patch": patch}),
        None => json!({ "rev": rev }),
    }
    .to_string()
}

/// What the strip draws, beside the document that was applied.
pub(crate) fn reported_current(rev: u64, milliamps: u64) -> String {
    json!({"rev": rev, "patch": {"milliamps": milliamps}}).to_string()
}

pub(crate) fn event(name: &str, n: u64) -> String {
    json!({"event": name, "n": n}).to_string()
}

/// The wish with its number. A wish that is no object is sent as it is, so that a faulty button can be played.
pub(crate) fn wish(wish: Value, n: u64) -> String {
    match wish {
        Value::Object(members) => {
            let mut numbered = Map::new();
            numbered.insert("n".to_owned(), Value::from(n));
            numbered.extend(members.into_iter().filter(|(name, _)| name != "n"));
            Value::Object(numbered).to_string()
        }
        other => other.to_string(),
    }
}

pub(crate) const ALIVE: &str = r#"{"alive":true}"#;
pub(crate) const NOT_ALIVE: &str = r#"{"alive":false}"#;

#[cfg(test)]
mod tests {
    use super::*;

    fn value(text: &str) -> Value {
        serde_json::from_str(text).unwrap()
    }

    #[test]
    fn the_payloads_have_the_members_of_the_contract() {
        let boot = value(&boot(BootReason::PowerOn, 0, 40, -61));
        assert_eq!(boot, json!({"reason": "power-on", "have": 0, "firmware": "sim-1.0", "boots": 40, "rssi": -61}));
        assert_eq!(value(&ask(17)), json!({"have": 17}));
        assert_eq!(value(&reported(3, None)), json!({"rev": 3}));
        assert_eq!(value(&reported(3, Some(&json!({"lit": true})))), json!({"rev": 3, "patch": {"lit": true}}));
        assert_eq!(value(&reported_current(3, 812)), json!({"rev": 3, "patch": {"milliamps": 812}}));
        assert_eq!(value(&event("motion", 12)), json!({"event": "motion", "n": 12}));
        assert_eq!(value(&wish(json!({"lit": false, "n": 99}), 3)), json!({"n": 3, "lit": false}));
        assert_eq!(value(ALIVE), json!({"alive": true}));
        assert_eq!(value(NOT_ALIVE), json!({"alive": false}));
    }

    #[test]
    fn a_desired_message_may_leave_out_agenda_dark_hours_and_ceiling() {
        let read: Desired = serde_json::from_str(r#"{"rev":1,"now_ms":2,"document":{}}"#).unwrap();
        assert!(read.agenda.is_empty() && read.dark.is_none() && read.ceiling_milliamps.is_none());
        assert!(serde_json::from_str::<Desired>(r#"{"rev":-1,"now_ms":2,"document":{}}"#).is_err());
    }
}
