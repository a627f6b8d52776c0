//! Some weeks of invented edits, the same at every call, so that the demo has a past to look at.

use document::Value;
use serde_json::json;

use super::heron_house;
use crate::randomness::Randomness;

/// One edit of the invented past.
#[derive(Debug, Clone, PartialEq)]
pub struct InventedEdit {
    /// How long ago it was made, in milliseconds before now.
    pub days_ago_ms: u64,
    /// The id of the fixture.
    pub fixture: String,
    /// The merge patch (RFC 7396) to its desired document.
    pub patch: Value,
    /// Who made it: a person of the house, or the fixture's own id when it was made at its button.
    pub by: String,
}

const DAY_MS: u64 = 86_400_000;
const HOUR_MS: u64 = 3_600_000;
/// No more days than this are invented, which bounds the edits to a few hundred.
const MOST_DAYS: u32 = 60;
/// Any number would do; it only has to stay the same.
const SEED: u64 = 1_764_060_000;

/// The invented edits of the last `days` days, oldest first, each later than the one before and all in the past. More
/// than 60 days give 60.
///
/// Each is a merge patch to a document of [`heron_house`] with the earlier edits made, changes something, and leaves a
/// document that is valid. When all are made, every override is released and every fixture is lit.
#[must_use]
pub fn invented_edits(days: u32) -> Vec<InventedEdit> {
    let mut random = Randomness::seeded(SEED);
    let mut edits = Vec::new();
    for days_ago in (1..=days.min(MOST_DAYS)).rev() {
        // One story a day and fixture at the most, each within its own hours, so stories never cross.
        for slot in 0..random.below(4) {
            tell(&mut random, u64::from(days_ago), slot, &mut edits);
        }
    }
    only_real_changes(edits)
}

/// Tells one story: an edit, or an edit and its taking back, within five hours of that day.
fn tell(random: &mut Randomness, days_ago: u64, slot: u64, edits: &mut Vec<InventedEdit>) {
    let begins = days_ago * DAY_MS - slot * 6 * HOUR_MS - random.below(HOUR_MS);
    let ends = begins - HOUR_MS - random.below(3 * HOUR_MS);
    let person = pick(random, &["Maren", "Tobias", "Ilse"]);
    let mut edit = |days_ago_ms: u64, fixture: &str, patch: Value, by: &str| {
        edits.push(InventedEdit { days_ago_ms, fixture: fixture.to_owned(), patch, by: by.to_owned() });
    };
    match random.below(6) {
        0 | 1 => {
            let (fixture, look, least) = pick(random, &DIMMED);
            let intensity = least + random.below(18);
            edit(begins, fixture, json!({"looks": {look: {"intensity": intensity}}}), person);
        }
        2 => {
            let (fixture, look) = pick(random, &FOR_AN_EVENING);
            edit(begins, fixture, json!({"override": {"look": look}}), person);
            edit(ends, fixture, json!({"override": null}), person);
        }
        3 => {
            let fixture = pick(random, &["hall", "landing", "breakfast-room", "jetty"]);
            edit(begins, fixture, json!({"lit": false}), fixture);
            edit(ends, fixture, json!({"lit": true}), fixture);
        }
        4 => {
            let (fixture, look, colours) = pick(random, &RECOLOURED);
            edit(begins, fixture, json!({"looks": {look: {"colours": colours}}}), person);
        }
        _ => {
            let fixture = pick(random, &["hall", "stairs", "landing", "jetty"]);
            let fade = 1 + random.below(6);
            edit(begins, fixture, json!({"fade": fade}), person);
        }
    }
}

/// Looks whose intensity is tried out, with the least that is tried.
const DIMMED: [(&str, &str, u64); 6] = [
    ("hall", "arrival", 58),
    ("hall", "foot-glow", 8),
    ("stairs", "handrail", 44),
    ("landing", "moonpath", 32),
    ("breakfast-room", "table-laid", 70),
    ("jetty", "mooring", 48),
];

/// Looks that somebody wanted for an evening.
const FOR_AN_EVENING: [(&str, &str); 4] =
    [("hall", "regatta"), ("jetty", "ripple"), ("breakfast-room", "stove"), ("stairs", "handrail")];

