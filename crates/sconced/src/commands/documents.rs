//! `edit`, `desired`, `undo`: the document of what a fixture should show.

use std::io::Read as _;

use serde_json::{Value, json};

use super::{daemon, time_text};
use crate::arguments::{Common, Desired, Edit, Undo};
use crate::client::Body;
use crate::error::Failure;
use crate::output::{Output, shown};

/// The largest patch that is read, in bytes: more than any document may have, so that the daemon says what is wrong.
const LARGEST: u64 = 1024 * 1024;

/// `sconced edit`.
pub(super) fn edit(arguments: &Edit, common: &Common, out: Output) -> Result<(), Failure> {
    let text = patch_text(&arguments.patch)?;
    let media_type = media_type(&text)?;
    let path = format!("/v1/fixtures/{}/desired", arguments.id);
    let answer = daemon(common)?.send("PATCH", &path, Body { media_type, text: &text }, arguments.if_match)?.json()?;
    told(&answer, arguments.id.as_str(), out)
}

/// The patch itself: from the command line, a file or standard input.
fn patch_text(given: &str) -> Result<String, Failure> {
    if given == "-" {
        let mut text = String::new();
        let read = std::io::stdin().lock().take(LARGEST).read_to_string(&mut text);
        return read.map(|_| text).map_err(Failure::file("reading", "standard input"));
    }
    match given.strip_prefix('@') {
        Some(path) => {
            let mut text = String::new();
            let file = std::fs::File::open(path).map_err(Failure::file("opening", path))?;
            file.take(LARGEST).read_to_string(&mut text).map(|_| text).map_err(Failure::file("reading", path))
        }
        None => Ok(given.to_owned()),
    }
}

/// A JSON array is a list of operations, everything else a merge patch. The text itself is sent as it was written: the
/// daemon sees members that are there twice, which a reader here would lose.
fn media_type(text: &str) -> Result<&'static str, Failure> {
    match serde_json::from_str::<Value>(text) {
        Ok(Value::Array(_)) => Ok("application/json-patch+json"),
        Ok(_) => Ok("application/merge-patch+json"),
        Err(error) => Err(Failure::Usage(format!(
            "the patch is not JSON: {error}; write such as '{{\"lit\": false}}', @FILE, or - for standard input"
        ))),
    }
}

/// Says what an edit did.
fn told(answer: &Value, id: &str, out: Output) -> Result<(), Failure> {
    if out.json {
        return out.value(answer);
    }
    let rev = shown(answer.get("rev"));
    let texts = |value: &Value| value.as_array().into_iter().flatten().map(|v| shown(Some(v))).collect::<Vec<_>>();
    let changed = answer.get("changed").map(texts).unwrap_or_default();
    if changed.is_empty() {
        out.line(&format!("Nothing to change: {id} stays at rev {rev}."))?;
    } else {
        out.line(&format!("{id} is at rev {rev}: {} changed.", named(changed)))?;
    }
    for advice in answer.get("advice").and_then(Value::as_array).into_iter().flatten() {
        out.line(&format!("  advice for {}: {}", shown(advice.get("pointer")), shown(advice.get("text"))))?;
    }
    Ok(())
}

/// Places as a part of a sentence; of many, the first few and how many more there are.
fn named(mut places: Vec<String>) -> String {
    const MOST: usize = 5;
    let more = places.len().saturating_sub(MOST);
    places.truncate(MOST);
    let named = places.into_iter().map(|at| if at.is_empty() { "the whole".to_owned() } else { at });
    let named = named.collect::<Vec<_>>().join(", ");
    if more == 0 { named } else { format!("{named} and {more} more") }
}

/// `sconced desired`.
pub(super) fn desired(arguments: &Desired, common: &Common, out: Output) -> Result<(), Failure> {
    let mut query = Vec::new();
    query.extend(arguments.rev.map(|rev| ("rev", rev.to_string())));
    if let Some(at) = &arguments.at {
        query.push(("at", time_text(at)?));
    }
    let answer = daemon(common)?.get(&format!("/v1/fixtures/{}/desired", arguments.id), &query)?;
    out.value(&answer.json()?)
}

/// `sconced undo`.
pub(super) fn undo(arguments: &Undo, common: &Common, out: Output) -> Result<(), Failure> {
    let body = arguments.to.map_or_else(|| json!({}), |to| json!({ "to": to }));
    let answer = daemon(common)?.post(&format!("/v1/fixtures/{}/undo", arguments.id), &body)?.json()?;
    if !out.json
        && let Some(to) = answer.get("to")
    {
        out.line(&format!("{} is put back as it was at rev {}.", arguments.id, shown(Some(to))))?;
    }
    told(&answer, arguments.id.as_str(), out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_array_is_sent_as_operations_and_an_object_as_a_merge_patch() {
        assert_eq!(media_type("[]").unwrap(), "application/json-patch+json");
        assert_eq!(media_type(" {\"lit\":false}").unwrap(), "application/merge-patch+json");
        assert_eq!(media_type("{lit:false}").unwrap_err().code(), 2);
    }

    #[test]
    fn of_many_changed_places_the_first_few_are_named() {
        let places = |count: usize| (0..count).map(|n| format!("/looks/l{n}")).collect::<Vec<_>>();
        assert_eq!(named(places(2)), "/looks/l0, /looks/l1");
        assert_eq!(named(vec![String::new()]), "the whole");
        assert!(named(places(7)).ends_with("/looks/l4 and 2 more"));
    }

    #[test]
    fn a_patch_is_read_from_a_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("patch.json");
        std::fs::write(&path, "{\"lit\":true}").unwrap();
        assert_eq!(patch_text(&format!("@{}", path.display())).unwrap(), "{\"lit\":true}");
        assert!(patch_text("@/no/such/file").is_err());
    }
}
