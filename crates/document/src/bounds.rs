//! How large and how deep a document may be, and the check of a value that is already built.

use alloc::string::String;

use serde_json::Value;

use crate::{Fault, Pointer, Problem};

/// The most levels that [`Bounds::depth`] can ask for, whatever it says: the reader below it
/// stops at 128 to protect the stack.
const DEEPEST: usize = 120;

/// The bounds of a document or a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// The most bytes of UTF-8: of the text that is read, or of a value written compactly.
    pub bytes: usize,
    /// The most levels of objects and arrays; the outermost is level 1, and a plain value adds
    /// none. At most 120 are taken, even if this says more.
    pub depth: usize,
    /// The most object members, counted over all levels.
    pub members: usize,
    /// The most bytes in a member's name.
    pub name_bytes: usize,
}

impl Bounds {
    /// A stored document: 8 KiB, 16 levels, 512 members, names of 64 bytes.
    pub const DOCUMENT: Self = Self { bytes: 8192, depth: 16, members: 512, name_bytes: 64 };

    /// A request body or a message, which may wrap a document in more than itself: 64 KiB, 32
    /// levels, 4096 members, names of 256 bytes.
    pub const BODY: Self = Self { bytes: 65536, depth: 32, members: 4096, name_bytes: 256 };

    /// The levels that are really allowed.
    pub(crate) fn levels(&self) -> usize {
        self.depth.min(DEEPEST)
    }

    /// Whether one more level may begin inside `depth` levels.
    pub(crate) fn enter(&self, depth: usize) -> Result<usize, Problem> {
        let limit = self.levels();
        if depth < limit { Ok(depth + 1) } else { Err(Problem::TooDeep { limit }) }
    }

    /// Whether this many bytes are allowed.
    pub(crate) fn size(&self, bytes: usize) -> Result<(), Problem> {
        let limit = self.bytes;
        if bytes <= limit { Ok(()) } else { Err(Problem::TooManyBytes { bytes, limit }) }
    }

    /// Counts a member and checks its name.
    pub(crate) fn member(&self, name: &str, members: &mut usize) -> Result<(), Problem> {
        if name.is_empty() {
            return Err(Problem::NameEmpty);
        }
        if name.len() > self.name_bytes {
            return Err(Problem::NameTooLong { bytes: name.len(), limit: self.name_bytes });
        }
        // the common case first: no character has to be put together from its bytes
        let plain = name.bytes().all(|byte| (b' '..0x7f).contains(&byte));
        if !plain && name.contains(char::is_control) {
            return Err(Problem::NameHasControl);
        }
        *members += 1;
        if *members > self.members {
            return Err(Problem::TooManyMembers { limit: self.members });
        }
        Ok(())
    }
}

/// Checks a value that is already built against the bounds; its size is that of its compact text.
///
/// # Errors
/// The first member or level that breaks a bound, in the order of the value; then the size.
///
/// ```
/// use document::{Bounds, Problem, check};
/// use serde_json::json;
///
/// let fault = check(&json!({"looks": {"": {}}}), &Bounds::DOCUMENT).unwrap_err();
/// assert_eq!((fault.pointer.as_str(), fault.problem), ("/looks/", Problem::NameEmpty));
/// ```
pub fn check(value: &Value, bounds: &Bounds) -> Result<(), Fault> {
    walk(value, bounds)?;
    // After the depth, since writing a value goes as deep as the value does.
    size(compact_length(value), bounds)
}

/// Checks that a value can be stored as a document: an object within [`Bounds::DOCUMENT`] in which
/// no member is null. A null inside an array is fine, because a merge patch takes arrays whole.
///
/// # Errors
/// [`Problem::NotAnObject`], what [`check`] finds, or [`Problem::NullMember`].
///
/// ```
/// use document::{Problem, check_document};
/// use serde_json::json;
///
/// assert!(check_document(&json!({"lit": true, "scores": [1, null]})).is_ok());
/// let fault = check_document(&json!({"looks": {"late": null}})).unwrap_err();
/// assert_eq!((fault.pointer.as_str(), fault.problem), ("/looks/late", Problem::NullMember));
/// ```
pub fn check_document(value: &Value) -> Result<(), Fault> {
    let nulls = walk_document(value)?;
    size(compact_length(value), &Bounds::DOCUMENT)?;
    refuse_nulls(value, nulls)
}