/// Colours that were tried and changed again.
const RECOLOURED: [(&str, &str, &[&str]); 6] = [
    ("hall", "arrival", &["#f2c98a", "#d99a4e"]),
    ("hall", "arrival", &["#f5d6a0", "#c9864a", "#f2c98a"]),
    ("landing", "moonpath", &["#8fb7d9", "lavender"]),
    ("landing", "moonpath", &["#8fb7d9", "#c9d8e6"]),
    ("jetty", "mooring", &["mediumaquamarine"]),
    ("jetty", "mooring", &["hsl(174 48% 48%)"]),
];

fn pick<Item: Copy + Default>(random: &mut Randomness, items: &[Item]) -> Item {
    let at = random.below(items.len() as u64);
    items.get(usize::try_from(at).unwrap_or_default()).copied().unwrap_or_default()
}

/// Leaves out what would change nothing: such an edit makes no revision, so it would leave no trace.
fn only_real_changes(edits: Vec<InventedEdit>) -> Vec<InventedEdit> {
    let mut documents: Vec<(String, Value)> =
        heron_house().into_iter().map(|fixture| (fixture.id, fixture.desired)).collect();
    let mut changes_something = |edit: &InventedEdit| {
        let Some((_, document)) = documents.iter_mut().find(|(id, _)| *id == edit.fixture) else {
            return false;
        };
        let before = document.clone();
        document::merge(document, &edit.patch);
        !document::equal(&before, document)
    };
    edits.into_iter().filter(|edit| changes_something(edit)).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    fn documents() -> BTreeMap<String, Value> {
        heron_house().into_iter().map(|fixture| (fixture.id, fixture.desired)).collect()
    }

    #[test]
    fn the_past_is_the_same_at_every_call_and_some_hundreds_at_the_most() {
        for days in [0, 1, 21, 60, 365] {
            let edits = invented_edits(days);
            assert_eq!(edits, invented_edits(days));
            assert!(edits.len() <= 360, "{} edits in {days} days", edits.len());
        }
        assert!(invented_edits(0).is_empty());
        assert!(invented_edits(21).len() > 20);
    }

    #[test]
    fn times_increase_and_lie_in_the_past_within_the_days_asked_for() {
        let edits = invented_edits(60);
        assert!(edits.windows(2).all(|pair| pair[0].days_ago_ms > pair[1].days_ago_ms));
        assert!(edits.iter().all(|edit| edit.days_ago_ms > 0 && edit.days_ago_ms <= 60 * DAY_MS));
    }

    #[test]
    fn every_edit_changes_something_and_names_only_looks_that_exist() {
        let mut documents = documents();
        for edit in invented_edits(60) {
            let document = documents.get_mut(&edit.fixture).unwrap();
            let before = document.clone();
            document::merge(document, &edit.patch);
            assert!(!document::equal(&before, document), "{edit:?}");
            document::check_document(document).unwrap();
            let looks = document["looks"].as_object().unwrap();
            if let Some(name) = document.pointer("/override/look").and_then(Value::as_str) {
                assert!(looks.contains_key(name), "{edit:?}");
            }
            for look in looks.values() {
                let intensity = look["intensity"].as_f64().unwrap();
                assert!((0.0..=100.0).contains(&intensity), "{edit:?}");
                assert!(look.get("colours").is_some() != look.get("kelvin").is_some(), "{edit:?}");
            }
        }
        for (id, document) in documents {
            assert_eq!(document["lit"], json!(true), "{id}");
            assert!(document.get("override").is_none(), "{id}");
        }
    }

    #[test]
    fn every_kind_of_edit_occurs_in_three_weeks() {
        let edits = invented_edits(21);
        let has = |pointer: &str| edits.iter().any(|edit| edit.patch.pointer(pointer).is_some());
        assert!(has("/override/look") && has("/lit") && has("/looks") && has("/fade"));
        assert!(edits.iter().any(|edit| edit.by == edit.fixture), "none at a button");
    }
}
