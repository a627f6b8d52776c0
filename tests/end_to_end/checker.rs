//! Checks a database from outside, with nothing but the `sqlite3` shell and the rules of RFC 7396 written out here:
//! sound, revisions without a hole, history that replays to the documents.

use std::collections::BTreeMap;

use serde_json::{Map, Value};
use testkit::Daemon;

/// RFC 7396, section 2, as its pseudo-code has it.
pub(crate) fn merge_patch(target: Value, patch: &Value) -> Value {
    let Value::Object(patch) = patch else { return patch.clone() };
    let mut target = match target {
        Value::Object(members) => members,
        _ => Map::new(),
    };
    for (name, value) in patch {
        if value.is_null() {
            target.remove(name);
        } else {
            let old = target.remove(name).unwrap_or(Value::Null);
            target.insert(name.clone(), merge_patch(old, value));
        }
    }
    Value::Object(target)
}

/// What a database says about one fixture's desired document.
#[derive(Debug, Clone)]
pub(crate) struct Desired {
    pub(crate) revision: u64,
    pub(crate) document: Value,
}

/// Checks the database of a daemon, whether it runs or not, and gives the desired documents by fixture id.
pub(crate) fn check(daemon: &Daemon) -> BTreeMap<String, Desired> {
    assert_eq!(daemon.sql("PRAGMA integrity_check").trim(), "ok");
    let mut replayed: BTreeMap<i64, (u64, Value)> = BTreeMap::new();
    let lines = daemon.sql("SELECT json_object('slot', slot, 'rev', revision, 'patch', json(patch), 'inverse', json(inverse)) FROM history ORDER BY id");
    for line in lines.lines() {
        let row: Value = serde_json::from_str(line).unwrap();
        let slot = row["slot"].as_i64().unwrap();
        let (revision, document) = replayed.entry(slot).or_insert_with(|| (0, Value::Object(Map::new())));
        assert_eq!(row["rev"].as_u64().unwrap(), *revision + 1, "a hole in the revisions of slot {slot}");
        let after = merge_patch(document.clone(), &row["patch"]);
        assert_eq!(
            merge_patch(after.clone(), &row["inverse"]),
            *document,
            "an inverse of slot {slot} does not lead back"
        );
        (*revision, *document) = (*revision + 1, after);
    }
    let mut desired = BTreeMap::new();
    let lines = daemon.sql(
        "SELECT json_object('slot', d.slot, 'rev', d.revision, 'body', json(d.body), 'id', f.id)
         FROM document d JOIN fixture f ON f.key = d.slot >> 3 WHERE f.deleted IS NULL AND d.slot & 7 IN (0, 1)",
    );
    for line in lines.lines() {
        let row: Value = serde_json::from_str(line).unwrap();
        let slot = row["slot"].as_i64().unwrap();
        let (revision, document) = &replayed[&slot];
        assert_eq!(row["rev"].as_u64().unwrap(), *revision, "slot {slot}");
        assert_eq!(row["body"], *document, "history of slot {slot} does not replay to its document");
        if slot & 7 == 1 {
            let id = row["id"].as_str().unwrap().to_owned();
            desired.insert(id, Desired { revision: *revision, document: document.clone() });
        }
    }
    desired
}
