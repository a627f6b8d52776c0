//! What an edit did, found in one walk: the patch there, the patch back, and the places that changed.

use alloc::string::String;
use alloc::vec::Vec;
use core::cmp::Ordering;

use serde_json::{Map, Value};

use crate::difference::leaves;
use crate::{Pointer, changed, equal, merged};

/// What leads from one value to another and back.
///
/// It says what [`difference`](fn@crate::difference) says in both directions and what [`changed`] says, each found in
/// the same walk.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The smallest merge patch there.
    pub patch: Value,
    /// The smallest merge patch back.
    pub inverse: Value,
    /// The leaves that differ, sorted by name at each level.
    pub changed: Vec<Pointer>,
}

/// The step from one value to another; `None` when the two are [`equal`](fn@equal).
///
/// ```
/// use serde_json::json;
///
/// let step = document::step(&json!({"lit": true, "floor": 8}), &json!({"lit": false})).unwrap();
/// assert_eq!(step.patch, json!({"floor": null, "lit": false}));
/// assert_eq!(step.inverse, json!({"floor": 8, "lit": true}));
/// assert!(document::step(&json!({"floor": 8}), &json!({"floor": 8.0})).is_none());
/// ```
#[must_use]
pub fn step(from: &Value, to: &Value) -> Option<Step> {
    let (Value::Object(before), Value::Object(after)) = (from, to) else {
        return (!equal(from, to)).then(|| Step {
            patch: to.clone(),
            inverse: from.clone(),
            changed: changed(from, to),
        });
    };
    let mut walk = Walk::default();
    walk.compare(before, after).map(|both| walk.end(both))
}

/// Applies a merge patch as [`merge`](fn@crate::merge) does, and gives the step that it made; `None` when the target
/// is what it was.
///
/// It visits no more than the patch names. A number that the patch only spells otherwise (1, 1.0) stays as it was
/// written. A patch or a target that is no object is taken whole.
///
/// ```
/// use serde_json::json;
///
/// let mut desired = json!({"lit": true, "looks": {"late": {"kelvin": 2400}}});
/// let step = document::merge_step(&mut desired, &json!({"lit": true, "looks": {"late": {"kelvin": 2700}}})).unwrap();
/// assert_eq!(desired["looks"]["late"]["kelvin"], 2700);
/// assert_eq!(step.patch, json!({"looks": {"late": {"kelvin": 2700}}}));
/// assert_eq!(step.changed[0].as_str(), "/looks/late/kelvin");
/// ```
pub fn merge_step(target: &mut Value, patch: &Value) -> Option<Step> {
    if let (Value::Object(members), Value::Object(changes)) = (&mut *target, patch) {
        let mut walk = Walk::default();
        return walk.merge(members, changes).map(|both| walk.end(both));
    }
    let after = merged(target, patch);
    let step = step(target, &after)?;
    *target = after;
    Some(step)
}

/// The patch there and the patch back.
type Both = (Map<String, Value>, Map<String, Value>);

/// One walk, and what it has found.
#[derive(Default)]
struct Walk {
    at: Pointer,
    changed: Vec<Pointer>,
}

impl Walk {
    fn end(self, (patch, inverse): Both) -> Step {
        Step { patch: Value::Object(patch), inverse: Value::Object(inverse), changed: self.changed }
    }

    /// Does something one level further in.
    fn inside<T>(&mut self, name: &str, visit: impl FnOnce(&mut Self) -> T) -> T {
        let mark = self.at.mark();
        self.at.push(name);
        let result = visit(self);
        self.at.cut(mark);
        result
    }

    /// A member that came, went or was replaced: what it was and what it is.
    fn note(&mut self, both: &mut Both, name: &str, old: Option<Value>, new: Option<Value>) {
        self.inside(name, |walk| match (&old, &new) {
            (Some(only), None) | (None, Some(only)) => leaves(only, &mut walk.at, &mut walk.changed),
            _ => walk.changed.push(walk.at.clone()),
        });
        both.0.insert(name.into(), new.unwrap_or_default());
        both.1.insert(name.into(), old.unwrap_or_default());
    }

