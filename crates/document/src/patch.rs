//! RFC 6902: applying a JSON Patch, all of it or nothing.

use alloc::borrow::Cow;
use alloc::string::String;
use alloc::vec::Vec;
use core::slice;

use json_patch::jsonptr::PointerBuf;
use json_patch::{
    AddOperation, CopyOperation, MoveOperation, PatchErrorKind, PatchOperation, RemoveOperation, ReplaceOperation,
};
use serde_json::Value;

use crate::bounds::compact_length;
use crate::{Bounds, Pointer, PointerFault, equal};

/// The most operations in one JSON Patch.
pub const MAX_OPERATIONS: usize = 256;

/// Why a JSON Patch was not applied. `operation` counts from 0.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PatchFault {
    /// The patch is no array.
    #[error("a JSON Patch is an array of operations: send an array, even for one operation")]
    NotAnArray,
    /// The patch has more than [`MAX_OPERATIONS`] operations.
    #[error("a JSON Patch of {count} operations is too long: send at most {MAX_OPERATIONS}")]
    TooManyOperations {
        /// How many there are.
        count: usize,
    },
    /// An operation is no object.
    #[error(
        "operation {operation} is not an object: write it like \
         {{\"op\": \"remove\", \"path\": \"/floor\"}}"
    )]
    NotAnOperation {
        /// Which operation.
        operation: usize,
    },
    /// An operation lacks a member, or the member is not the string that it has to be.
    #[error(
        "operation {operation} needs \"{member}\": RFC 6902 section 4 says which members an op has, \
         and all but \"value\" are strings"
    )]
    Member {
        /// Which operation.
        operation: usize,
        /// The member: `op`, `path`, `from` or `value`.
        member: &'static str,
    },
    /// An operation's `op` is none of RFC 6902 section 4.
    #[error(
        "operation {operation} has the unknown op \"{op}\": use add, remove, replace, move, copy \
         or test"
    )]
    UnknownOperation {
        /// Which operation.
        operation: usize,
        /// What it says (its first 32 characters).
        op: String,
    },
    /// An operation's `path` or `from` is no JSON Pointer.
    #[error("operation {operation}, \"{member}\": {fault}")]
    NotAPointer {
        /// Which operation.
        operation: usize,
        /// `path` or `from`.
        member: &'static str,
        /// What is wrong with it.
        fault: PointerFault,
    },
    /// What `path` or `from` names does not exist, or (for an add) has nothing to be put into.
    #[error(
        "operation {operation}: there is no place {pointer} for its \"{member}\": look at the \
         document as the operations before it leave it"
    )]
    NotThere {
        /// Which operation.
        operation: usize,
        /// `path` or `from`.
        member: &'static str,
        /// The place in the document.
        pointer: Pointer,
    },
    /// A move would put a value inside itself (RFC 6902 section 4.4).
    #[error("operation {operation} moves {from} inside itself: choose a path outside of it")]
    IntoItself {
        /// Which operation.
        operation: usize,
        /// The place that would be moved.
        from: Pointer,
    },
    /// A `test` found another value (RFC 6902 section 4.6).
    #[error(
        "operation {operation}: the test at {pointer} found another value: read the document \
         again before changing it"
    )]
    TestFailed {
        /// Which operation.
        operation: usize,
        /// The place in the document.
        pointer: Pointer,
    },
    /// The document has become larger or deeper than [`Bounds::BODY`] allows even for a message.
    #[error("operation {operation} makes the document too large: copy and nest less")]
    TooLarge {
        /// Which operation.
        operation: usize,
    },
}

impl PatchFault {
    /// Which operation it is about, from 0; `None` for the patch as a whole.
    #[must_use]
    pub fn operation(&self) -> Option<usize> {
        match self {
            Self::NotAnArray | Self::TooManyOperations { .. } => None,
            Self::NotAnOperation { operation }
            | Self::Member { operation, .. }
            | Self::UnknownOperation { operation, .. }
            | Self::NotAPointer { operation, .. }
            | Self::NotThere { operation, .. }
            | Self::IntoItself { operation, .. }
            | Self::TestFailed { operation, .. }
            | Self::TooLarge { operation } => Some(*operation),
        }
    }

