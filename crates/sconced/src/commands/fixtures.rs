//! `add`, `list`, `enrol`: the fixtures themselves.

use serde_json::{Map, Value, json};

use super::daemon;
use crate::arguments::{Add, Common, Enrol, List};
use crate::error::Failure;
use crate::output::{Output, shown, shown_time};

/// `sconced add`.
pub(super) fn add(arguments: &Add, common: &Common, out: Output) -> Result<(), Failure> {
    let mut record = Map::new();
    record.insert("id".into(), arguments.id.as_str().into());
    for (name, value) in [("title", &arguments.title), ("kind", &arguments.kind), ("notes", &arguments.notes)] {
        if let Some(value) = value {
            record.insert(name.into(), value.as_str().into());
        }
    }
    if !arguments.groups.is_empty() {
        record.insert("groups".into(), json!(arguments.groups));
    }
    if arguments.switched {
        record.insert("switched".into(), true.into());
    }
    let fixture = daemon(common)?.post("/v1/fixtures", &Value::Object(record))?.json()?;
    if out.json {
        return out.value(&fixture);
    }
    let id = &arguments.id;
    out.line(&format!("{id} is made. Enrol its controller with `sconced enrol {id}`."))
}

/// `sconced list`.
pub(super) fn list(arguments: &List, common: &Common, out: Output) -> Result<(), Failure> {
    let client = daemon(common)?;
    let mut query = vec![("limit", "100".to_owned())];
    query.extend(arguments.standing.map(|standing| ("standing", standing.as_str().to_owned())));
    query.extend(arguments.group.clone().map(|group| ("group", group)));
    query.extend(arguments.kind.clone().map(|kind| ("kind", kind)));
    let fixtures = super::past::all_pages(&client, "/v1/fixtures", &query, "fixtures", usize::MAX)?;
    if out.json {
        return out.value(&json!({ "fixtures": fixtures }));
    }
    if fixtures.is_empty() {
        return out.line("There are none. `sconced add ID` makes one.");
    }
    let row = |fixture: &Value| {
        vec![
            shown(fixture.get("id")),
            shown(fixture.get("title")),
            shown(fixture.get("standing")).replace('-', " "),
            shown(fixture.pointer("/desired/rev")),
            shown(fixture.pointer("/reported/applied")),
            shown_time(fixture.get("heard")),
        ]
    };
    out.table(&["ID", "TITLE", "STANDING", "REV", "APPLIED", "LAST HEARD"], fixtures.iter().map(row).collect())
}

/// `sconced enrol`.
pub(super) fn enrol(arguments: &Enrol, common: &Common, out: Output) -> Result<(), Failure> {
    let id = &arguments.id;
    let enrolment = daemon(common)?.post(&format!("/v1/fixtures/{id}/enrol"), &json!({}))?.json()?;
    if out.json {
        return out.value(&enrolment);
    }
    out.line(&format!("{id} has a new secret. It is shown this once.\n"))?;
    let rows = [
        ("broker", "/broker/host"),
        ("port", "/broker/port"),
        ("username", "/username"),
        ("password", "/secret"),
        ("client id", "/client_id"),
        ("topics begin with", "/prefix"),
        ("buffer for showing", "/buffer_bytes/showing"),
        ("buffer for desired", "/buffer_bytes/desired"),
    ];
    let rows = rows.into_iter().filter_map(|(name, pointer)| {
        let value = shown(Some(enrolment.pointer(pointer)?));
        let unit = if pointer.starts_with("/buffer_bytes") { " bytes" } else { "" };
        Some(vec![name.to_owned(), format!("{value}{unit}")])
    });
    out.table(&["SETTING", "VALUE"], rows.collect())?;
    let host = enrolment.pointer("/broker/host").and_then(Value::as_str).unwrap_or_default();
    if is_this_machine(host) {
        out.line(&format!(
            "\n{host} is this machine alone: a controller needs an address of your network. Set mqtt.listen to such \
             as 0.0.0.0:1883, or name an external broker by its address."
        ))?;
    }
    match enrolment.get("takes_effect").and_then(Value::as_str) {
        Some(when) => out.line(&format!("\nIt holds {when}.")),
        None => Ok(()),
    }
}

/// Whether a host is reached from this machine only.
fn is_this_machine(host: &str) -> bool {
    host == "localhost" || host.parse::<std::net::IpAddr>().is_ok_and(|ip| ip.is_loopback())
}
