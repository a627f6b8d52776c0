//! Laws of the budget over random sheets.

use light::budget::{Budget, LookLoad, budget, report};
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::sheet;

const CHIPS: [&str; 7] = ["ws2812b", "sk6812", "sk6812rgbw", "ws2815", "apa102", "sk9822", "ws2811"];

/// Any sheet that the rules allow, members present or not.
fn sheets() -> impl Strategy<Value = Value> {
    let strip = (0usize..7, 1u32..600, proptest::option::of(1.0f64..300.0), 0.75f64..1.2);
    let supply = (
        proptest::option::of(0.01f64..100.0),
        proptest::option::of(0.01f64..60.0),
        proptest::option::of(0.01f64..100.0),
        proptest::option::of(0.0f64..20.0),
        proptest::option::of(0.0f64..5000.0),
        proptest::option::of(0.001f64..50.0),
    );
    let wire = (
        proptest::option::of(0.0001f64..50.0),
        proptest::option::of(0.02f64..10.0),
        0u32..40,
        proptest::option::of(0.0f64..100.0),
        proptest::collection::vec(0.0f64..1.0, 1..5),
        proptest::option::of(0.01f64..40.0),
        proptest::option::of(0.01f64..40.0),
        any::<bool>(),
    );
    let rest = (
        proptest::option::of(0.0f64..100_000.0),
        proptest::option::of(0.5f64..12.0),
        proptest::option::of(0.0f64..20.0),
        proptest::option::of(0.0f64..5000.0),
        proptest::option::of(-60.0f64..120.0),
        0usize..5,
        0usize..3,
        0usize..4,
        any::<bool>(),
    );
    (strip, supply, wire, rest).prop_map(|(strip, supply, wire, rest)| {
        let mut sheet = json!({"chip": CHIPS[strip.0], "pixels": strip.1});
        let nominal = if strip.0 == 3 || strip.0 == 6 { 12.0 } else { 5.0 };
        let mut put = |key: &str, value: Option<Value>| {
            if let Some(value) = value {
                sheet[key] = value;
            }
        };
        put("pixels_per_metre", strip.2.map(Value::from));
        put("volts", Some(json!(nominal * strip.3)));
        put("supply_amps", supply.0.map(Value::from));
        put("fuse_amps", supply.1.map(Value::from));
        put("channel_milliamps", supply.2.map(Value::from));
        put("idle_milliamps", supply.3.map(Value::from));
        put("controller_milliamps", supply.4.map(Value::from));
        put("measured_white_amps", supply.5.map(Value::from));
        put("rail_ohms_per_metre", wire.0.map(Value::from));
        put("capacitor_microfarads", rest.0.map(Value::from));
        put("data_volts", rest.1.map(Value::from));
        put("data_metres", rest.2.map(Value::from));
        put("series_ohms", rest.3.map(Value::from));
        put("ambient_celsius", rest.4.map(Value::from));
        put("mounting", Some(json!(["aluminium", "wood", "plastic", "glass", "free-air"][rest.5])));
        put("enclosure", Some(json!(["open", "vented", "sealed"][rest.6])));
        put("place", Some(json!(["dry", "damp", "wet", "outdoor"][rest.7])));
        put("relay", Some(json!(rest.8)));
        let metres = strip.2.map(|density| f64::from(strip.1) / density);
        let mut points: Vec<f64> = wire.4.iter().map(|part| part * metres.unwrap_or(1.0)).collect();
        points.dedup();
        let mut feed = json!({"points": points});
        if wire.7 {
            feed["awg"] = json!(wire.2);
        } else if let Some(area) = wire.1 {
            feed["mm2"] = json!(area);
        }
        for (key, value) in [("metres", wire.3), ("connector_amps", wire.5), ("fuse_amps", wire.6)] {
            if let Some(value) = value {
                feed[key] = json!(value);
            }
        }
        sheet["feed"] = feed;
        sheet
    })
}

fn looks() -> impl Strategy<Value = Vec<LookLoad>> {
    let look = (
        proptest::collection::vec(0.0f64..=1.0, 0..5),
        proptest::option::of(proptest::collection::vec(0.0f64..10.0, 0..20)),
    );
    proptest::collection::vec(look, 0..3).prop_map(|looks| {
        let each = |(index, (peak, profile)): (usize, (Vec<f64>, Option<Vec<f64>>))| LookLoad {
            name: format!("look {index}"),
            mean: peak.iter().map(|duty| duty * 0.5).collect(),
            peak,
            profile,
        };
        looks.into_iter().enumerate().map(each).collect()
    })
}