    /// The place in the document that the operation names, if it is about such a place.
    #[must_use]
    pub fn target(&self) -> Option<&Pointer> {
        match self {
            Self::NotThere { pointer, .. } | Self::TestFailed { pointer, .. } => Some(pointer),
            Self::IntoItself { from, .. } => Some(from),
            _ => None,
        }
    }

    /// The faulty place in the patch itself, such as `/3/path`.
    #[must_use]
    pub fn pointer(&self) -> Pointer {
        let mut pointer = Pointer::default();
        if let Some(operation) = self.operation() {
            pointer.push_index(operation);
        }
        match self {
            // A missing member has no place of its own.
            Self::UnknownOperation { .. } => pointer.push("op"),
            Self::NotAPointer { member, .. } | Self::NotThere { member, .. } => {
                pointer.push(member);
            }
            Self::IntoItself { .. } => pointer.push("path"),
            _ => {}
        }
        pointer
    }

    /// Whether the patch itself is malformed (`true`: HTTP's 400), rather than one that this
    /// document cannot take (`false`: 409 or 422, RFC 5789 section 2.2) or that is too long.
    #[must_use]
    pub fn is_syntax(&self) -> bool {
        matches!(
            self,
            Self::NotAnArray
                | Self::NotAnOperation { .. }
                | Self::Member { .. }
                | Self::UnknownOperation { .. }
                | Self::NotAPointer { .. }
        )
    }
}

/// Applies a JSON Patch (RFC 6902) and gives the result; the value stays as it is, so a fault
/// leaves nothing half done. Read the patch with [`parse`](fn@crate::parse), which refuses an
/// operation whose `op` occurs twice.
///
/// The result is not checked: give it to [`check_document`](crate::check_document). Only what
/// operations could blow up on the way is stopped, at [`Bounds::BODY`]'s bytes and levels.
///
/// # Errors
/// The first operation that is malformed; if none is, the first that cannot be carried out.
///
/// ```
/// use document::{PatchFault, apply};
/// use serde_json::json;
///
/// let desired = json!({"lit": true, "floor": 8});
/// let patch = json!([
///     {"op": "test", "path": "/floor", "value": 8.0},
///     {"op": "replace", "path": "/floor", "value": 12},
/// ]);
/// let edited = apply(&desired, &patch)?;
/// assert_eq!(edited, json!({"lit": true, "floor": 12}));
///
/// let fault = apply(&edited, &patch).unwrap_err();
/// assert!(matches!(fault, PatchFault::TestFailed { operation: 0, .. }));
/// # Ok::<(), PatchFault>(())
/// ```
pub fn apply(value: &Value, operations: &Value) -> Result<Value, PatchFault> {
    let Value::Array(operations) = operations else {
        return Err(PatchFault::NotAnArray);
    };
    let count = operations.len();
    if count > MAX_OPERATIONS {
        return Err(PatchFault::TooManyOperations { count });
    }
    let steps = operations.iter().enumerate().map(|(operation, given)| read(operation, given));
    let steps: Vec<Step<'_>> = steps.collect::<Result<_, _>>()?;
    let mut result = value.clone();
    for (operation, step) in steps.into_iter().enumerate() {
        step.apply(operation, &mut result)?;
    }
    Ok(result)
}

/// One operation, read.
enum Step<'a> {
    /// Ours, since the library holds 1 and 1.0 for different.
    Test { path: Pointer, value: &'a Value },
    /// One that the library carries out.
    Edit { path: Pointer, from: Option<Pointer>, edit: PatchOperation },
}

