//! What holds for every value, tried on many.

use document::{
    Bounds, Pointer, Problem, Value, apply, changed, check, check_document, check_written, difference, equal, merge,
    merge_step, merged, parse, step, touches, without, write,
};
use proptest::prelude::*;
use serde_json::{Map, json};

use crate::values::{any_document, any_value, name, two_documents};

const ROOMY: Bounds = Bounds { bytes: usize::MAX, depth: usize::MAX, members: usize::MAX, name_bytes: usize::MAX };

/// RFC 7396 section 2, its pseudo-code line by line: a merge patch is applied to a target that
/// may be undefined.
fn merge_by_the_rfc(target: Option<Value>, patch: &Value) -> Value {
    if let Value::Object(changes) = patch {
        let mut target = match target {
            Some(Value::Object(members)) => members.into_iter().collect::<Vec<_>>(),
            _ => Vec::new(),
        };
        for (name, change) in changes {
            let at = target.iter().position(|(member, _)| member == name);
            let old = at.map(|at| target.swap_remove(at).1);
            if !change.is_null() {
                target.push((name.clone(), merge_by_the_rfc(old, change)));
            }
        }
        Value::Object(target.into_iter().collect::<Map<_, _>>())
    } else {
        patch.clone()
    }
}

/// Every place in the value that can be reached without passing through an array.
fn places(value: &Value, at: &Pointer, found: &mut Vec<Pointer>) {
    found.push(at.clone());
    if let Value::Object(members) = value {
        for (name, member) in members {
            places(member, &at.child(name), found);
        }
    }
}

/// The value at a place, reached through objects alone.
fn member<'a>(value: &'a Value, place: &Pointer) -> Option<&'a Value> {
    place.tokens().try_fold(value, |value, token| value.as_object()?.get(token.as_ref()))
}

/// The value without members that are empty objects, or become so.
fn pruned(value: &Value) -> Value {
    let Value::Object(members) = value else {
        return value.clone();
    };
    let members = members.iter().map(|(name, member)| (name.clone(), pruned(member)));
    Value::Object(members.filter(|(_, member)| member != &json!({})).collect::<Map<_, _>>())
}

/// A text of JSON that may have a name twice, and whether it has.
fn text_and_whether_twice() -> impl Strategy<Value = (String, bool)> {
    Just(("1".to_owned(), false)).prop_recursive(4, 24, 4, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(|elements| {
                let texts: Vec<&str> = elements.iter().map(|(text, _)| text.as_str()).collect();
                (format!("[{}]", texts.join(",")), elements.iter().any(|(_, twice)| *twice))
            }),
            prop::collection::vec((prop::sample::select(&["a", "b", "c", "d"]), inner), 0..4).prop_map(|members| {
                let texts: Vec<String> = members.iter().map(|(name, (text, _))| format!("\"{name}\":{text}")).collect();
                let here = members
                    .iter()
                    .enumerate()
                    .any(|(at, (name, _))| members.iter().skip(at + 1).any(|(other, _)| other == name));
                let inside = members.iter().any(|(_, (_, twice))| *twice);
                (format!("{{{}}}", texts.join(",")), here || inside)
            }),
        ]
    })
}

/// Text that is nearly JSON: a value's text with one byte changed.
fn nearly_json() -> impl Strategy<Value = Vec<u8>> {
    (any_value(), any::<prop::sample::Index>(), any::<u8>()).prop_map(|(value, at, byte)| {
        let mut bytes = write(&value).into_bytes();
        let at = at.index(bytes.len());
        bytes[at] = byte;
        bytes
    })
}

fn path() -> impl Strategy<Value = Pointer> {
    prop::collection::vec(name(), 0..4)
        .prop_map(|names| names.iter().fold(Pointer::default(), |path, name| path.child(name)))
}

fn operation() -> impl Strategy<Value = Value> {
    let op = prop::sample::select(&["add", "remove", "replace", "move", "copy", "test"]);
    (op, path(), path(), any_value())
        .prop_map(|(op, path, from, value)| json!({"op": op, "path": path, "from": from, "value": value}))
}

