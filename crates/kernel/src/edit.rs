//! Edits of documents: the new text, and the row of history that leads there and back.

use std::sync::Arc;

use document::{PatchFault, Pointer, Revision, Value};
use jiff::Timestamp;

use crate::change::Entry;
use crate::command::Edit;
use crate::fixture::{Held, Paper};
use crate::rejection::{Finding, Rejection};

/// A document as an edit leaves it.
pub(crate) struct Edited {
    /// The document.
    pub(crate) after: Value,
    /// What the edit did; `None` when nothing changed.
    pub(crate) step: Option<document::Step>,
}

/// The document that an edit makes of another.
///
/// # Errors
/// When the edit itself cannot be carried out; whether the result is acceptable is asked elsewhere.
pub(crate) fn edited(mut before: Value, edit: Edit) -> Result<Edited, Rejection> {
    match edit {
        Edit::Merge(patch) => {
            if !patch.is_object() {
                return Err(Rejection::invalid(
                    Pointer::default(),
                    "a merge patch that is not an object would replace the whole document by something that is none",
                    "send an object with the members to change; null takes a member away",
                ));
            }
            let step = document::merge_step(&mut before, &patch);
            Ok(Edited { after: before, step })
        }
        Edit::Operations(operations) => match document::apply(&before, &operations) {
            Ok(after) => Ok(Edited { step: document::step(&before, &after), after }),
            Err(fault) => Err(refused(&fault)),
        },
        Edit::Replace(whole) => Ok(Edited { step: document::step(&before, &whole), after: whole }),
        Edit::Member(name, value) => Ok(put(before, name, value)),
    }
}

/// Puts a top-level member in place whole, or takes it away. Only that member is compared.
fn put(mut before: Value, name: &str, value: Option<Value>) -> Edited {
    let alone = |value: Option<Value>| Value::Object(value.map(|value| (name.to_owned(), value)).into_iter().collect());
    let Some(members) = before.as_object_mut() else { return Edited { after: before, step: None } };
    let (old, new) = (alone(members.remove(name)), alone(value));
    let step = document::step(&old, &new);
    let kept = if step.is_some() { new } else { old };
    if let Value::Object(kept) = kept {
        members.extend(kept);
    }
    Edited { after: before, step }
}

/// Why a JSON Patch was not carried out.
fn refused(fault: &PatchFault) -> Rejection {
    let finding = Finding::new(
        fault.pointer(),
        fault.to_string(),
        "mend the operation as RFC 6902 describes it; none of them was carried out",
    );
    match fault {
        PatchFault::TestFailed { pointer, .. } => {
            Rejection::TestFailed { pointer: pointer.clone(), text: finding.text }
        }
        _ if fault.is_syntax() => Rejection::Malformed(finding),
        _ => Rejection::Invalid(vec![finding]),
    }
}

/// The text of a document, if it can be stored.
pub(crate) fn written(document: &Value) -> Result<Arc<str>, Rejection> {
    document::check_written(document).map(Arc::from).map_err(|fault| Rejection::from_fault(&fault))
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

impl Step {
    /// The step that was made from a held document to the one of this text, which history keeps.
    pub(crate) fn of(paper: Paper, held: &Held, made: document::Step, text: Arc<str>, now: Timestamp) -> Self {
        let revision = held.revision.next();
        let patch: Arc<str> = document::write(&made.patch).into();
        Self {
            entry: Entry {
                paper,
                revision,
                patch: Arc::clone(&patch),
                inverse: document::write(&made.inverse).into(),
                after: Arc::clone(&text),
            },
            held: Held { revision, drift: 0, at: now, head: held.head, step: Some(patch), text },
            changed: made.changed,
        }
    }
}

/// The entry by which a fixture's record ends.
pub(crate) fn ending(held: &Held, revision: Revision) -> Entry {
    Entry { paper: Paper::Fixture, revision, patch: "null".into(), inverse: Arc::clone(&held.text), after: "{}".into() }
}
