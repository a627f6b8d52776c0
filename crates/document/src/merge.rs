//! RFC 7396: applying a merge patch.

use alloc::string::String;

use serde_json::{Map, Value};

/// Applies a merge patch by RFC 7396 section 2: members of the patch that are null are removed
/// from the target, objects are merged member by member, and everything else (arrays too) takes
/// the target's place whole.
///
/// It descends no deeper than the patch. The result is not checked against any bound.
///
/// ```
/// use serde_json::json;
///
/// let mut desired = json!({"lit": true, "floor": 8});
/// document::merge(&mut desired, &json!({"floor": null, "fade": 2.0}));
/// assert_eq!(desired, json!({"lit": true, "fade": 2.0}));
/// ```
pub fn merge(target: &mut Value, patch: &Value) {
    let Value::Object(changes) = patch else {
        *target = patch.clone();
        return;
    };
    if let Value::Object(members) = target {
        merge_members(members, changes);
    } else {
        let mut members = Map::new();
        merge_members(&mut members, changes);
        *target = Value::Object(members);
    }
}

fn merge_members(members: &mut Map<String, Value>, changes: &Map<String, Value>) {
    for (name, change) in changes {
        if change.is_null() {
            members.remove(name);
        } else if let Some(member) = members.get_mut(name) {
            merge(member, change);
        } else {
            members.insert(name.clone(), merged(&Value::Null, change));
        }
    }
}

/// What [`merge`] makes of the target, which stays as it is.
#[must_use]
pub fn merged(target: &Value, patch: &Value) -> Value {
    // A target that is no object gives nothing to the result: spare the copy.
    let mut result = if target.is_object() { target.clone() } else { Value::Null };
    merge(&mut result, patch);
    result
}
