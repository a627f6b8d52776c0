//! Checks of the electrical budget from outside: tables, worked numbers, faults, findings and laws.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod answers;
mod energies;
mod findings;
mod laws;
mod parts;
mod sheets;
mod strips;
mod wires;

use light::budget::{Budget, BuildSheet, LookLoad, UncheckedSheet, budget};
use serde_json::Value;

/// A sheet with nothing to complain about but what its test changes: full white within supply, fuse, wire and heat.
const SOUND: &str = r#"{
    "chip": "ws2812b", "pixels": 60, "pixels_per_metre": 30, "volts": 5.0, "supply_amps": 15.0, "fuse_amps": 5.0,
    "channel_milliamps": 20, "idle_milliamps": 1.0, "controller_milliamps": 0, "rail_ohms_per_metre": 0.05,
    "rail_amps": 8, "feed": {"mm2": 2.5, "metres": 1.0, "points": [0, 2.0], "connector_amps": 10},
    "capacitor_microfarads": 1000, "data_volts": 5.0, "data_metres": 0.3, "series_ohms": 330,
    "mounting": "aluminium", "enclosure": "open", "ambient_celsius": 25, "place": "dry", "relay": true,
    "layout": {"skip": 0, "runs": [[0, 59]]}}"#;

/// The example of the design.
const EXAMPLE: &str = r#"{"chip":"ws2812b","pixels":144,"pixels_per_metre":144,"volts":5.0,"supply_amps":10.0,"fuse_amps":10.0,"channel_milliamps":20,"idle_milliamps":1.0,"controller_milliamps":250,"rail_ohms_per_metre":0.1,"feed":{"mm2":1.5,"metres":1.5,"points":[0, 1.0],"connector_amps":10},"capacitor_microfarads":1000,"data_volts":3.3,"mounting":"aluminium","enclosure":"vented","ambient_celsius":25,"place":"dry","layout":{"skip":0,"runs":[[0,143]]}}"#;

fn table(name: &str) -> Vec<std::collections::HashMap<String, String>> {
    let path = format!("{}/../../tests/check-values/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

fn json_table(name: &str) -> Value {
    let path = format!("{}/../../tests/check-values/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn number(row: &std::collections::HashMap<String, String>, key: &str) -> f64 {
    row[key].parse().unwrap_or_else(|_| panic!("{key} of {row:?}"))
}

/// A sheet with some members put in, or taken out by null.
fn changed(base: &str, changes: Value) -> Value {
    let mut sheet: Value = serde_json::from_str(base).unwrap();
    merge(&mut sheet, changes);
    sheet
}

fn merge(target: &mut Value, patch: Value) {
    let Value::Object(patch) = patch else {
        *target = patch;
        return;
    };
    for (key, value) in patch {
        if value.is_null() {
            target.as_object_mut().unwrap().remove(&key);
        } else {
            if !target.get(&key).is_some_and(Value::is_object) || !value.is_object() {
                target[&key] = Value::Null;
            }
            if value.is_object() && target[&key].is_null() {
                target[&key] = serde_json::json!({});
            }
            merge(&mut target[&key], value);
        }
    }
}

fn sheet(value: Value) -> BuildSheet {
    serde_json::from_value::<UncheckedSheet>(value).unwrap().check().unwrap_or_else(|error| panic!("{error}"))
}

fn answer(base: &str, changes: Value) -> Budget {
    budget(&sheet(changed(base, changes)), &[])
}

fn look(name: &str, peak: &[f64]) -> LookLoad {
    LookLoad { name: name.to_owned(), peak: peak.to_vec(), mean: peak.to_vec(), profile: None }
}

fn close(a: f64, b: f64, tolerance: f64) {
    assert!((a - b).abs() <= tolerance, "{a} is not {b} within {tolerance}");
}
