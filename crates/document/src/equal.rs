//! When two JSON values are the same value.

use serde_json::{Number, Value};

/// Whether two values are equal: objects without regard to the order of members, numbers by value
/// (1 = 1.0 = 1e0, -0 = 0), strings by code point, and never across kinds (true is not 1).
///
/// This is the equality of RFC 6902 section 4.6. Integers of 64 bits are compared exactly with
/// floating point numbers, so 9007199254740993 is not 9007199254740992.0.
///
/// ```
/// use serde_json::json;
///
/// assert!(document::equal(&json!({"a": 1, "b": [0]}), &json!({"b": [-0.0], "a": 1.0})));
/// assert!(!document::equal(&json!(1), &json!(true)));
/// ```
#[must_use]
pub fn equal(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Null, Value::Null) => true,
        (Value::Bool(a), Value::Bool(b)) => a == b,
        (Value::Number(a), Value::Number(b)) => same_number(a, b),
        (Value::String(a), Value::String(b)) => a == b,
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| equal(a, b)),
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(name, a)| b.get(name).is_some_and(|b| equal(a, b)))
        }
        _ => false,
    }
}

fn same_number(a: &Number, b: &Number) -> bool {
    match (integer(a), integer(b)) {
        (Some(a), Some(b)) => a == b,
        (Some(whole), None) => b.as_f64().is_some_and(|float| is_exactly(float, whole)),
        (None, Some(whole)) => a.as_f64().is_some_and(|float| is_exactly(float, whole)),
        (None, None) => a.as_f64() == b.as_f64(),
    }
}

/// The number if it is held as an integer; every `u64` and `i64` fits.
fn integer(number: &Number) -> Option<i128> {
    number.as_u64().map(i128::from).or_else(|| number.as_i64().map(i128::from))
}

/// Whether the float is exactly this integer of 64 bits. Casting cuts the fraction off (and a
/// float out of range becomes an end of `i128`, which is no integer of 64 bits); casting back
/// shows whether there was one, since a float with a fraction is small enough to come back exact.
fn is_exactly(float: f64, whole: i128) -> bool {
    let cut = float as i128;
    cut == whole && cut as f64 == float
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{from_str, json};

    fn read(text: &str) -> Value {
        from_str(text).unwrap()
    }

    #[test]
    fn numbers_are_equal_by_value_whatever_their_spelling() {
        for same in ["1", "1.0", "1e0", "10e-1", "0.1e1"] {
            assert!(equal(&read("1"), &read(same)), "{same}");
        }
        for same in ["0", "-0", "0.0", "-0.0", "0e5"] {
            assert!(equal(&read("0"), &read(same)), "{same}");
        }
        for (a, b) in [("1", "1.5"), ("1", "-1"), ("0", "1e-300"), ("1.5", "1")] {
            assert!(!equal(&read(a), &read(b)), "{a} {b}");
        }
    }

    #[test]
    fn large_integers_are_compared_exactly_with_floats() {
        // 2^53 is the first integer whose successor is no binary64 (IEEE 754).
        assert!(equal(&read("9007199254740992"), &read("9007199254740992.0")));
        assert!(!equal(&read("9007199254740993"), &read("9007199254740992.0")));
        assert!(!equal(&read("18446744073709551615"), &read("18446744073709551616")));
        assert!(equal(&read("9223372036854775808"), &read("9223372036854775808.0")));
        assert!(equal(&read("-9223372036854775808"), &read("-9223372036854775808.0")));
        assert!(!equal(&read("-9223372036854775807"), &read("-9223372036854775808.0")));
        assert!(!equal(&read("18446744073709551615"), &read("1e300")));
        assert!(!equal(&read("-1"), &read("18446744073709551615")));
    }

    #[test]
    fn nothing_is_equal_across_kinds() {
        let kinds = [json!(null), json!(true), json!(1), json!("1"), json!([1]), json!({"1": 1})];
        for (i, a) in kinds.iter().enumerate() {
            for (j, b) in kinds.iter().enumerate() {
                assert_eq!(equal(a, b), i == j, "{a} {b}");
            }
        }
        assert!(!equal(&json!(0), &json!(false)));
    }

    #[test]
    fn strings_are_compared_by_code_point_without_normalising() {
        assert!(!equal(&json!("\u{e9}"), &json!("e\u{301}")));
        assert!(equal(&read(r#""\u00e9""#), &json!("\u{e9}")));
    }

    #[test]
    fn order_counts_in_arrays_and_not_in_objects() {
        assert!(!equal(&json!([1, 2]), &json!([2, 1])));
        assert!(!equal(&json!([1]), &json!([1, 1])));
        assert!(equal(&read(r#"{"a":1,"b":2}"#), &read(r#"{"b":2,"a":1.0}"#)));
        assert!(!equal(&json!({"a": null}), &json!({"b": null})));
        assert!(!equal(&json!({"a": 1}), &json!({"a": 1, "b": 1})));
    }
}
