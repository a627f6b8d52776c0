//! The record of a fixture: everything the owner says about it that is not its light.

use std::sync::{Arc, LazyLock};

use document::{Pointer, Value};
use serde_json::{Map, json};

use crate::name::{FixtureId, GroupName, KindName};
use crate::rejection::Finding;

/// Members that change on their own and are no news, unless the owner names others.
static VOLATILE: LazyLock<Arc<[Pointer]>> =
    LazyLock::new(|| ["rssi", "uptime"].iter().map(|name| Pointer::default().child(name)).collect());

/// A fixture's record, read from its document.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// What people call it; 1 to 200 bytes.
    pub title: String,
    /// What kind of fixture it is.
    pub kind: KindName,
    /// The groups that it is in, each once.
    pub groups: Vec<GroupName>,
    /// Whether it hangs behind a wall switch, so that silence is normal.
    pub switched: bool,
    /// Its own place in place of the site's.
    pub place: Option<Box<almanac::Place>>,
    /// Members of reported that change without a history row each.
    pub volatile: Arc<[Pointer]>,
    /// Free words; at most 4,000 bytes.
    pub notes: Box<str>,
}

impl Record {
    /// Fills what a new fixture's record leaves out: the id as title, kind `strip`, no groups.
    #[must_use]
    pub fn completed(id: &FixtureId, given: &Value) -> Value {
        let mut members = Map::new();
        members.insert("title".into(), json!(id.as_str()));
        members.insert("kind".into(), json!("strip"));
        members.insert("groups".into(), json!([]));
        members.insert("switched".into(), json!(false));
        let mut whole = Value::Object(members);
        document::merge(&mut whole, given);
        whole
    }

    /// Reads the record document of a fixture.
    ///
    /// # Errors
    /// Every finding, each with its pointer.
    pub fn read(id: &FixtureId, value: &Value) -> Result<Self, Vec<Finding>> {
        let mut findings = Vec::new();
        let at = |name: &str| Pointer::default().child(name);
        let Some(members) = value.as_object() else {
            return Err(vec![Finding::new(Pointer::default(), "a record is an object", "send an object")]);
        };
        let mut record = Self {
            title: id.to_string(),
            kind: KindName::strip(),
            groups: Vec::new(),
            switched: false,
            place: None,
            volatile: Arc::clone(&VOLATILE),
            notes: Box::default(),
        };
        for (name, value) in members {
            match name.as_str() {
                "title" => match value.as_str() {
                    Some(text) if (1..=200).contains(&text.len()) && !text.chars().any(char::is_control) => {
                        record.title = text.to_owned();
                    }
                    _ => findings.push(Finding::new(
                        at(name),
                        "the title is not a text of 1 to 200 bytes without control characters",
                        "write what you call the fixture, such as \"Reeds in the hall\"",
                    )),
                },
                "kind" => match value.as_str().map(str::parse::<KindName>) {
                    Some(Ok(kind)) => record.kind = kind.shared(),
                    Some(Err(error)) => findings.push(Finding::new(at(name), error.to_string(), "write \"strip\", \"free\" or a kind of your own")),
                    None => findings.push(Finding::new(at(name), "the kind is not a text", "write \"strip\", \"free\" or a kind of your own")),
                },
                "groups" => record.groups = read_groups(&at(name), value, &mut findings),
                "switched" => match value.as_bool() {
                    Some(flag) => record.switched = flag,
                    None => findings.push(Finding::new(at(name), "switched is neither true nor false", "write true when a wall switch cuts its power")),
                },
                "place" => match read_place(value) {
                    Ok(place) => record.place = Some(Box::new(place)),
                    Err((child, text)) => {
                        let place = at(name);
                        let pointer = child.map_or_else(|| place.clone(), |child| place.child(child));
                        findings.push(Finding::new(pointer, text, "write such as {\"latitude\":52.4,\"longitude\":4.9,\"zone\":\"Europe/Amsterdam\"}"));
                    }
                },
                "volatile" => record.volatile = read_volatile(&at(name), value, &mut findings).into(),
                "notes" => match value.as_str() {
                    Some(text) if text.len() <= 4000 => record.notes = text.into(),
                    _ => findings.push(Finding::new(at(name), "notes are not a text of at most 4,000 bytes", "shorten them")),
                },
                _ => findings.push(Finding::new(
                    at(name),
                    format!("a record has no member {name:?}"),
                    "there are title, kind, groups, switched, place, volatile and notes; what the light should do belongs into the desired document",
                )),
            }
        }
        if findings.is_empty() { Ok(record) } else { Err(findings) }
    }
}

fn read_groups(at: &Pointer, value: &Value, findings: &mut Vec<Finding>) -> Vec<GroupName> {
    let Some(list) = value.as_array().filter(|list| list.len() <= 64) else {
        findings.push(Finding::new(
            at.clone(),
            "groups is not a list of at most 64 names",
            "write such as [\"indoors\"]",
        ));
        return Vec::new();
    };
    let mut groups: Vec<GroupName> = Vec::new();
    for (index, value) in list.iter().enumerate() {
        match value.as_str().unwrap_or_default().parse::<GroupName>() {
            Ok(name) if groups.contains(&name) => {
                findings.push(Finding::new(
                    at.child(&index.to_string()),
                    format!("the group {name} is named twice"),
                    "name each group once",
                ));
            }
            Ok(name) => groups.push(name),
            Err(error) => findings.push(Finding::new(
                at.child(&index.to_string()),
                error.to_string(),
                "write such as \"indoors\"",
            )),
        }
    }
    groups
}

fn read_place(value: &Value) -> Result<almanac::Place, (Option<&'static str>, String)> {
    let number = |name: &'static str| {
        value.get(name).and_then(Value::as_f64).ok_or((Some(name), format!("{name} is not a number of degrees")))
    };
    if let Some(members) = value.as_object() {
        if let Some(other) = members.keys().find(|key| !["latitude", "longitude", "zone"].contains(&key.as_str())) {
            return Err((None, format!("a place has no member {other:?}")));
        }
    } else {
        return Err((None, "a place is an object".into()));
    }
    let zone = value.get("zone").and_then(Value::as_str).ok_or((Some("zone"), "zone is not a text".to_owned()))?;
    almanac::Place::new(number("latitude")?, number("longitude")?, zone).map_err(|error| (None, error.to_string()))
}

fn read_volatile(at: &Pointer, value: &Value, findings: &mut Vec<Finding>) -> Vec<Pointer> {
    let Some(list) = value.as_array().filter(|list| list.len() <= 32) else {
        findings.push(Finding::new(
            at.clone(),
            "volatile is not a list of at most 32 pointers",
            "write such as [\"/rssi\",\"/uptime\"]",
        ));
        return Vec::new();
    };
    let mut pointers = Vec::new();
    for (index, value) in list.iter().enumerate() {
        match value.as_str().map(Pointer::try_from) {
            Some(Ok(pointer)) if pointer != Pointer::default() => pointers.push(pointer),
            _ => findings.push(Finding::new(
                at.child(&index.to_string()),
                "this is not a JSON Pointer to a member",
                "write a pointer that begins with a slash, such as \"/rssi\"",
            )),
        }
    }
    pointers
}
