//! JSON Patch beyond the printed cases: what each fault says, and what must not blow up.

use document::{Bounds, MAX_OPERATIONS, PatchFault, Pointer, PointerFault, Value, apply, check};
use serde_json::json;

fn pointer(text: &str) -> Pointer {
    text.parse().unwrap()
}

fn fault(value: &Value, patch: &Value) -> PatchFault {
    apply(value, patch).unwrap_err()
}

#[test]
fn a_failed_test_is_told_apart_with_operation_and_place() {
    let patch = json!([
        {"op": "add", "path": "/a", "value": 1},
        {"op": "test", "path": "/a", "value": 2},
    ]);
    let fault = fault(&json!({}), &patch);
    assert_eq!(fault, PatchFault::TestFailed { operation: 1, pointer: pointer("/a") });
    assert_eq!(fault.operation(), Some(1));
    assert_eq!(fault.target(), Some(&pointer("/a")));
    assert_eq!(fault.pointer(), pointer("/1"));
    assert!(!fault.is_syntax());
}

#[test]
fn a_test_compares_numbers_by_value() {
    // RFC 6902 section 4.6.
    let value = json!({"a": [1, {"b": 2.0}], "big": 9_007_199_254_740_993_u64});
    let same = json!([{"op": "test", "path": "/a", "value": [1.0, {"b": 2}]}]);
    assert_eq!(apply(&value, &same).unwrap(), value);
    for other in [
        json!([{"op": "test", "path": "/a/0", "value": true}]),
        json!([{"op": "test", "path": "/a/0", "value": "1"}]),
        json!([{"op": "test", "path": "/big", "value": 9_007_199_254_740_992.0}]),
    ] {
        assert!(matches!(fault(&value, &other), PatchFault::TestFailed { operation: 0, .. }));
    }
}

#[test]
fn a_test_of_null_needs_the_member_to_be_there() {
    let patch = json!([{"op": "test", "path": "/a", "value": null}]);
    assert!(apply(&json!({"a": null}), &patch).is_ok());
    assert!(matches!(fault(&json!({}), &patch), PatchFault::NotThere { .. }));
}

#[test]
fn a_patch_is_an_array_of_at_most_256_operations() {
    for patch in [json!({}), json!(null), json!("x"), json!({"op": "remove", "path": "/a"})] {
        assert_eq!(fault(&json!({}), &patch), PatchFault::NotAnArray);
    }
    let operation = json!({"op": "test", "path": "", "value": {}});
    let most = Value::Array(vec![operation.clone(); MAX_OPERATIONS]);
    assert_eq!(MAX_OPERATIONS, 256);
    assert_eq!(apply(&json!({}), &most).unwrap(), json!({}));
    let over = Value::Array(vec![operation; 257]);
    assert_eq!(fault(&json!({}), &over), PatchFault::TooManyOperations { count: 257 });
    assert_eq!(apply(&json!({"a": 1}), &json!([])).unwrap(), json!({"a": 1}));
}

#[test]
fn a_malformed_operation_is_named_before_any_is_carried_out() {
    // RFC 6902 section 4: which members each operation has.
    let failing = json!({"op": "test", "path": "/none", "value": 1});
    let member = |member| PatchFault::Member { operation: 1, member };
    let lone = PointerFault::LoneTilde { at: 1 };
    for (operation, expected, place) in [
        (json!(5), PatchFault::NotAnOperation { operation: 1 }, "/1"),
        (json!(["remove", "/a"]), PatchFault::NotAnOperation { operation: 1 }, "/1"),
        (json!({}), member("op"), "/1"),
        (json!({"op": 1, "path": "/a"}), member("op"), "/1"),
        (json!({"op": "add", "value": 1}), member("path"), "/1"),
        (json!({"op": "remove", "path": null}), member("path"), "/1"),
        (json!({"op": "add", "path": "/a"}), member("value"), "/1"),
        (json!({"op": "replace", "path": "/a"}), member("value"), "/1"),
        (json!({"op": "test", "path": "/a"}), member("value"), "/1"),
        (json!({"op": "move", "path": "/a"}), member("from"), "/1"),
        (json!({"op": "copy", "path": "/a", "from": 0}), member("from"), "/1"),
        (
            json!({"op": "Add", "path": "/a", "value": 1}),
            PatchFault::UnknownOperation { operation: 1, op: "Add".into() },
            "/1/op",
        ),
        (
            json!({"op": "x".repeat(99), "path": "/a"}),
            PatchFault::UnknownOperation { operation: 1, op: "x".repeat(32) },
            "/1/op",
        ),
        (
            json!({"op": "remove", "path": "a"}),
            PatchFault::NotAPointer { operation: 1, member: "path", fault: PointerFault::NoLeadingSlash },
            "/1/path",
        ),
        (
            json!({"op": "copy", "path": "/a", "from": "/~"}),
            PatchFault::NotAPointer { operation: 1, member: "from", fault: lone },
            "/1/from",
        ),
    ] {
        let found = fault(&json!({"a": 1}), &json!([failing, operation]));
        assert_eq!(found, expected);
        assert_eq!(found.pointer(), pointer(place));
        assert!(found.is_syntax() && found.target().is_none());
        assert!(found.to_string().contains("operation 1"), "{found}");
    }
}

