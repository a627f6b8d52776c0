//! Reads the published check values, and makes arbitrary JSON values for the laws.

use document::Value;
use proptest::prelude::*;
use serde_json::Map;

/// The file of this name in the check values of the project.
macro_rules! check_values {
    ($name:literal) => {
        serde_json::from_str::<document::Value>(include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../tests/check-values/",
            $name
        )))
        .unwrap()
    };
}
pub(crate) use check_values;

/// The cases under this member; there are as many as the file is known to have.
pub(crate) fn cases<'a>(file: &'a Value, member: &str, count: usize) -> &'a [Value] {
    let cases = file[member].as_array().unwrap();
    assert_eq!(cases.len(), count, "cases under {member}");
    cases
}

/// Few names, so that two values often have members in common; some need escaping.
pub(crate) fn name() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => prop::sample::select(vec!["a", "b", "c", "a/b", "m~n", "~1", "0", "\u{e9}", "-"])
            .prop_map(str::to_owned),
        1 => "[^\\x00-\\x1f\\x7f-\\x9f]{1,8}",
    ]
}

fn plain() -> impl Strategy<Value = Value> {
    prop_oneof![
        any::<bool>().prop_map(Value::from),
        // Small numbers, so that two often agree, in both spellings.
        (-2_i64..3).prop_map(Value::from),
        (-2_i32..3).prop_map(|n| Value::from(f64::from(n))),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        any::<f64>().prop_filter("finite", |n| n.is_finite()).prop_map(Value::from),
        ".{0,6}".prop_map(Value::from),
    ]
}

fn nested(leaf: BoxedStrategy<Value>, in_array: BoxedStrategy<Value>) -> BoxedStrategy<Value> {
    leaf.prop_recursive(4, 48, 5, move |inner| {
        prop_oneof![
            2 => object(inner.clone()),
            1 => prop::collection::vec(prop_oneof![inner, in_array.clone()], 0..4)
                .prop_map(Value::Array),
        ]
    })
    .boxed()
}

fn object(member: impl Strategy<Value = Value>) -> impl Strategy<Value = Value> {
    prop::collection::vec((name(), member), 0..5)
        .prop_map(|members| Value::Object(members.into_iter().collect::<Map<_, _>>()))
}

/// Any JSON value; nulls anywhere.
pub(crate) fn any_value() -> BoxedStrategy<Value> {
    let leaf = prop_oneof![1 => Just(Value::Null), 4 => plain()].boxed();
    nested(leaf, Just(Value::Null).boxed())
}

/// An object that can be stored: no member is null, elements of arrays may be.
pub(crate) fn any_document() -> BoxedStrategy<Value> {
    object(nested(plain().boxed(), Just(Value::Null).boxed())).boxed()
}

/// A document and another that has much in common with it.
pub(crate) fn two_documents() -> BoxedStrategy<(Value, Value)> {
    prop_oneof![
        (any_document(), any_document()),
        (any_document(), any_value()).prop_map(|(document, patch)| {
            let patch = if patch.is_object() { patch } else { Value::Object(Map::new()) };
            let edited = document::merged(&document, &patch);
            (document, edited)
        }),
    ]
    .boxed()
}
