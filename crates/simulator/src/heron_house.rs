//! Heron House, the demo's small guesthouse by a canal: reed-shaped tube lights in hall, stairs, landing, breakfast
//! room and jetty. The house, its people, looks and times are invented.

mod past;

use document::Value;
use serde_json::json;

use crate::Firmware;

pub use past::{InventedEdit, invented_edits};

/// One fixture of the demo, as it is before its invented past.
#[derive(Debug, Clone, PartialEq)]
pub struct DemoFixture {
    /// The fixture's id.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// The groups that it belongs to.
    pub groups: Vec<String>,
    /// Whether it hangs behind a wall switch, so that silence is normal.
    pub switched: bool,
    /// The size of firmware that its simulated controller runs.
    pub firmware: Firmware,
    /// Its desired document, of the `strip` kind.
    pub desired: Value,
}

/// The five fixtures of Heron House.
///
/// Late at night only the foot of each reed glows on the way to bed, so that guests find the stairs. The motion sensor
/// of the hall reports `motion`; the stairs keep a look named `footsteps` for it.
#[must_use]
pub fn heron_house() -> Vec<DemoFixture> {
    vec![
        fixture("hall", "Reeds in the hall", &["indoors", "way-to-bed"], false, Firmware::Agenda, hall()),
        fixture("stairs", "Reeds along the stairs", &["indoors", "way-to-bed"], false, Firmware::Patch, stairs()),
        fixture("landing", "Reed on the landing", &["indoors", "way-to-bed"], false, Firmware::Showing, landing()),
        fixture("breakfast-room", "Reeds by the breakfast table", &["indoors"], true, Firmware::Agenda, breakfast()),
        fixture("jetty", "Reeds on the jetty", &["waterside"], false, Firmware::Agenda, jetty()),
    ]
}

fn fixture(id: &str, title: &str, groups: &[&str], switched: bool, firmware: Firmware, desired: Value) -> DemoFixture {
    DemoFixture {
        id: id.to_owned(),
        title: title.to_owned(),
        groups: groups.iter().map(|&group| group.to_owned()).collect(),
        switched,
        firmware,
        desired,
    }
}

/// Only the foot of the reed: the look that a walkway keeps through the night.
fn foot_glow(intensity: u8) -> Value {
    json!({"kelvin": 2100, "intensity": intensity, "span": [0.0, 0.15]})
}

fn hall() -> Value {
    json!({
        "lit": true,
        "default": "arrival",
        "fade": 3.0,
        "floor": 6,
        "looks": {
            "arrival": {
                "colours": ["#f2c98a", "#d99a4e"],
                "intensity": 68,
                "motif": {"name": "swell", "seconds": 24, "softness": 0.9}
            },
            "foot-glow": foot_glow(14),
            "regatta": {
                "colours": ["teal", "white", "#e0563b"],
                "intensity": 75,
                "motif": {"name": "travel", "seconds": 9, "width": 0.3, "softness": 0.6, "toward": "end"}
            }
        },
        "timetable": [
            {"start": "sunset", "shift": "-PT20M", "look": "arrival", "not_before": "16:00"},
            {"start": "22:30", "days": ["mon", "tue", "wed", "thu", "sun"], "look": "foot-glow"},
            {"start": "23:30", "days": ["fri", "sat"], "look": "foot-glow"},
            {"start": "sunrise", "look": "dark"}
        ]
    })
}

fn stairs() -> Value {
    json!({
        "lit": true,
        "default": "handrail",
        "fade": 1.5,
        "floor": 8,
        "looks": {
            "handrail": {"kelvin": 2700, "intensity": 52},
            "foot-glow": foot_glow(12),
            "footsteps": {
                "kelvin": 2400,
                "intensity": 38,
                "motif": {"name": "unroll", "seconds": 2.5, "softness": 0.4, "toward": "end"}
            }
        },
        "timetable": [
            {"start": "sunset", "shift": "-PT20M", "look": "handrail"},
            {"start": "22:30", "look": "foot-glow"},
            {"start": "sunrise", "shift": "PT15M", "look": "dark"}
        ]
    })
}

fn landing() -> Value {
    json!({
        "lit": true,
        "default": "moonpath",
        "fade": 2.0,
        "floor": 6,
        "looks": {
            "moonpath": {
                "colours": ["#8fb7d9", "#c9d8e6"],
                "intensity": 40,
                "motif": {"name": "wander", "seconds": 90, "softness": 0.8, "seed": 5}
            },
            "foot-glow": foot_glow(10)
        },
        "timetable": [
            {"start": "dusk", "look": "moonpath"},
            {"start": "22:45", "look": "foot-glow"},
            {"start": "dawn", "look": "dark"}
        ]
    })
}