fn read(operation: usize, given: &Value) -> Result<Step<'_>, PatchFault> {
    let Value::Object(members) = given else {
        return Err(PatchFault::NotAnOperation { operation });
    };
    let text = |member| {
        let text = members.get(member).and_then(Value::as_str);
        text.ok_or(PatchFault::Member { operation, member })
    };
    let pointer = |member| {
        let pointer = text(member)?.parse::<Pointer>();
        pointer.map_err(|fault| PatchFault::NotAPointer { operation, member, fault })
    };
    let value = || members.get("value").ok_or(PatchFault::Member { operation, member: "value" });

    let op = text("op")?;
    if !["add", "remove", "replace", "move", "copy", "test"].contains(&op) {
        // The start of it is enough to find it again.
        let op = op.chars().take(32).collect();
        return Err(PatchFault::UnknownOperation { operation, op });
    }
    let path = pointer("path")?;
    if op == "test" {
        return Ok(Step::Test { path, value: value()? });
    }
    let from = if matches!(op, "move" | "copy") { Some(pointer("from")?) } else { None };
    let (to, source) = (translated(&path), from.as_ref().map(translated));
    let edit = match (op, source) {
        ("move", Some(from)) => PatchOperation::Move(MoveOperation { from, path: to }),
        ("copy", Some(from)) => PatchOperation::Copy(CopyOperation { from, path: to }),
        ("remove", _) => PatchOperation::Remove(RemoveOperation { path: to }),
        ("replace", _) => PatchOperation::Replace(ReplaceOperation { path: to, value: value()?.clone() }),
        _ => PatchOperation::Add(AddOperation { path: to, value: value()?.clone() }),
    };
    Ok(Step::Edit { path, from, edit })
}

/// The same pointer as the library's own kind.
fn translated(pointer: &Pointer) -> PointerBuf {
    PointerBuf::from_tokens(pointer.tokens().map(Cow::into_owned))
}

impl Step<'_> {
    fn apply(self, operation: usize, target: &mut Value) -> Result<(), PatchFault> {
        match self {
            Self::Test { path, value } => match path.resolve(target) {
                Some(found) if equal(found, value) => Ok(()),
                Some(_) => Err(PatchFault::TestFailed { operation, pointer: path }),
                None => Err(PatchFault::NotThere { operation, member: "path", pointer: path }),
            },
            Self::Edit { path, from, edit } => {
                json_patch::patch_unsafe(target, slice::from_ref(&edit))
                    .map_err(|error| fault(operation, path, from, &error.kind))?;
                still_bounded(operation, target, matches!(edit, PatchOperation::Copy(_)))?;
                Ok(())
            }
        }
    }
}

/// 256 copies of the whole into itself would double it 256 times; one can only double it. Other
/// operations cannot grow it by more than the patch's own text, but all can nest it deeper.
fn still_bounded(operation: usize, value: &Value, copied: bool) -> Result<(), PatchFault> {
    let Bounds { bytes, depth, .. } = Bounds::BODY;
    let fits = is_within(value, depth) && (!copied || compact_length(value) <= bytes);
    if fits { Ok(()) } else { Err(PatchFault::TooLarge { operation }) }
}

/// Whether the value has at most this many levels of objects and arrays.
fn is_within(value: &Value, levels: usize) -> bool {
    let Some(inner) = levels.checked_sub(1) else {
        return !value.is_object() && !value.is_array();
    };
    match value {
        Value::Object(members) => members.values().all(|member| is_within(member, inner)),
        Value::Array(elements) => elements.iter().all(|element| is_within(element, inner)),
        _ => true,
    }
}

fn fault(operation: usize, path: Pointer, from: Option<Pointer>, kind: &PatchErrorKind) -> PatchFault {
    match (kind, from) {
        (PatchErrorKind::CannotMoveInsideItself, Some(from)) => PatchFault::IntoItself { operation, from },
        (PatchErrorKind::InvalidFromPointer, Some(from)) => {
            PatchFault::NotThere { operation, member: "from", pointer: from }
        }
        _ => PatchFault::NotThere { operation, member: "path", pointer: path },
    }
}
