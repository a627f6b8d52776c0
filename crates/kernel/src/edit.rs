//! Edits of documents: the new text, and the row of history that leads there and back.

use std::sync::Arc;

use document::{PatchFault, Pointer, Revision, Value};
use jiff::Timestamp;

use crate::change::Entry;
use crate::command::Edit;
use crate::fixture::{Held, Paper};
use crate::rejection::{Finding, Rejection};

/// The document that an edit makes of another.
///
/// # Errors
/// When the edit itself cannot be carried out; whether the result is acceptable is asked elsewhere.
pub(crate) fn edited(before: &Value, edit: Edit) -> Result<Value, Rejection> {
    match edit {
        Edit::Merge(patch) => {
            if !patch.is_object() {
                return Err(Rejection::invalid(
                    Pointer::default(),
                    "a merge patch that is not an object would replace the whole document by something that is none",
                    "send an object with the members to change; null takes a member away",
                ));
            }
            Ok(document::merged(before, &patch))
        }
        Edit::Operations(operations) => document::apply(before, &operations).map_err(|fault| {
            let finding = Finding::new(
                fault.pointer(),
                fault.to_string(),
                "mend the operation as RFC 6902 describes it; none of them was carried out",
            );
            match fault {
                PatchFault::TestFailed { ref pointer, .. } => {
                    Rejection::TestFailed { pointer: pointer.clone(), text: finding.text }
                }
                _ if fault.is_syntax() => Rejection::Malformed(finding),
                _ => Rejection::Invalid(vec![finding]),
            }
        }),
        Edit::Replace(whole) => Ok(whole),
        Edit::Member(name, value) => {
            let mut after = before.clone();
            if let Some(members) = after.as_object_mut() {
                match value {
                    Some(value) => members.insert(name.to_owned(), value),
                    None => members.remove(name),
                };
            }
            Ok(after)
        }
    }
}

/// A step of a document from one state to another.
pub(crate) struct Step {
    /// The document as it will be held.
    pub(crate) held: Held,
    /// The row of history.
    pub(crate) entry: Entry,
    /// The leaves that change.
    pub(crate) changed: Vec<Pointer>,
}

/// The step from a held document to another; `None` when they are the same.
pub(crate) fn step(paper: Paper, held: &Held, before: &Value, after: &Value, now: Timestamp) -> Option<Step> {
    if document::equal(before, after) {
        return None;
    }
    let text: Arc<str> = document::write(after).into();
    let revision = held.revision.next();
    let entry = Entry {
        paper,
        revision,
        patch: document::write(&document::difference(before, after)).into(),
        inverse: document::write(&document::difference(after, before)).into(),
        after: Arc::clone(&text),
    };
    Some(Step {
        held: Held { revision, drift: 0, at: now, head: held.head, text },
        entry,
        changed: document::changed(before, after),
    })
}

/// The entry by which a fixture's record ends.
pub(crate) fn ending(held: &Held, revision: Revision) -> Entry {
    Entry { paper: Paper::Fixture, revision, patch: "null".into(), inverse: Arc::clone(&held.text), after: "{}".into() }
}