proptest! {
    #[test]
    fn merge_is_what_the_pseudo_code_of_rfc_7396_says(target in any_value(), patch in any_value()) {
        let expected = merge_by_the_rfc(Some(target.clone()), &patch);
        prop_assert_eq!(merged(&target, &patch), expected.clone());
        let mut changing = target;
        merge(&mut changing, &patch);
        prop_assert_eq!(&changing, &expected);
        merge(&mut changing, &patch);
        prop_assert_eq!(changing, expected, "a second time changes nothing");
    }

    #[test]
    fn merging_the_difference_reaches_the_other_document((from, to) in two_documents()) {
        let patch = difference(&from, &to);
        prop_assert!(equal(&merged(&from, &patch), &to), "{patch}");
    }

    #[test]
    fn the_difference_back_undoes_an_edit((before, after) in two_documents()) {
        let undone = merged(&after, &difference(&after, &before));
        prop_assert!(equal(&undone, &before), "{undone}");
        let redone = merged(&undone, &difference(&before, &after));
        prop_assert!(equal(&redone, &after), "{redone}");
    }

    #[test]
    fn the_difference_is_empty_exactly_for_equal_documents((from, to) in two_documents()) {
        prop_assert_eq!(difference(&from, &to) == json!({}), equal(&from, &to));
        prop_assert_eq!(difference(&from, &from), json!({}));
    }

    #[test]
    fn no_member_of_a_difference_can_be_spared((from, to) in two_documents()) {
        let patch = difference(&from, &to);
        let mut members = Vec::new();
        places(&patch, &Pointer::default(), &mut members);
        for spared in members.iter().filter(|place| !place.is_whole()) {
            let smaller = without(&patch, std::slice::from_ref(spared));
            prop_assert!(!equal(&merged(&from, &smaller), &to), "{patch} without {spared}");
        }
    }

    #[test]
    fn a_step_is_both_differences_and_the_changed_leaves(a in any_value(), b in any_value()) {
        match step(&a, &b) {
            None => prop_assert!(equal(&a, &b)),
            Some(step) => {
                prop_assert!(!equal(&a, &b));
                prop_assert_eq!(step.patch, difference(&a, &b));
                prop_assert_eq!(step.inverse, difference(&b, &a));
                prop_assert_eq!(step.changed, changed(&a, &b));
            }
        }
    }

    #[test]
    fn a_step_between_documents_is_both_differences_and_the_changed_leaves((from, to) in two_documents()) {
        let found = step(&from, &to).map(|step| (step.patch, step.inverse, step.changed));
        let apart = (difference(&from, &to), difference(&to, &from), changed(&from, &to));
        prop_assert_eq!(found, (!equal(&from, &to)).then_some(apart));
    }

    #[test]
    fn a_merge_with_its_step_is_the_merge_and_the_step(target in any_value(), patch in any_value()) {
        let mut merging = target.clone();
        let made = merge_step(&mut merging, &patch);
        let by_the_rfc = merged(&target, &patch);
        prop_assert!(equal(&merging, &by_the_rfc), "{merging} is not {by_the_rfc}");
        prop_assert_eq!(&made, &step(&target, &merging));
        if made.is_none() {
            prop_assert_eq!(merging, target, "not even the spelling");
        }
    }

    #[test]
    fn checking_with_the_text_finds_the_same_faults_and_gives_the_text(value in any_value(), pad in 0_usize..9000) {
        let padded = json!({"a": value, "b": "x".repeat(pad)});
        for value in [value, padded] {
            prop_assert_eq!(check_written(&value), check_document(&value).map(|()| write(&value)));
        }
    }

    #[test]
    fn equality_does_not_depend_on_the_side(a in any_value(), b in any_value()) {
        prop_assert!(equal(&a, &a));
        prop_assert_eq!(equal(&a, &b), equal(&b, &a));
    }

    #[test]
    fn an_integer_equals_a_float_exactly_when_arbitrary_precision_says_so(
        whole in any::<i64>(), exponent in 0_u32..11,
    ) {
        // A binary64 holds an integer exactly if it needs no more than 53 bits (IEEE 754).
        let whole = whole >> exponent;
        let bits = u64::BITS - whole.unsigned_abs().leading_zeros();
        let exact = whole == 0 || bits - whole.trailing_zeros() <= 53;
        prop_assert_eq!(equal(&json!(whole), &json!(whole as f64)), exact);
    }

    #[test]
    fn nothing_has_changed_exactly_between_equal_values(a in any_value(), b in any_value()) {
        prop_assert_eq!(changed(&a, &b).is_empty(), equal(&a, &b));
        prop_assert!(changed(&a, &a).is_empty());
    }

    #[test]
    fn changed_leaves_differ_and_nothing_else_does((from, to) in two_documents()) {
        let leaves = changed(&from, &to);
        for leaf in &leaves {
            let same = match (leaf.resolve(&from), leaf.resolve(&to)) {
                (Some(a), Some(b)) => equal(a, b),
                (a, b) => a.is_none() && b.is_none(),
            };
            prop_assert!(!same, "{leaf}");
            prop_assert!(touches(&difference(&from, &to), leaf), "{leaf}");
        }
        let rest = (pruned(&without(&from, &leaves)), pruned(&without(&to, &leaves)));
        prop_assert!(equal(&rest.0, &rest.1), "{} {}", rest.0, rest.1);
        let mut once = leaves.clone();
        once.sort();
        once.dedup();
        prop_assert_eq!(once.len(), leaves.len());
    }

    #[test]
    fn what_a_difference_does_not_touch_stays_as_it_is((from, to) in two_documents()) {
        let patch = difference(&from, &to);
        let mut all = Vec::new();
        places(&from, &Pointer::default(), &mut all);
        places(&to, &Pointer::default(), &mut all);
        for place in all {
            let same = match (member(&from, &place), member(&to, &place)) {
                (Some(a), Some(b)) => equal(a, b),
                _ => false,
            };
            // These places exist on at least one side, so a touch is a change and the reverse.
            prop_assert_eq!(touches(&patch, &place), !same, "{} {}", patch, place);
        }
    }

    #[test]
    fn what_is_written_is_read_back_the_same(value in any_value()) {
        prop_assert_eq!(parse(write(&value).as_bytes(), &ROOMY), Ok(value));
    }

    #[test]
    fn reading_and_checking_agree_on_every_bound(
        value in any_value(), depth in 1_usize..5, members in 0_usize..8, name_bytes in 1_usize..5,
    ) {
        let bounds = Bounds { depth, members, name_bytes, ..ROOMY };
        let read = parse(write(&value).as_bytes(), &bounds);
        prop_assert_eq!(read.map(|_| ()), check(&value, &bounds));
    }

    #[test]
    fn the_size_of_a_value_is_that_of_its_compact_text(value in any_value()) {
        let bytes = write(&value).len();
        prop_assert_eq!(check(&value, &Bounds { bytes, ..ROOMY }), Ok(()));
        let fault = check(&value, &Bounds { bytes: bytes - 1, ..ROOMY }).unwrap_err();
        prop_assert_eq!(fault.problem, Problem::TooManyBytes { bytes, limit: bytes - 1 });
    }

    #[test]
    fn arbitrary_bytes_are_read_as_json_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
        let read = parse(&bytes, &ROOMY);
        prop_assert_eq!(read.ok(), serde_json::from_slice::<Value>(&bytes).ok());
    }

    #[test]
    fn nearly_json_is_never_read_as_something_else(bytes in nearly_json()) {
        match parse(&bytes, &ROOMY) {
            Ok(value) => prop_assert_eq!(value, serde_json::from_slice::<Value>(&bytes).unwrap()),
            // Ours is the stricter: names may be empty, have controls or come twice elsewhere.
            Err(fault) => match fault.problem {
                Problem::NotUtf8 { .. } | Problem::Syntax { .. } | Problem::NotFinite => {
                    prop_assert!(serde_json::from_slice::<Value>(&bytes).is_err(), "{fault}");
                }
                Problem::Duplicate | Problem::NameEmpty | Problem::NameHasControl => {}
                other => prop_assert!(false, "{other}"),
            },
        }
    }

    #[test]
    fn no_name_that_occurs_twice_slips_through((text, twice) in text_and_whether_twice()) {
        match parse(text.as_bytes(), &ROOMY) {
            Ok(_) => prop_assert!(!twice, "{text}"),
            Err(fault) => {
                prop_assert_eq!(fault.problem, Problem::Duplicate);
                prop_assert!(twice, "{text}");
            }
        }
    }

    #[test]
    fn a_pointer_is_the_same_after_writing_and_reading(tokens in prop::collection::vec(".{0,6}", 0..5)) {
        let mut pointer = Pointer::default();
        tokens.iter().for_each(|token| pointer.push(token));
        let read: Pointer = pointer.to_string().parse().unwrap();
        prop_assert_eq!(&read, &pointer);
        prop_assert_eq!(read.tokens().collect::<Vec<_>>(), tokens.clone());
        let parent = tokens.split_last().map(|(_, before)| {
            before.iter().fold(Pointer::default(), |pointer, token| pointer.child(token))
        });
        prop_assert_eq!(pointer.parent(), parent);
    }

    #[test]
    fn any_text_is_a_pointer_or_is_refused(text in "[/~01a]{0,8}") {
        let allowed = (text.is_empty() || text.starts_with('/'))
            && text.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
        match text.parse::<Pointer>() {
            Ok(pointer) => {
                prop_assert!(allowed);
                prop_assert_eq!(pointer.to_string(), text);
            }
            Err(_) => prop_assert!(!allowed),
        }
    }

    #[test]
    fn every_place_in_a_document_is_found_by_its_pointer(value in any_document()) {
        let mut all = Vec::new();
        places(&value, &Pointer::default(), &mut all);
        for place in all {
            prop_assert!(place.resolve(&value).is_some(), "{place}");
            prop_assert!(place.parent().is_none_or(|parent| parent.is_prefix_of(&place)));
        }
    }

    #[test]
    fn any_patch_is_applied_or_refused_by_one_of_its_operations(
        value in any_document(), patch in prop::collection::vec(operation(), 0..6),
    ) {
        let count = patch.len();
        if let Err(fault) = apply(&value, &Value::Array(patch)) {
            prop_assert!(fault.operation().is_some_and(|operation| operation < count));
            prop_assert!(!fault.is_syntax(), "{fault}");
        }
    }

    #[test]
    fn a_patch_is_its_operations_one_after_the_other(
        value in any_document(), patch in prop::collection::vec(operation(), 0..4),
    ) {
        let singly = patch.iter().try_fold(value.clone(), |value, operation| {
            apply(&value, &json!([operation]))
        });
        prop_assert_eq!(apply(&value, &Value::Array(patch)).ok(), singly.ok());
    }

    #[test]
    fn a_copy_is_an_add_of_what_stands_at_from(
        value in any_document(), from in path(), path in path(),
    ) {
        // RFC 6902 section 4.5.
        let copied = apply(&value, &json!([{"op": "copy", "from": from, "path": path}])).ok();
        let added = from.resolve(&value).and_then(|found| {
            apply(&value, &json!([{"op": "add", "path": path, "value": found}])).ok()
        });
        prop_assert_eq!(copied, added);
    }

    #[test]
    fn a_move_is_a_remove_and_an_add(
        value in any_document(),
        from in path().prop_filter("the whole cannot be removed", |from| !from.is_whole()),
        path in path(),
    ) {
        // RFC 6902 section 4.4.
        let moved = apply(&value, &json!([{"op": "move", "from": from, "path": path}])).ok();
        let inside = from.is_prefix_of(&path) && from != path;
        let anew = from.resolve(&value).filter(|_| !inside).and_then(|found| {
            let patch = json!([
                {"op": "remove", "path": from},
                {"op": "add", "path": path, "value": found},
            ]);
            apply(&value, &patch).ok()
        });
        prop_assert_eq!(moved, anew);
    }

    #[test]
    fn what_was_added_to_an_object_passes_a_test(
        value in any_document(), path in path(), added in any_value(),
    ) {
        // RFC 6902 sections 4.1 and 4.6.
        let parent = path.parent().and_then(|parent| parent.resolve(&value).cloned());
        let result = apply(&value, &json!([
            {"op": "add", "path": path, "value": added},
            {"op": "test", "path": path, "value": added},
        ]));
        if path.is_whole() || parent.as_ref().is_some_and(Value::is_object) {
            let result = result.unwrap();
            prop_assert_eq!(path.resolve(&result), Some(&added));
        } else if !parent.is_some_and(|parent| parent.is_array()) {
            prop_assert!(result.is_err());
        }
    }
}
