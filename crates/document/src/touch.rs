//! Whether a merge patch changes a place: for the history of one part of a document.

use serde_json::Value;

use crate::Pointer;

/// Whether this merge patch changes anything at the pointer, under it, or above it by replacing
/// or removing what holds it.
///
/// The answer is about the patch alone: one that sets a member to the value it has already counts
/// as a change, so give it patches made by [`difference`](fn@crate::difference). A pointer into an
/// array is touched when the array is, since arrays are taken whole.
///
/// ```
/// use document::{Pointer, touches};
/// use serde_json::json;
///
/// let patch = json!({"looks": {"late": {"kelvin": 2700}, "greet": null}});
/// assert!(touches(&patch, &"/looks/late".parse()?));
/// assert!(touches(&patch, &"/looks/greet/colours/0".parse()?));
/// assert!(!touches(&patch, &"/looks/evening".parse()?));
/// assert!(!touches(&patch, &"/lit".parse()?));
/// # Ok::<(), document::PointerFault>(())
/// ```
#[must_use]
pub fn touches(patch: &Value, pointer: &Pointer) -> bool {
    let mut change = patch;
    for token in pointer.tokens() {
        // What is no object (null too) replaces or removes everything from here on.
        let Value::Object(members) = change else {
            return true;
        };
        match members.get(token.as_ref()) {
            Some(member) => change = member,
            None => return false,
        }
    }
    // An empty patch changes nothing; an empty object further in makes its member an object.
    !pointer.is_whole() || change.as_object().is_none_or(|members| !members.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn touched(patch: &Value, pointer: &str) -> bool {
        touches(patch, &pointer.parse().unwrap())
    }

    #[test]
    fn a_patch_touches_what_it_sets_and_everything_above_it() {
        let patch = json!({"a": {"b": 1}});
        for pointer in ["", "/a", "/a/b"] {
            assert!(touched(&patch, pointer), "{pointer}");
        }
        for pointer in ["/b", "/a/c", "/a/bb", "/"] {
            assert!(!touched(&patch, pointer), "{pointer}");
        }
    }

    #[test]
    fn a_patch_touches_all_that_lies_under_what_it_replaces_or_removes() {
        for patch in [json!({"a": null}), json!({"a": 5}), json!({"a": [1]})] {
            for pointer in ["/a/b/c", "/a/0", "/a"] {
                assert!(touched(&patch, pointer), "{patch} {pointer}");
            }
            assert!(!touched(&patch, "/b"), "{patch}");
        }
        assert!(touched(&json!(null), "/anything"));
        assert!(touched(&json!([]), ""));
    }

    #[test]
    fn an_empty_patch_touches_nothing_and_an_empty_object_its_member() {
        assert!(!touched(&json!({}), ""));
        assert!(!touched(&json!({}), "/a"));
        assert!(touched(&json!({"a": {}}), ""));
        assert!(touched(&json!({"a": {}}), "/a"));
        assert!(!touched(&json!({"a": {}}), "/a/b"));
    }

    #[test]
    fn tokens_are_unescaped_before_they_are_looked_up() {
        let patch = json!({"a/b": {"m~n": 1}});
        assert!(touched(&patch, "/a~1b/m~0n"));
        assert!(!touched(&patch, "/a/b"));
    }
}
