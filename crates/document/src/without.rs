//! A document without some of its members.

use alloc::borrow::Cow;
use alloc::vec::Vec;

use serde_json::Value;

use crate::Pointer;

/// A copy without the members at these pointers.
///
/// What is not there is passed over; so is a pointer through an array, and the pointer to the
/// whole document. An object that loses its last member stays, empty.
///
/// ```
/// use serde_json::json;
///
/// let reported = json!({"lit": true, "wifi": {"rssi": -61, "channel": 6}});
/// let steady = document::without(&reported, &["/wifi/rssi".parse()?]);
/// assert_eq!(steady, json!({"lit": true, "wifi": {"channel": 6}}));
/// # Ok::<(), document::PointerFault>(())
/// ```
#[must_use]
pub fn without(value: &Value, members: &[Pointer]) -> Value {
    let mut copy = value.clone();
    remove(&mut copy, members);
    copy
}

/// Takes the members at these pointers away, as [`without`] leaves them out.
///
/// ```
/// let mut reported = serde_json::json!({"lit": true, "rssi": -61});
/// document::remove(&mut reported, &["/rssi".parse()?]);
/// assert_eq!(reported, serde_json::json!({"lit": true}));
/// # Ok::<(), document::PointerFault>(())
/// ```
pub fn remove(value: &mut Value, members: &[Pointer]) {
    for pointer in members {
        let tokens: Vec<Cow<'_, str>> = pointer.tokens().collect();
        if let [parents @ .., name] = tokens.as_slice() {
            remove_one(value, parents, name);
        }
    }
}

fn remove_one(value: &mut Value, parents: &[Cow<'_, str>], name: &str) {
    let parent = parents.iter().try_fold(value, |value, token| value.as_object_mut()?.get_mut(token.as_ref()));
    if let Some(Value::Object(members)) = parent {
        members.remove(name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn left(value: &Value, pointers: &[&str]) -> Value {
        let pointers: Vec<Pointer> = pointers.iter().map(|text| text.parse().unwrap()).collect();
        without(value, &pointers)
    }

    #[test]
    fn named_members_are_left_out_and_the_rest_stays() {
        let value = json!({"a": {"b": 1, "c": 2}, "d~": 3, "e": 4});
        assert_eq!(left(&value, &["/a/b", "/d~0"]), json!({"a": {"c": 2}, "e": 4}));
        assert_eq!(left(&value, &["/a"]), json!({"d~": 3, "e": 4}));
        assert_eq!(left(&value, &["/a", "/a/b"]), json!({"d~": 3, "e": 4}));
        assert_eq!(left(&json!({"a": {"b": 1}}), &["/a/b"]), json!({"a": {}}));
    }

    #[test]
    fn what_is_not_there_what_lies_in_an_array_and_the_whole_are_passed_over() {
        let value = json!({"a": [{"b": 1}], "c": 2});
        let untouched = ["", "/", "/x", "/x/y", "/a/0", "/a/0/b", "/a/-", "/c/d"];
        assert_eq!(left(&value, &untouched), value);
        assert_eq!(left(&json!(5), &["/a", ""]), json!(5));
        assert_eq!(left(&value, &[]), value);
    }
}
