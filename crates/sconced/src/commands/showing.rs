//! `showing`: what a fixture should show at an instant, and why.

use serde_json::Value;

use super::{daemon, time_text};
use crate::arguments::{Common, Showing};
use crate::error::Failure;
use crate::output::{Output, shown, shown_time};

/// `sconced showing`.
pub(super) fn showing(arguments: &Showing, common: &Common, out: Output) -> Result<(), Failure> {
    let mut query = Vec::new();
    if let Some(at) = &arguments.at {
        query.push(("at", time_text(at)?));
    }
    let showing = daemon(common)?.get(&format!("/v1/fixtures/{}/showing", arguments.id), &query)?.json()?;
    if out.json {
        return out.value(&showing);
    }
    let member = |name: &str| shown(showing.get(name));
    out.line(&format!("{} should show {}, {}.", arguments.id, member("look"), why(&showing)))?;
    let time = |name: &str| shown_time(showing.get(name));
    let rows = [
        ("since", time("since")),
        ("until", time("until")),
        ("at", time("at")),
        ("rev", member("rev")),
        ("motif", motif(showing.get("motif"))),
        ("floor", floor(&showing)),
    ];
    out.table(&[], rows.map(|(name, text)| vec![name.to_owned(), text]).to_vec())
}

/// The whole reason of a showing as a part of a sentence.
fn why(showing: &Value) -> String {
    let because = because(&shown(showing.get("because")));
    let part = |name: &str| showing.get(name).filter(|value| !value.is_null()).map(|value| shown(Some(value)));
    match (part("entry"), part("link")) {
        (Some(entry), _) => format!("{because}, entry {entry}"),
        (None, Some(link)) => format!("{because}, {link}"),
        (None, None) => because,
    }
}

/// The reason as a part of a sentence.
pub(super) fn because(word: &str) -> String {
    match word {
        "unlit" => "because it is not lit".to_owned(),
        "override" => "because of the owner's override".to_owned(),
        "link" => "because of a link".to_owned(),
        "timetable" => "by its timetable".to_owned(),
        "default" => "its default look".to_owned(),
        "dark" => "because nothing else is said".to_owned(),
        other => format!("because: {other}"),
    }
}

/// Whether the floor is kept, and the duty of each of its colours in percent.
fn floor(showing: &Value) -> String {
    if showing.get("floored").and_then(Value::as_bool) != Some(true) {
        return "–".to_owned();
    }
    let duty = showing.get("floor").and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_f64);
    let percents = ["red", "green", "blue", "white"].iter().zip(duty);
    let percents = percents.map(|(colour, duty)| format!("{colour} {:.2} %", duty / 655.35)).collect::<Vec<_>>();
    if percents.is_empty() { "kept".to_owned() } else { format!("kept: {}", percents.join(", ")) }
}

/// A motif in words: its name, its period in seconds, and which end it moves to.
fn motif(value: Option<&Value>) -> String {
    let part = |index: usize| value.and_then(|value| value.get(index));
    match (part(0).and_then(Value::as_str), part(1).and_then(Value::as_f64), part(4).and_then(Value::as_str)) {
        (Some(name), Some(period_ms), Some(toward)) => {
            format!("{name}, {} s, toward the {toward}", period_ms / 1000.0)
        }
        (Some(name), ..) => name.to_owned(),
        _ => shown(value),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_motif_is_told_in_words() {
        assert_eq!(motif(Some(&json!(["steady"]))), "steady");
        let unroll = json!(["unroll", 1500, 16384, 32768, "start", 0]);
        assert_eq!(motif(Some(&unroll)), "unroll, 1.5 s, toward the start");
        assert_eq!(motif(None), "–");
    }

    #[test]
    fn a_reason_names_the_entry_or_the_link() {
        let told =
            |because: &str, entry: Value, link: Value| why(&json!({"because": because, "entry": entry, "link": link}));
        assert_eq!(told("timetable", json!(2), Value::Null), "by its timetable, entry 2");
        assert_eq!(told("link", Value::Null, json!("greet")), "because of a link, greet");
        assert_eq!(told("default", Value::Null, Value::Null), "its default look");
        assert_eq!(why(&json!({"because": "dark"})), "because nothing else is said");
    }

    #[test]
    fn a_floor_is_told_with_its_colours() {
        assert_eq!(floor(&json!({"floored": false, "floor": null})), "–");
        assert_eq!(
            floor(&json!({"floored": true, "floor": [655, 0, 65535]})),
            "kept: red 1.00 %, green 0.00 %, blue 100.00 %"
        );
        assert_eq!(floor(&json!({"floored": true, "floor": null})), "kept");
    }
}
