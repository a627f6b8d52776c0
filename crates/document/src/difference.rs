//! What changed between two documents: as a merge patch, and as a list of places.

use alloc::collections::BTreeSet;
use alloc::string::String;
use alloc::vec::Vec;

use serde_json::{Map, Value};

use crate::{Pointer, equal};

/// The smallest merge patch that makes `to` out of `from`; `{}` when the two objects are
/// [`equal`](fn@equal).
///
/// `merge(from, difference(from, to))` is equal to `to`, provided that `to` has no null member
/// outside its arrays, which every value that passes [`check_document`](crate::check_document)
/// fulfils: RFC 7396 reads null as "remove" and cannot set it. A number that is only spelled
/// otherwise (1, 1.0) is no change. If one of the two is no object, the patch is `to` itself.
///
/// ```
/// use serde_json::json;
///
/// let reported = json!({"lit": true, "floor": 8, "looks": {"late": {"kelvin": 2400}}});
/// let desired = json!({"lit": true, "looks": {"late": {"kelvin": 2700}}});
/// assert_eq!(
///     document::difference(&reported, &desired),
///     json!({"floor": null, "looks": {"late": {"kelvin": 2700}}}),
/// );
/// ```
#[must_use]
pub fn difference(from: &Value, to: &Value) -> Value {
    let (Value::Object(before), Value::Object(after)) = (from, to) else {
        return to.clone();
    };
    let mut patch = Map::new();
    for name in before.keys() {
        if !after.contains_key(name) {
            patch.insert(name.clone(), Value::Null);
        }
    }
    for (name, new) in after {
        match before.get(name) {
            Some(old) if equal(old, new) => {}
            Some(old) => {
                patch.insert(name.clone(), difference(old, new));
            }
            None => {
                patch.insert(name.clone(), new.clone());
            }
        }
    }
    Value::Object(patch)
}

/// The leaves that differ, whether added, removed or replaced, sorted by name at each level (the
/// order in which a document is written). Empty if and only if the two are [`equal`](fn@equal).
///
/// A leaf is whatever is no object, an array as one, and an empty object. Where an object took
/// the place of something else, or the other way round, that place counts as one leaf.
///
/// ```
/// use serde_json::json;
///
/// let before = json!({"lit": true, "looks": {"late": {"kelvin": 2400}}});
/// let after = json!({"looks": {"late": {"kelvin": 2700, "intensity": 22}}});
/// let places: Vec<String> =
///     document::changed(&before, &after).iter().map(ToString::to_string).collect();
/// assert_eq!(places, ["/lit", "/looks/late/intensity", "/looks/late/kelvin"]);
/// ```
#[must_use]
pub fn changed(from: &Value, to: &Value) -> Vec<Pointer> {
    let mut leaves = Vec::new();
    collect(Some(from), Some(to), &mut Pointer::default(), &mut leaves);
    leaves
}

/// Adds the leaves that differ between the two values of one place; `None` is "not there".
fn collect(from: Option<&Value>, to: Option<&Value>, at: &mut Pointer, leaves: &mut Vec<Pointer>) {
    match (from, to) {
        (None, None) => {}
        (Some(from), Some(to)) if equal(from, to) => {}
        (Some(Value::Object(before)), Some(Value::Object(after))) => {
            let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
            for name in names {
                let mark = at.mark();
                at.push(name);
                collect(before.get(name), after.get(name), at, leaves);
                at.cut(mark);
            }
        }
        (Some(only), None) | (None, Some(only)) => self::leaves(only, at, leaves),
        _ => leaves.push(at.clone()),
    }
}

/// Adds the leaves of a value that came or went whole.
pub(crate) fn leaves(only: &Value, at: &mut Pointer, found: &mut Vec<Pointer>) {
    match only {
        Value::Object(members) if !members.is_empty() => {
            for (name, value) in members {
                let mark = at.mark();
                at.push(name);
                leaves(value, at, found);
                at.cut(mark);
            }
        }
        _ => found.push(at.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;
    use serde_json::json;

    fn places(from: &Value, to: &Value) -> Vec<String> {
        changed(from, to).iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_number_that_is_only_spelled_otherwise_has_not_changed() {
        let (from, to) = (json!({"a": 1, "b": {"c": [0]}}), json!({"a": 1.0, "b": {"c": [-0.0]}}));
        assert!(changed(&from, &to).is_empty());
        assert_eq!(difference(&from, &to), json!({}));
        let to = json!({"a": 1.0, "b": {"c": [-0.0], "d": 1}});
        assert_eq!(places(&from, &to), ["/b/d"]);
        assert_eq!(difference(&from, &to), json!({"b": {"d": 1}}));
    }

    #[test]
    fn objects_that_come_or_go_are_told_leaf_by_leaf() {
        let full = json!({"a": {"b": 1, "c": {"d": [1, 2], "e": {}}}, "f": 1});
        let leaves = ["/a/b", "/a/c/d", "/a/c/e"];
        assert_eq!(places(&full, &json!({"f": 1})), leaves);
        assert_eq!(places(&json!({"f": 1}), &full), leaves);
    }

    #[test]
    fn an_array_is_one_leaf_and_so_is_an_object_in_place_of_something_else() {
        assert_eq!(places(&json!({"a": [1, {"b": 2}]}), &json!({"a": [1, {"b": 3}]})), ["/a"]);
        assert_eq!(places(&json!({"a": 7}), &json!({"a": {"b": 1, "c": 2}})), ["/a"]);
        assert_eq!(places(&json!({"a": {"b": 1}}), &json!({"a": [1]})), ["/a"]);
        assert_eq!(places(&json!({"a": {}}), &json!({})), ["/a"]);
        assert_eq!(places(&json!({"a": {}}), &json!({"a": {"b": 1}})), ["/a/b"]);
        assert_eq!(places(&json!([]), &json!({})), [""]);
    }

    #[test]
    fn leaves_are_sorted_by_name_and_escaped() {
        let to = json!({"b": 1, "a/b": 2, "a": {"z": 3, "m~n": 4}});
        assert_eq!(places(&json!({}), &to), ["/a/m~0n", "/a/z", "/a~1b", "/b"]);
    }

    #[test]
    fn where_one_side_is_no_object_the_patch_is_the_other_side() {
        assert_eq!(difference(&json!({"a": 1}), &json!(5)), json!(5));
        assert_eq!(difference(&json!([1]), &json!({"a": 1})), json!({"a": 1}));
        assert_eq!(difference(&json!([1]), &json!([1])), json!([1]));
    }
}