/// As [`check_document`], and gives the value's compact text, by which its size was measured.
///
/// ```
/// let text = document::check_written(&serde_json::json!({"lit": true}))?;
/// assert_eq!(text, r#"{"lit":true}"#);
/// # Ok::<(), document::Fault>(())
/// ```
///
/// # Errors
/// As [`check_document`].
pub fn check_written(value: &Value) -> Result<String, Fault> {
    let nulls = walk_document(value)?;
    let text = crate::write(value);
    size(text.len(), &Bounds::DOCUMENT)?;
    refuse_nulls(value, nulls)?;
    Ok(text)
}

fn walk_document(value: &Value) -> Result<bool, Fault> {
    if !value.is_object() {
        return Err(Fault::new(Pointer::default(), Problem::NotAnObject));
    }
    walk(value, &Bounds::DOCUMENT)
}

fn size(bytes: usize, bounds: &Bounds) -> Result<(), Fault> {
    bounds.size(bytes).map_err(|problem| Fault::new(Pointer::default(), problem))
}

fn refuse_nulls(value: &Value, nulls: bool) -> Result<(), Fault> {
    let mut pointer = Pointer::default();
    if nulls && has_null_member(value, &mut pointer) {
        return Err(Fault::new(pointer, Problem::NullMember));
    }
    Ok(())
}

/// Walks through a value; whether there is a member that is null. Only where a bound is broken is it walked again, to
/// find the place: nearly every value is within its bounds.
fn walk(value: &Value, bounds: &Bounds) -> Result<bool, Fault> {
    let mut count = Count { bounds, members: 0, nulls: false };
    if count.value(value, 0).is_ok() {
        return Ok(count.nulls);
    }
    let mut walk = Walk { bounds, members: 0, pointer: Pointer::default() };
    walk.value(value, 0).map_err(|problem| Fault::new(walk.pointer, problem))?;
    Ok(count.nulls)
}

/// The walk that keeps no account of where it is.
struct Count<'a> {
    bounds: &'a Bounds,
    members: usize,
    nulls: bool,
}

impl Count<'_> {
    fn value(&mut self, value: &Value, depth: usize) -> Result<(), Problem> {
        match value {
            Value::Object(members) => {
                let depth = self.bounds.enter(depth)?;
                for (name, member) in members {
                    self.bounds.member(name, &mut self.members)?;
                    self.nulls |= member.is_null();
                    self.value(member, depth)?;
                }
            }
            Value::Array(elements) => {
                let depth = self.bounds.enter(depth)?;
                for element in elements {
                    self.value(element, depth)?;
                }
            }
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
        }
        Ok(())
    }
}

/// Whether a member is null; if so the pointer stays on it.
fn has_null_member(value: &Value, pointer: &mut Pointer) -> bool {
    let Value::Object(members) = value else {
        return false;
    };
    for (name, member) in members {
        let mark = pointer.mark();
        pointer.push(name);
        if member.is_null() || has_null_member(member, pointer) {
            return true;
        }
        pointer.cut(mark);
    }
    false
}

/// The walk through a value; after a problem its pointer stays on the place.
struct Walk<'a> {
    bounds: &'a Bounds,
    members: usize,
    pointer: Pointer,
}

impl Walk<'_> {
    fn value(&mut self, value: &Value, depth: usize) -> Result<(), Problem> {
        match value {
            Value::Object(members) => {
                let depth = self.bounds.enter(depth)?;
                for (name, member) in members {
                    let mark = self.pointer.mark();
                    self.pointer.push(name);
                    self.bounds.member(name, &mut self.members)?;
                    self.value(member, depth)?;
                    self.pointer.cut(mark);
                }
            }
            Value::Array(elements) => {
                let depth = self.bounds.enter(depth)?;
                for (index, element) in elements.iter().enumerate() {
                    let mark = self.pointer.mark();
                    self.pointer.push_index(index);
                    self.value(element, depth)?;
                    self.pointer.cut(mark);
                }
            }
            Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
        }
        Ok(())
    }
}

/// The length in bytes of the value's compact text.
pub(crate) fn compact_length(value: &Value) -> usize {
    crate::write(value).len()
}
