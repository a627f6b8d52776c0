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

/// Checks the database of a daemon, whether it runs or not, and gives the desired documents by fixture id. History is
/// the truth: a row of `document` may be behind it, but it has to be what history had at its revision.
pub(crate) fn check(daemon: &Daemon) -> BTreeMap<String, Desired> {
    assert_eq!(daemon.sql("PRAGMA integrity_check").trim(), "ok");
    let (mut kept, documents) = (BTreeMap::new(), "json_object('slot', slot, 'rev', revision, 'body', json(body))");
    for row in rows(daemon, &format!("SELECT {documents} FROM document WHERE slot & 7 IN (0, 1)")) {
        kept.insert(row["slot"].as_i64().unwrap(), (row["rev"].as_u64().unwrap(), row["body"].clone()));
    }
    let mut replayed: BTreeMap<i64, (u64, Value)> = BTreeMap::new();
    let changes = "json_object('slot', slot, 'rev', revision, 'patch', json(patch), 'inverse', json(inverse))";
    for row in rows(daemon, &format!("SELECT {changes} FROM history ORDER BY id")) {
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
        if let Some((_, body)) = kept.get(&slot).filter(|(kept, _)| *kept == *revision) {
            assert_eq!(body, document, "slot {slot} is not what history had at its revision {revision}");
            kept.remove(&slot);
        }
    }
    // a document at revision 0 was never written, so history knows nothing of it
    kept.retain(|_, (revision, _)| *revision > 0);
    assert!(kept.is_empty(), "documents at revisions that history does not have: {kept:?}");
    let mut desired = BTreeMap::new();
    for row in rows(daemon, "SELECT json_object('slot', key * 8 + 1, 'id', id) FROM fixture WHERE deleted IS NULL") {
        if let Some((revision, document)) = replayed.remove(&row["slot"].as_i64().unwrap()) {
            desired.insert(row["id"].as_str().unwrap().to_owned(), Desired { revision, document });
        }
    }
    desired
}

/// What a question answers, one JSON value a row.
fn rows(daemon: &Daemon, sql: &str) -> Vec<Value> {
    daemon.sql(sql).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}
