//! `agenda` and `year`: what a fixture will show.

use std::io::Write as _;
use std::path::Path;

use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use super::dump::beside;
use super::{daemon, now, showing, time};
use crate::arguments::{Agenda, Common, Year};
use crate::error::Failure;
use crate::output::{Output, shown, shown_time};

/// The media type of a calendar (RFC 5545, section 8.1).
const CALENDAR: &str = "text/calendar";
/// How long the coming year is.
const YEAR: SignedDuration = SignedDuration::from_hours(365 * 24);

/// `sconced agenda`.
pub(super) fn agenda(arguments: &Agenda, common: &Common, out: Output) -> Result<(), Failure> {
    let mut query = Vec::new();
    for (name, text) in [("from", &arguments.from), ("to", &arguments.to)] {
        if let Some(text) = text {
            query.push((name, time(text)?.to_string()));
        }
    }
    let agenda = daemon(common)?.get(&path(arguments.id.as_str()), &query)?.json()?;
    if out.json {
        return out.value(&agenda);
    }
    let row = |change: &Value| {
        let floored = change.get("floored").and_then(Value::as_bool) == Some(true);
        vec![
            shown_time(change.get("at")),
            shown_time(change.get("until")),
            shown(change.get("look")),
            showing::because(&shown(change.get("because"))),
            if floored { "kept" } else { "–" }.to_owned(),
        ]
    };
    let changes = agenda.get("changes").and_then(Value::as_array).map_or(&[] as &[Value], Vec::as_slice);
    out.table(&["FROM", "UNTIL", "LOOK", "WHY", "FLOOR"], changes.iter().map(row).collect())
}

/// `sconced year`.
pub(super) fn year(arguments: &Year, common: &Common, out: Output) -> Result<(), Failure> {
    let from = arguments.from.as_deref().map_or_else(|| Ok(now()), time)?;
    let query = [("from", from.to_string()), ("to", year_after(from)?.to_string())];
    let (path, client) = (path(arguments.id.as_str()), daemon(common)?);
    let Some(file) = &arguments.output else {
        if out.json {
            return out.value(&client.get(&path, &query)?.json()?);
        }
        return out.text(&calendar(&client, &path, &query)?);
    };
    let text = calendar(&client, &path, &query)?;
    write_whole(file, &text)?;
    let changes = text.lines().filter(|line| *line == "BEGIN:VEVENT").count();
    if out.json {
        return out.value(&json!({"file": file.display().to_string(), "changes": changes}));
    }
    out.line(&format!("{} holds {changes} changes of {}.", file.display(), arguments.id))
}

fn path(id: &str) -> String {
    format!("/v1/fixtures/{id}/agenda")
}

fn year_after(from: Timestamp) -> Result<Timestamp, Failure> {
    from.checked_add(YEAR)
        .map_err(|_| Failure::Usage(format!("the year from {from} on goes beyond the end of time: begin earlier")))
}

/// The agenda as a calendar file.
fn calendar(client: &crate::client::Client, path: &str, query: &[(&str, String)]) -> Result<String, Failure> {
    let text = client.get_as(CALENDAR, path, query)?.text;
    if text.starts_with("BEGIN:VCALENDAR\r\n") {
        Ok(text)
    } else {
        Err(Failure::Answer { url: path.to_owned(), why: "it is no calendar".to_owned() })
    }
}

/// Writes a file that is whole under its name, or not there.
fn write_whole(path: &Path, text: &str) -> Result<(), Failure> {
    let part = beside(path);
    let written = std::fs::File::create(&part).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(&part, path)
    });
    if written.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    written.map_err(Failure::file("writing", path))
}
