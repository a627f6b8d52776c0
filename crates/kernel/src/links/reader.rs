//! Takes the document of a link apart, gathering every finding instead of stopping at the first.

use std::fmt::Display;
use std::str::FromStr;
use std::sync::Arc;

use almanac::{Shift, Start};
use document::{Pointer, Value};
use jiff::SignedDuration;
use serde_json::{Map, json};

use super::link::{Confirm, Link, LinkLook, Party};
use super::window::{Edge, Window};
use crate::rejection::{Advice, Finding};
use crate::strip::Strip;

const DAY: f64 = 86_400.0;
const PARTY: &str = "write {\"fixture\":\"hall\"} or {\"group\":\"stairs\"}";
const EVENT: &str = "write the name that the fixture gives it in its messages, such as \"motion\"";
const LOOK: &str = "write the name of a look of the target, or a look such as {\"kelvin\":2400,\"intensity\":40}";
const TITLE: &str = "write what you call the link, such as \"Hall lights the stairs\"";
const RUN_ON: &str = "write seconds from 1 to 86400, such as 60";
const DEAD_TIME: &str = "write seconds from 0 to 86400, such as 10";
const CONFIRM: &str = "write such as {\"pulses\":2,\"within\":10}";
const PULSES: &str = "write a whole number from 1 to 10, such as 2";
const WITHIN: &str = "write seconds from 0.1 to 60, such as 10";
const BETWEEN: &str = "write from and to, such as [\"dusk\",\"23:30\"]";
const EDGE: &str = "write HH:MM, sunrise, sunset, dawn or dusk, or such as {\"start\":\"sunset\",\"shift\":\"-PT30M\"}";

/// The shortest time from one report of a usual motion sensor to its next, in seconds: the shortest time of output that
/// a seller's page gives (0.3) and the blocking that most pages give (2.5).
const SOONEST_REPORT: f64 = 2.8;
/// The time after which such a sensor has surely reported again while someone moves, in seconds: about 2 of output and
/// 2 to 3 of blocking, by sellers' and makers' pages.
const USUAL_REPORT: f64 = 5.0;

/// Reads a link; see [`Link::read`].
pub(super) fn read(value: &Value) -> Result<(Link, Vec<Advice>), Vec<Finding>> {
    let root = Pointer::default();
    let mut reader = Reader::default();
    if let Err(fault) = document::check_document(value) {
        reader.fault(&fault.pointer, fault.problem.to_string(), fault.problem.advice());
    }
    let Some(members) = value.as_object() else {
        return Err(vec![Finding::new(
            root,
            format!("a link is an object, and this is {}", described(value)),
            "write such as {\"from\":{\"fixture\":\"hall\"},\"event\":\"motion\",\
             \"to\":{\"group\":\"stairs\"},\"look\":\"greet\"}",
        )]);
    };
    for (needed, advice) in [("from", PARTY), ("event", EVENT), ("to", PARTY), ("look", LOOK)] {
        if !members.contains_key(needed) {
            reader.fault(&root.child(needed), format!("the link has no {needed}"), advice);
        }
    }
    let (mut from, mut event, mut to, mut look) = (None, None, None, None);
    let (mut run_on, mut dead_time, mut confirm) = (Link::RUN_ON, SignedDuration::ZERO, Confirm::AT_ONCE);
    let (mut between, mut lit_only, mut enabled, mut title, mut notes) = (None, false, true, None, None);
    for (name, value) in members {
        let at = root.child(name);
        match name.as_str() {
            "from" => from = reader.party(&at, value),
            "event" => event = reader.short(&at, value, 64, EVENT),
            "to" => to = reader.party(&at, value),
            "look" => look = reader.look(&at, value),
            "run_on" => run_on = reader.seconds(&at, value, 1.0, DAY, RUN_ON).unwrap_or(run_on),
            "dead_time" => dead_time = reader.seconds(&at, value, 0.0, DAY, DEAD_TIME).unwrap_or(dead_time),
            "confirm" => confirm = reader.confirm(&at, value).unwrap_or(confirm),
            "between" => between = reader.between(&at, value),
            "lit_only" => lit_only = reader.flag(&at, value).unwrap_or(lit_only),
            "enabled" => enabled = reader.flag(&at, value).unwrap_or(enabled),
            "title" => title = reader.short(&at, value, 200, TITLE),
            "notes" => match value.as_str() {
                Some(text) if text.len() <= 4000 => notes = Some(text.to_owned()),
                _ => reader.fault(&at, "notes are not a text of at most 4,000 bytes", "shorten them"),
            },
            _ => reader.fault(
                &at,
                format!("a link has no member {name:?}"),
                "there are from, event, to, look, run_on, dead_time, confirm, between, lit_only, enabled, title and \
                 notes",
            ),
        }
    }
    reader.advise_on_sensors(run_on, confirm);
    match (from, event, to, look) {
        (Some(from), Some(event), Some(to), Some(look)) if reader.findings.is_empty() => {
            let (event, look) = (Arc::from(event), Arc::new(look));
            let link =
                Link { from, event, to, look, run_on, dead_time, confirm, between, lit_only, enabled, title, notes };
            Ok((link, reader.advice))
        }
        _ => Err(reader.findings),
    }
}