    /// A member in which something changed.
    fn nest(both: &mut Both, name: &str, (patch, inverse): Both) {
        both.0.insert(name.into(), Value::Object(patch));
        both.1.insert(name.into(), Value::Object(inverse));
    }

    /// Members are kept sorted by name, so two objects are walked side by side.
    fn compare(&mut self, before: &Map<String, Value>, after: &Map<String, Value>) -> Option<Both> {
        let mut both = Both::default();
        let (mut before, mut after) = (before.iter().peekable(), after.iter().peekable());
        loop {
            let order = match (before.peek(), after.peek()) {
                (None, None) => break,
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (Some((old, _)), Some((new, _))) => old.cmp(new),
            };
            let old = if order.is_le() { before.next() } else { None };
            let new = if order.is_ge() { after.next() } else { None };
            match (old, new) {
                (Some((name, Value::Object(old))), Some((_, Value::Object(new)))) => {
                    if let Some(inner) = self.inside(name, |walk| walk.compare(old, new)) {
                        Self::nest(&mut both, name, inner);
                    }
                }
                (Some((name, old)), Some((_, new))) => {
                    if !equal(old, new) {
                        self.note(&mut both, name, Some(old.clone()), Some(new.clone()));
                    }
                }
                (Some((name, old)), None) => self.note(&mut both, name, Some(old.clone()), None),
                (None, Some((name, new))) => self.note(&mut both, name, None, Some(new.clone())),
                (None, None) => break,
            }
        }
        (!both.0.is_empty()).then_some(both)
    }

    fn merge(&mut self, members: &mut Map<String, Value>, changes: &Map<String, Value>) -> Option<Both> {
        let mut both = Both::default();
        for (name, change) in changes {
            match (members.get_mut(name), change) {
                (None, Value::Null) => {}
                (Some(_), Value::Null) => {
                    let old = members.remove(name);
                    self.note(&mut both, name, old, None);
                }
                (Some(Value::Object(members)), Value::Object(changes)) => {
                    if let Some(inner) = self.inside(name, |walk| walk.merge(members, changes)) {
                        Self::nest(&mut both, name, inner);
                    }
                }
                (Some(member), change) => {
                    let new = merged(&Value::Null, change);
                    if !equal(member, &new) {
                        let old = core::mem::replace(member, new.clone());
                        self.note(&mut both, name, Some(old), Some(new));
                    }
                }
                (None, change) => {
                    let new = merged(&Value::Null, change);
                    members.insert(name.clone(), new.clone());
                    self.note(&mut both, name, None, Some(new));
                }
            }
        }
        (!both.0.is_empty()).then_some(both)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn members_are_sorted_by_name_as_the_walk_needs_it() {
        // a feature of the JSON library, switched on anywhere in a build, would keep them as they came
        let value = json!({"b": 1, "a": 2, "B": 3, "a/": 4});
        let names: Vec<&String> = value.as_object().unwrap().keys().collect();
        assert_eq!(names, ["B", "a", "a/", "b"]);
    }

    #[test]
    fn a_merge_that_says_what_is_so_already_is_no_step_and_changes_no_spelling() {
        let mut value = json!({"a": 1, "b": {"c": [1, 2]}});
        assert_eq!(merge_step(&mut value, &json!({"a": 1.0, "b": {"c": [1.0, 2]}, "d": null})), None);
        assert_eq!(value, json!({"a": 1, "b": {"c": [1, 2]}}));
    }

    #[test]
    fn what_is_no_object_is_taken_whole() {
        let mut value = json!({"a": 1});
        let step = merge_step(&mut value, &json!([1])).unwrap();
        assert_eq!((value, step.patch, step.inverse), (json!([1]), json!([1]), json!({"a": 1})));
        let mut value = json!(5);
        assert_eq!(merge_step(&mut value, &json!({"a": {"b": null}})).unwrap().patch, json!({"a": {}}));
        assert_eq!(value, json!({"a": {}}));
    }
}
