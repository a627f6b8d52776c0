//! Takes a strip's document apart, gathering every finding instead of stopping at the first.

use std::fmt::Display;

use document::{Pointer, Value};
use serde_json::Map;

use super::{DARK, OVERRIDE, OverrideLook};
use crate::rejection::{Advice, Finding};

/// A place in the document that is being read. It becomes a pointer only where something is said about it.
#[derive(Debug, Clone, Copy)]
pub(super) enum At<'a> {
    Whole,
    Member(&'a At<'a>, &'a str),
    Element(&'a At<'a>, usize),
}

impl At<'_> {
    pub(super) fn child<'b>(&'b self, name: &'b str) -> At<'b> {
        At::Member(self, name)
    }

    pub(super) fn element(&self, index: usize) -> At<'_> {
        At::Element(self, index)
    }

    pub(super) fn pointer(&self) -> Pointer {
        match self {
            Self::Whole => Pointer::default(),
            Self::Member(parent, name) => parent.pointer().child(name),
            Self::Element(parent, index) => parent.pointer().child(&index.to_string()),
        }
    }
}

/// The looks that the document names, whether or not they could be read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known<'v>(pub(super) Option<&'v Map<String, Value>>);

impl Known<'_> {
    fn has(self, name: &str) -> bool {
        name == DARK || self.0.is_some_and(|looks| looks.contains_key(name))
    }

    fn listed(self) -> String {
        let mut names: Vec<&str> = self.0.into_iter().flatten().map(|(name, _)| name.as_str()).collect();
        names.push(DARK);
        names.join(", ")
    }
}

/// Gathers what is wrong and what is worth saying.
#[derive(Debug, Default)]
pub(super) struct Reader {
    findings: Vec<Finding>,
    advice: Vec<Advice>,
}

impl Reader {
    pub(super) fn close(self) -> (Vec<Finding>, Vec<Advice>) {
        (self.findings, self.advice)
    }

    /// How many findings there are so far.
    pub(super) fn count(&self) -> usize {
        self.findings.len()
    }

    pub(super) fn fault(&mut self, at: &At<'_>, text: impl Into<String>, advice: impl Into<String>) {
        self.findings.push(Finding::new(at.pointer(), text, advice));
    }

    pub(super) fn advise(&mut self, at: &At<'_>, text: String) {
        self.advice.push(Advice { pointer: at.pointer(), text });
    }

    /// What was made, or a finding and something to go on reading with.
    pub(super) fn made<T, E: Display>(&mut self, at: &At<'_>, made: Result<T, E>, otherwise: T, advice: &str) -> T {
        made.unwrap_or_else(|error| {
            self.fault(at, error.to_string(), advice);
            otherwise
        })
    }

    /// What was made, or a finding.
    pub(super) fn tried<T, E: Display>(&mut self, at: &At<'_>, made: Result<T, E>, advice: &str) -> Option<T> {
        made.map_err(|error| self.fault(at, error.to_string(), advice)).ok()
    }

    pub(super) fn number(&mut self, at: &At<'_>, value: &Value, advice: &str) -> Option<f64> {
        let number = value.as_f64().filter(|n| n.is_finite());
        if number.is_none() {
            self.fault(at, format!("this is {}, not a number", described(value)), advice);
        }
        number
    }

    pub(super) fn flag(&mut self, at: &At<'_>, value: &Value, otherwise: bool) -> bool {
        value.as_bool().unwrap_or_else(|| {
            self.fault(at, format!("this is {}, neither true nor false", described(value)), "write true or false");
            otherwise
        })
    }

    pub(super) fn text<'v>(&mut self, at: &At<'_>, value: &'v Value, advice: &str) -> Option<&'v str> {
        let text = value.as_str();
        if text.is_none() {
            self.fault(at, format!("this is {}, not a text", described(value)), advice);
        }
        text
    }

    pub(super) fn list<'v>(&mut self, at: &At<'_>, value: &'v Value, advice: &str) -> &'v [Value] {
        value.as_array().map_or_else(
            || {
                self.fault(at, format!("this is {}, not a list", described(value)), advice);
                &[][..]
            },
            Vec::as_slice,
        )
    }

    /// The name of a look that there is.
    pub(super) fn look_name(&mut self, at: &At<'_>, value: &Value, known: Known<'_>) -> Option<String> {
        let name = self.text(at, value, "write the name of a look")?;
        if known.has(name) {
            return Some(name.to_owned());
        }
        let shown: String = name.chars().take(64).collect();
        self.fault(
            at,
            format!("there is no look {shown:?}"),
            format!("name one of {}, or add it to looks", known.listed()),
        );
        None
    }

    pub(super) fn owners_override(&mut self, at: &At<'_>, value: &Value, known: Known<'_>) -> Option<OverrideLook> {
        let Some(members) = value.as_object() else {
            self.fault(
                at,
                format!("this is {}, not an object", described(value)),
                "write such as {\"look\":\"greet\",\"until\":\"next-change\"}",
            );
            return None;
        };
        for name in members.keys().filter(|name| !["look", "until"].contains(&name.as_str())) {
            self.fault(
                &at.child(name),
                format!("an override has no member {name:?}"),
                "write look and, if it is to end, until",
            );
        }
        let until =
            members.get("until").map_or(Some(almanac::Until::Released), |until| self.until(&at.child("until"), until));
        let at_look = at.child("look");
        let Some(look) = members.get("look") else {
            self.fault(&at_look, "the override names no look", "write the name of a look, or a look of its own");
            return None;
        };
        let (name, look) = if look.is_object() {
            (OVERRIDE.to_owned(), Some(self.look(&at_look, look)?))
        } else {
            (self.look_name(&at_look, look, known)?, None)
        };
        Some(OverrideLook { name, look, until: until? })
    }

    fn until(&mut self, at: &At<'_>, value: &Value) -> Option<almanac::Until> {
        let advice = "write a time such as \"2026-11-25T22:00:00Z\", or \"next-change\", or leave it out";
        let text = self.text(at, value, advice)?;
        self.tried(at, text.parse(), advice)
    }
}

/// A value in words, for findings.
pub(super) fn described(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a number",
        Value::String(_) => "a text",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}