fn breakfast() -> Value {
    json!({
        "lit": true,
        "default": "dark",
        "fade": 4.0,
        "looks": {
            "first-coffee": {"kelvin": 3000, "intensity": 45},
            "table-laid": {"kelvin": 4000, "intensity": 82},
            "stove": {
                "colours": ["#ff9a3c", "#c8401a", "#7a1e0a"],
                "intensity": 34,
                "motif": {"name": "hearth", "seconds": 6, "softness": 0.7, "seed": 21}
            }
        },
        "timetable": [
            {"start": "06:15", "days": ["mon", "tue", "wed", "thu", "fri"], "look": "first-coffee"},
            {"start": "07:00", "days": ["sat", "sun"], "look": "first-coffee"},
            {"start": "sunrise", "look": "table-laid", "not_before": "07:20", "not_after": "08:00"},
            {"start": "10:45", "look": "dark"},
            {"start": "sunset", "look": "stove", "dates": ["11-15", "02-28"], "not_before": "16:30"},
            {"start": "22:00", "look": "dark"}
        ]
    })
}

fn jetty() -> Value {
    json!({
        "lit": true,
        "default": "mooring",
        "fade": 6.0,
        "looks": {
            "mooring": {"colours": ["hsl(174 48% 48%)"], "intensity": 58},
            "ripple": {
                "colours": ["#2f8f86", "#9fe0d4"],
                "intensity": 50,
                "motif": {"name": "travel", "seconds": 14, "width": 0.4, "softness": 1.0, "toward": "start"}
            },
            "frost-stars": {
                "colours": ["aliceblue", "#bcd7ff"],
                "intensity": 46,
                "motif": {"name": "glint", "seconds": 5, "width": 0.05, "softness": 0.5, "seed": 88}
            },
            "foot-glow": foot_glow(9)
        },
        "timetable": [
            {"start": "sunset", "look": "mooring"},
            {"start": "sunset", "look": "frost-stars", "dates": ["12-06", "01-06"]},
            {"start": "21:30", "days": ["fri", "sat"], "look": "ripple"},
            {"start": "23:50", "look": "foot-glow"},
            {"start": "dawn", "look": "dark"}
        ]
    })
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    const MOTIFS: [&str; 7] = ["steady", "swell", "travel", "unroll", "hearth", "glint", "wander"];

    #[test]
    fn the_five_fixtures_are_mixed_in_firmware_and_have_names_of_their_own() {
        let house = heron_house();
        let ids: BTreeSet<_> = house.iter().map(|fixture| fixture.id.as_str()).collect();
        assert_eq!(ids, BTreeSet::from(["hall", "stairs", "landing", "breakfast-room", "jetty"]));
        for firmware in [Firmware::Showing, Firmware::Agenda, Firmware::Patch] {
            assert!(house.iter().any(|fixture| fixture.firmware == firmware), "{firmware:?}");
        }
        assert!(house.iter().any(|fixture| fixture.switched));
    }

    #[test]
    fn every_document_is_within_the_bounds_and_refers_only_to_looks_that_it_has() {
        for fixture in heron_house() {
            let desired = &fixture.desired;
            document::check_document(desired).unwrap();
            let looks = desired["looks"].as_object().unwrap();
            let known = |name: &Value| name == "dark" || name.as_str().is_some_and(|name| looks.contains_key(name));
            assert!(known(&desired["default"]), "{}", fixture.id);
            for entry in desired["timetable"].as_array().unwrap() {
                assert!(known(&entry["look"]), "{}: {entry}", fixture.id);
                assert!(entry["start"].is_string(), "{}: {entry}", fixture.id);
            }
        }
    }

    #[test]
    fn every_look_has_either_colours_or_kelvin_and_a_motif_that_exists() {
        for fixture in heron_house() {
            for (name, look) in fixture.desired["looks"].as_object().unwrap() {
                let place = format!("{} {name}", fixture.id);
                assert!(look.get("colours").is_some() != look.get("kelvin").is_some(), "{place}");
                if let Some(motif) = look.get("motif") {
                    assert!(MOTIFS.contains(&motif["name"].as_str().unwrap()), "{place}");
                    // Slower than the three flashes a second of WCAG 2.3.1 by far.
                    assert!(motif["seconds"].as_f64().unwrap() >= 1.0, "{place}");
                }
            }
        }
    }
}