#[derive(Default)]
struct Reader {
    findings: Vec<Finding>,
    advice: Vec<Advice>,
}

impl Reader {
    fn fault(&mut self, at: &Pointer, text: impl Into<String>, advice: impl Into<String>) {
        self.findings.push(Finding::new(at.clone(), text, advice));
    }

    fn parsed<T: FromStr<Err: Display>>(&mut self, at: &Pointer, value: &Value, advice: &str) -> Option<T> {
        let Some(text) = value.as_str() else {
            self.fault(at, format!("this is {}, not a text", described(value)), advice);
            return None;
        };
        text.parse().map_err(|error: T::Err| self.fault(at, error.to_string(), advice)).ok()
    }

    /// The members of an object that may have those and no others.
    fn object<'v>(
        &mut self,
        at: &Pointer,
        value: &'v Value,
        known: &[&str],
        advice: &str,
    ) -> Option<&'v Map<String, Value>> {
        let Some(members) = value.as_object() else {
            self.fault(at, format!("this is {}, not an object", described(value)), advice);
            return None;
        };
        for name in members.keys().filter(|name| !known.contains(&name.as_str())) {
            self.fault(&at.child(name), format!("there is no member {name:?} here"), advice);
        }
        Some(members)
    }

    /// A short text without control characters; an event's name is bound as it is in the message.
    fn short(&mut self, at: &Pointer, value: &Value, longest: usize, advice: &str) -> Option<String> {
        match value.as_str() {
            Some(text) if (1..=longest).contains(&text.len()) && !text.chars().any(char::is_control) => {
                Some(text.to_owned())
            }
            _ => {
                self.fault(
                    at,
                    format!("this is not a text of 1 to {longest} bytes without control characters"),
                    advice,
                );
                None
            }
        }
    }

    fn flag(&mut self, at: &Pointer, value: &Value) -> Option<bool> {
        let flag = value.as_bool();
        if flag.is_none() {
            self.fault(at, format!("this is {}, neither true nor false", described(value)), "write true or false");
        }
        flag
    }

    /// Seconds in those bounds, to the millisecond.
    fn seconds(&mut self, at: &Pointer, value: &Value, least: f64, most: f64, advice: &str) -> Option<SignedDuration> {
        let seconds = value.as_f64().filter(|seconds| (least..=most).contains(seconds));
        if seconds.is_none() {
            self.fault(at, format!("this is not a number of seconds from {least} to {most}"), advice);
        }
        #[expect(clippy::cast_possible_truncation, reason = "a day at most")]
        seconds.map(|seconds| SignedDuration::from_millis((seconds * 1000.0).round() as i64))
    }

    fn party(&mut self, at: &Pointer, value: &Value) -> Option<Party> {
        let members = self.object(at, value, &["fixture", "group"], PARTY)?;
        match (members.get("fixture"), members.get("group")) {
            (Some(id), None) => self.parsed(&at.child("fixture"), id, PARTY).map(Party::Fixture),
            (None, Some(name)) => self.parsed(&at.child("group"), name, PARTY).map(Party::Group),
            (Some(_), Some(_)) => {
                self.fault(at, "both a fixture and a group are named", PARTY);
                None
            }
            (None, None) => {
                self.fault(at, "neither a fixture nor a group is named", PARTY);
                None
            }
        }
    }

    /// A look by name, or one of the link's own, which is read as a strip reads the look of an override.
    fn look(&mut self, at: &Pointer, value: &Value) -> Option<LinkLook> {
        if value.is_string() {
            return self.short(at, value, 64, LOOK).map(LinkLook::Named);
        }
        if !value.is_object() {
            self.fault(at, format!("this is {}, neither the name of a look nor a look", described(value)), LOOK);
            return None;
        }
        const PLACE: &str = "/override";
        let moved = |pointer: &Pointer| {
            pointer
                .as_str()
                .strip_prefix(PLACE)
                .and_then(|rest| Pointer::try_from(rest).ok())
                .unwrap_or_else(|| at.clone())
        };
        match Strip::read(&json!({"override": {"look": value}})) {
            Ok((strip, advice)) => {
                let of_the_look =
                    advice.into_iter().filter(|advice| advice.pointer.as_str().starts_with("/override/look"));
                self.advice.extend(of_the_look.map(|one| Advice { pointer: moved(&one.pointer), text: one.text }));
                strip.owners_override.and_then(|held| held.look).map(|look| LinkLook::Own(Box::new(look)))
            }
            Err(findings) => {
                for found in findings {
                    self.fault(&moved(&found.pointer), found.text, found.advice);
                }
                None
            }
        }
    }

    fn confirm(&mut self, at: &Pointer, value: &Value) -> Option<Confirm> {
        let members = self.object(at, value, &["pulses", "within"], CONFIRM)?;
        let within = match members.get("within") {
            None => Some(Confirm::WITHIN),
            Some(value) => self.seconds(&at.child("within"), value, 0.1, 60.0, WITHIN),
        };
        let at = at.child("pulses");
        let Some(pulses) = members.get("pulses") else {
            self.fault(&at, "how many pulses confirm is not said", CONFIRM);
            return None;
        };
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be whole, 1 to 10")]
        let whole = |n: f64| (n.fract() == 0.0 && (1.0..=10.0).contains(&n)).then_some(n as u8);
        let Some(pulses) = pulses.as_f64().and_then(whole) else {
            self.fault(&at, "this is not a whole number from 1 to 10", PULSES);
            return None;
        };
        Some(Confirm { pulses, within: within? })
    }

    fn between(&mut self, at: &Pointer, value: &Value) -> Option<Window> {
        let Some([from, to]) = value.as_array().map(Vec::as_slice) else {
            self.fault(at, "a window is a list of two: from and to", BETWEEN);
            return None;
        };
        let (from, to) = (self.edge(&at.child("0"), from), self.edge(&at.child("1"), to));
        let window = Window { from: from?, to: to? };
        if window.from == window.to {
            self.fault(at, "the window ends when it begins", "leave between out if the link is to act always");
            return None;
        }
        Some(window)
    }

    fn edge(&mut self, at: &Pointer, value: &Value) -> Option<Edge> {
        if !value.is_object() {
            return Some(Edge { start: self.parsed(at, value, EDGE)?, shift: Shift::NONE });
        }
        let members = self.object(at, value, &["start", "shift"], EDGE)?;
        let shift = match members.get("shift") {
            None => Some(Shift::NONE),
            Some(value) => {
                self.parsed(&at.child("shift"), value, "write a duration of at most 12 hours, such as \"-PT30M\"")
            }
        };
        let at = at.child("start");
        let Some(start) = members.get("start") else {
            self.fault(&at, "the edge has no start", EDGE);
            return None;
        };
        let start: Option<Start> = self.parsed(&at, start, EDGE);
        Some(Edge { start: start?, shift: shift? })
    }

    /// What the usual sensors cannot do, said where a link asks it of them.
    fn advise_on_sensors(&mut self, run_on: SignedDuration, confirm: Confirm) {
        let root = Pointer::default();
        let needed = f64::from(confirm.pulses - 1) * SOONEST_REPORT;
        if confirm.within.as_secs_f64() < needed {
            let text = format!(
                "a usual motion sensor cannot report again sooner than after {SOONEST_REPORT} seconds, many not before \
                 4 to 5: {} reports take at least {needed:.1} seconds, so this link may never be confirmed; name more seconds",
                confirm.pulses
            );
            self.advice.push(Advice { pointer: root.child("confirm").child("within"), text });
        }
        if run_on.as_secs_f64() < USUAL_REPORT {
            let text = format!(
                "a usual motion sensor reports every 4 to 5 seconds at most, so with less than {USUAL_REPORT} seconds \
                 the light goes out between two reports while someone still moves"
            );
            self.advice.push(Advice { pointer: root.child("run_on"), text });
        }
    }
}

fn described(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}