/// Every number in the JSON is a number: what is not finite would be written as null.
fn no_nulls(value: &Value, place: &str) {
    match value {
        Value::Null => panic!("{place} is not finite"),
        Value::Array(items) => items.iter().enumerate().for_each(|(at, item)| no_nulls(item, &format!("{place}/{at}"))),
        Value::Object(members) => members.iter().for_each(|(key, item)| no_nulls(item, &format!("{place}/{key}"))),
        _ => {}
    }
}

fn volts(answer: &Budget) -> Vec<f64> {
    let along = answer.voltage.along.iter().map(|(_, volts)| *volts);
    let looks = answer.looks.values().map(|look| look.minimum_volts);
    let ways = answer.alternatives.iter().flat_map(|way| [way.full_white.minimum, way.at_ceiling.minimum]);
    along.chain(looks).chain(ways).chain([answer.voltage.minimum, answer.voltage.at_ceiling.minimum]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    #[test]
    fn every_number_is_finite_and_within_its_bounds((sheet_json, looks) in (sheets(), looks())) {
        let sheet = sheet(sheet_json);
        let answer = budget(&sheet, &looks);
        no_nulls(&serde_json::to_value(&answer).unwrap(), "");
        for limit in &answer.ceiling.limits {
            prop_assert!(answer.ceiling.amps <= limit.amps + 1e-9, "{:?}", answer.ceiling);
        }
        prop_assert!(answer.ceiling.amps >= 0.0);
        for volts in volts(&answer) {
            prop_assert!(volts >= 0.0 && volts <= answer.strip.volts + 1e-6, "{volts}");
        }
        let carried: f64 = answer.branches.iter().map(|branch| branch.full_white_amps).sum();
        let full = answer.full_white.amps;
        prop_assert!((carried - full).abs() <= 1e-6 * (answer.branches.len() as f64 + full), "{carried} of {full}");
        for look in answer.looks.values() {
            let most = answer.ceiling.amps.max(answer.full_white.idle_amps);
            prop_assert!(look.shown_amps <= most + 1e-5, "{look:?} {:?}", answer.ceiling);
            prop_assert!(look.mean_amps <= look.peak_amps + 1e-6);
        }
        let text = report(&answer, 80);
        prop_assert!(text.lines().all(|line| line.chars().count() <= 80));
    }

    #[test]
    fn one_more_feed_point_never_lowers_the_least_voltage((sheet_json, part) in (sheets(), 0.0f64..1.0)) {
        let fewer = sheet(sheet_json.clone());
        let before = budget(&fewer, &[]);
        let mut more = sheet_json;
        let point = part * before.strip.metres;
        let points = more["feed"]["points"].as_array_mut().unwrap();
        prop_assume!(!points.iter().any(|each| (each.as_f64().unwrap() - point).abs() < 1e-6));
        points.push(json!(point));
        // The pitch must not follow the farthest point.
        more["pixels_per_metre"] = json!(f64::from(fewer.pixels) / before.strip.metres);
        let after = budget(&sheet(more), &[]);
        let (before, after) = (before.voltage.minimum, after.voltage.minimum);
        prop_assert!(after >= before - 1e-4, "{after} after {before}");
    }

    #[test]
    fn at_the_ceiling_no_look_puts_more_on_a_branch_than_its_wire_and_connector_carry(sheet_json in sheets()) {
        // Idle cannot be cut, so a ceiling below it promises nothing: here there is none.
        let mut sheet_json = sheet_json;
        sheet_json["idle_milliamps"] = json!(0);
        let sheet = sheet(sheet_json);
        let answer = budget(&sheet, &[]);
        for branch in &answer.branches {
            prop_assert!(branch.ceiling_amps <= branch.worst_amps + 2e-6, "{branch:?}");
            prop_assert!(branch.worst_amps <= answer.feed_wire.ampacity_amps + 1e-5, "{branch:?}");
            if let Some(connector) = sheet.feed.as_ref().and_then(|feed| feed.connector_amps) {
                prop_assert!(branch.worst_amps <= connector + 1e-5, "{branch:?}");
            }
        }
    }
}