#[test]
fn a_place_that_is_not_there_is_named_with_the_member_that_names_it() {
    // RFC 6902 section 4: the target location must exist; section 4.1 for adding.
    let value = json!({"list": [1, 2], "text": "x"});
    for (operation, member, place) in [
        (json!({"op": "remove", "path": "/a"}), "path", "/a"),
        (json!({"op": "remove", "path": "/list/2"}), "path", "/list/2"),
        (json!({"op": "remove", "path": "/list/-"}), "path", "/list/-"),
        (json!({"op": "replace", "path": "/a", "value": 1}), "path", "/a"),
        (json!({"op": "replace", "path": "/list/-", "value": 1}), "path", "/list/-"),
        (json!({"op": "add", "path": "/a/b", "value": 1}), "path", "/a/b"),
        (json!({"op": "add", "path": "/list/3", "value": 1}), "path", "/list/3"),
        (json!({"op": "add", "path": "/list/01", "value": 1}), "path", "/list/01"),
        (json!({"op": "add", "path": "/list/+1", "value": 1}), "path", "/list/+1"),
        (json!({"op": "add", "path": "/list/x", "value": 1}), "path", "/list/x"),
        (json!({"op": "add", "path": "/text/0", "value": 1}), "path", "/text/0"),
        (json!({"op": "move", "from": "/a", "path": "/b"}), "from", "/a"),
        (json!({"op": "move", "from": "/text", "path": "/a/b"}), "path", "/a/b"),
        (json!({"op": "copy", "from": "/list/9", "path": "/b"}), "from", "/list/9"),
        (json!({"op": "copy", "from": "/text", "path": "/list/9"}), "path", "/list/9"),
        (json!({"op": "test", "path": "/a", "value": 1}), "path", "/a"),
    ] {
        let found = fault(&value, &json!([operation]));
        let expected = PatchFault::NotThere { operation: 0, member, pointer: pointer(place) };
        assert_eq!(found, expected, "{operation}");
        assert_eq!(found.pointer(), pointer(&format!("/0/{member}")));
        assert!(!found.is_syntax());
    }
}

#[test]
fn nothing_moves_into_itself_but_a_name_that_only_begins_alike_is_free() {
    // RFC 6902 section 4.4.
    let value = json!({"a": {"b": 1}});
    let into = json!([{"op": "move", "from": "/a", "path": "/a/b"}]);
    let expected = PatchFault::IntoItself { operation: 0, from: pointer("/a") };
    assert_eq!(fault(&value, &into), expected);
    assert_eq!(expected.pointer(), pointer("/0/path"));
    let beside = json!([{"op": "move", "from": "/a", "path": "/ab"}]);
    assert_eq!(apply(&value, &beside).unwrap(), json!({"ab": {"b": 1}}));
    let same = json!([{"op": "move", "from": "/a", "path": "/a"}]);
    assert_eq!(apply(&value, &same).unwrap(), value);
    let whole = json!([{"op": "move", "from": "", "path": "/a"}]);
    assert!(apply(&value, &whole).is_err());
}

#[test]
fn the_whole_document_can_be_replaced_and_tested() {
    for op in ["add", "replace"] {
        let patch = json!([
            {"op": "test", "path": "", "value": {"a": 1}},
            {"op": op, "path": "", "value": {"b": 2}},
        ]);
        assert_eq!(apply(&json!({"a": 1}), &patch).unwrap(), json!({"b": 2}));
    }
    let copy = json!([{"op": "copy", "from": "", "path": "/a"}]);
    assert_eq!(apply(&json!({"b": 1}), &copy).unwrap(), json!({"a": {"b": 1}, "b": 1}));
}

#[test]
fn a_fault_leaves_the_document_as_it_was() {
    // RFC 6902 section 5, RFC 5789 section 2: the patch is applied whole or not at all.
    let value = json!({"a": {"b": [1, 2, 3]}});
    let before = value.clone();
    let patch = json!([
        {"op": "remove", "path": "/a/b/0"},
        {"op": "copy", "from": "/a", "path": "/c"},
        {"op": "replace", "path": "/none", "value": 1},
    ]);
    assert_eq!(fault(&value, &patch).operation(), Some(2));
    assert_eq!(value, before);
}

#[test]
fn copies_that_double_the_document_stop_at_the_bytes_of_a_message() {
    let double = json!({"op": "copy", "from": "/a", "path": "/a/-"});
    let value = json!({"a": ["x".repeat(1000)]});
    // Each copy also nests one level deeper; 1 KB doubled 6 times is past 64 KiB.
    let PatchFault::TooLarge { operation } = fault(&value, &Value::Array(vec![double; 256])) else {
        panic!("another fault");
    };
    assert_eq!(operation, 6);
}

#[test]
fn operations_that_nest_ever_deeper_stop_at_the_levels_of_a_message() {
    let mut patch = Vec::new();
    let mut path = String::new();
    for _ in 0..200 {
        path.push_str("/a");
        patch.push(json!({"op": "add", "path": path, "value": {}}));
    }
    // The value has 1 level, operation n makes it n + 2.
    assert_eq!(fault(&json!({}), &Value::Array(patch.clone())), PatchFault::TooLarge { operation: 31 });
    patch.truncate(31);
    let deepest = apply(&json!({}), &Value::Array(patch)).unwrap();
    assert_eq!(check(&deepest, &Bounds::BODY), Ok(()));
}
