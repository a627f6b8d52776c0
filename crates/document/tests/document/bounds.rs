//! Each bound of a document: met exactly, and broken by one, read as text and as a value.

use document::{Bounds, Fault, Problem, Value, check, check_document, parse, write};
use serde_json::{Map, json};

const DOCUMENT: Bounds = Bounds::DOCUMENT;
const ROOMY: Bounds = Bounds { bytes: usize::MAX, depth: usize::MAX, members: usize::MAX, name_bytes: usize::MAX };

/// What both ways of checking say about this value; they have to agree.
fn verdict(value: &Value, bounds: &Bounds) -> Result<(), Fault> {
    let read = parse(write(value).as_bytes(), bounds).map(|read| assert_eq!(&read, value));
    let checked = check(value, bounds);
    assert_eq!(read, checked);
    checked
}

fn refused(value: &Value, bounds: &Bounds, pointer: &str, problem: &Problem) {
    let fault = verdict(value, bounds).unwrap_err();
    assert_eq!(fault.pointer.as_str(), pointer);
    assert_eq!(&fault.problem, problem);
    assert!(!problem.is_syntax());
}

#[test]
fn the_bounds_are_those_of_the_design() {
    assert_eq!(DOCUMENT, Bounds { bytes: 8 * 1024, depth: 16, members: 512, name_bytes: 64 });
    assert_eq!(Bounds::BODY, Bounds { bytes: 64 * 1024, depth: 32, members: 4096, name_bytes: 256 });
}

#[test]
fn a_document_has_at_most_8192_bytes() {
    for bounds in [DOCUMENT, Bounds::BODY] {
        // {"a":"…"} is 8 bytes around the text.
        let largest = json!({"a": "x".repeat(bounds.bytes - 8)});
        assert_eq!(write(&largest).len(), bounds.bytes);
        assert_eq!(verdict(&largest, &bounds), Ok(()));
        let over = json!({"a": "x".repeat(bounds.bytes - 7)});
        let problem = Problem::TooManyBytes { bytes: bounds.bytes + 1, limit: bounds.bytes };
        refused(&over, &bounds, "", &problem);
    }
}

#[test]
fn bytes_are_counted_as_utf_8_with_escapes_written_out() {
    // Two bytes each in UTF-8, and a quotation mark is two when escaped.
    let bounds = Bounds { bytes: 9, ..ROOMY };
    assert_eq!(verdict(&json!("\u{e9}\u{e9}\u{e9}\""), &Bounds { bytes: 10, ..ROOMY }), Ok(()));
    let problem = Problem::TooManyBytes { bytes: 10, limit: 9 };
    refused(&json!("\u{e9}\u{e9}\u{e9}\""), &bounds, "", &problem);
}

#[test]
fn the_bytes_of_a_text_are_those_that_were_sent() {
    let spaced = format!("{}{{}}", " ".repeat(8191));
    let fault = parse(spaced.as_bytes(), &DOCUMENT).unwrap_err();
    assert_eq!(fault.problem, Problem::TooManyBytes { bytes: 8193, limit: 8192 });
}

/// `levels` objects (or, every other one, arrays) in each other.
fn nest(levels: usize, arrays: bool) -> Value {
    let mut value = json!(1);
    for level in 0..levels {
        value = if arrays && level % 2 == 0 { json!([value]) } else { json!({"a": value}) };
    }
    value
}

#[test]
fn a_document_is_at_most_16_levels_deep() {
    assert_eq!(verdict(&nest(16, false), &DOCUMENT), Ok(()));
    assert_eq!(verdict(&nest(16, true), &DOCUMENT), Ok(()));
    let problem = Problem::TooDeep { limit: 16 };
    refused(&nest(17, false), &DOCUMENT, &"/a".repeat(16), &problem);
    // The outermost of 17 is an array.
    refused(&nest(17, true), &DOCUMENT, &"/0/a".repeat(8), &problem);
    refused(&nest(33, false), &Bounds::BODY, &"/a".repeat(32), &Problem::TooDeep { limit: 32 });
}

#[test]
fn the_pointer_of_a_depth_fault_is_where_the_level_too_many_begins() {
    let bounds = Bounds { depth: 2, ..ROOMY };
    refused(&json!({"a": [1], "b": [2, {}]}), &bounds, "/b/1", &Problem::TooDeep { limit: 2 });
}

#[test]
fn no_bound_allows_more_than_120_levels() {
    assert_eq!(verdict(&nest(120, false), &ROOMY), Ok(()));
    refused(&nest(121, false), &ROOMY, &"/a".repeat(120), &Problem::TooDeep { limit: 120 });
}

fn flat(members: usize) -> Value {
    Value::Object((0..members).map(|n| (format!("m{n:04}"), json!(0))).collect::<Map<_, _>>())
}

#[test]
fn a_document_has_at_most_512_members() {
    assert_eq!(verdict(&flat(512), &DOCUMENT), Ok(()));
    refused(&flat(513), &DOCUMENT, "/m0512", &Problem::TooManyMembers { limit: 512 });
    assert_eq!(verdict(&flat(4096), &Bounds::BODY), Ok(()));
    let problem = Problem::TooManyMembers { limit: 4096 };
    refused(&flat(4097), &Bounds::BODY, "/m4096", &problem);
}

#[test]
fn members_are_counted_over_all_levels_and_in_arrays() {
    // 1 + 255 + 1 + 255 members.
    let full = json!({"a": flat(255), "b": [flat(255)]});
    assert_eq!(verdict(&full, &DOCUMENT), Ok(()));
    let over = json!({"a": flat(255), "b": [flat(255), {"last": 0}]});
    refused(&over, &DOCUMENT, "/b/1/last", &Problem::TooManyMembers { limit: 512 });
    // Elements of arrays are no members.
    assert_eq!(verdict(&json!({"a": vec![0; 1000]}), &DOCUMENT), Ok(()));
}

fn named(name: &str) -> Value {
    let object = Value::Object([(name.to_owned(), json!(1))].into_iter().collect::<Map<_, _>>());
    json!({"in": [object]})
}

#[test]
fn a_name_has_at_most_64_bytes_of_utf_8() {
    for bounds in [DOCUMENT, Bounds::BODY] {
        let limit = bounds.name_bytes;
        assert_eq!(verdict(&named(&"n".repeat(limit)), &bounds), Ok(()));
        assert_eq!(verdict(&named(&"\u{e9}".repeat(limit / 2)), &bounds), Ok(()));
        let long = "n".repeat(limit + 1);
        let problem = Problem::NameTooLong { bytes: limit + 1, limit };
        refused(&named(&long), &bounds, &format!("/in/0/{long}"), &problem);
        let long = format!("{}n", "\u{e9}".repeat(limit / 2));
        refused(&named(&long), &bounds, &format!("/in/0/{long}"), &problem);
    }
}

#[test]
fn a_name_has_at_least_one_byte_and_no_control_character() {
    assert_eq!(verdict(&named("n"), &DOCUMENT), Ok(()));
    assert_eq!(verdict(&named(" "), &DOCUMENT), Ok(()));
    refused(&named(""), &DOCUMENT, "/in/0/", &Problem::NameEmpty);
    // The ends of Unicode category Cc: U+0000 to U+001F, U+007F to U+009F.
    for control in ['\0', '\n', '\u{1f}', '\u{7f}', '\u{80}', '\u{9f}'] {
        let name = format!("a{control}b");
        refused(&named(&name), &DOCUMENT, &format!("/in/0/{name}"), &Problem::NameHasControl);
    }
    for near in ["a\u{20}b", "a~b", "a\u{a0}b"] {
        assert_eq!(verdict(&named(near), &DOCUMENT), Ok(()));
    }
}

#[test]
fn a_pointer_of_a_fault_is_escaped() {
    let fault = parse(br#"{"a/b": {"m~n": {"c": 1, "c": 2}}}"#, &DOCUMENT).unwrap_err();
    assert_eq!(fault.pointer.as_str(), "/a~1b/m~0n/c");
    assert_eq!(fault.problem, Problem::Duplicate);
}

#[test]
fn a_document_is_an_object() {
    for value in [json!(null), json!(true), json!(1), json!("x"), json!([{}])] {
        let fault = check_document(&value).unwrap_err();
        assert_eq!((fault.pointer.as_str(), fault.problem), ("", Problem::NotAnObject));
    }
    assert_eq!(check_document(&json!({})), Ok(()));
}

#[test]
fn a_document_keeps_to_its_bounds() {
    assert_eq!(check_document(&nest(16, false)), Ok(()));
    let fault = check_document(&nest(17, false)).unwrap_err();
    assert_eq!(fault.problem, Problem::TooDeep { limit: 16 });
    let fault = check_document(&flat(513)).unwrap_err();
    assert_eq!(fault.problem, Problem::TooManyMembers { limit: 512 });
}

#[test]
fn no_member_of_a_document_is_null_except_within_an_array() {
    // RFC 7396 section 1: a merge patch cannot set null, and takes arrays whole.
    for (value, pointer) in
        [(json!({"a": null}), "/a"), (json!({"a": 1, "b": {"c": {}, "d": {"e/f": null}}}), "/b/d/e~1f")]
    {
        let fault = check_document(&value).unwrap_err();
        assert_eq!((fault.pointer.as_str(), fault.problem), (pointer, Problem::NullMember));
    }
    assert_eq!(check_document(&json!({"a": [null, {"b": null}], "c": {"d": [null]}})), Ok(()));
}

#[test]
fn every_problem_says_what_to_do() {
    let faults = [
        check_document(&json!([])).unwrap_err(),
        check_document(&json!({"a": null})).unwrap_err(),
        check_document(&nest(17, false)).unwrap_err(),
        check_document(&flat(513)).unwrap_err(),
        check_document(&named("")).unwrap_err(),
        check_document(&named("\n")).unwrap_err(),
        check_document(&named(&"n".repeat(65))).unwrap_err(),
        check_document(&json!({"a": "x".repeat(9000)})).unwrap_err(),
        parse(b"{", &DOCUMENT).unwrap_err(),
        parse(b"\xff", &DOCUMENT).unwrap_err(),
        parse(b"1e999", &DOCUMENT).unwrap_err(),
        parse(br#"{"a":1,"a":1}"#, &DOCUMENT).unwrap_err(),
    ];
    for fault in faults {
        let advice = fault.problem.advice();
        assert!(advice.len() > 10, "{fault}");
        assert!(fault.to_string().ends_with(&format!(": {advice}")), "{fault}");
        if !fault.pointer.is_whole() {
            assert!(fault.to_string().contains(&format!(", at {}", fault.pointer)), "{fault}");
        }
    }
    let long = Problem::TooManyBytes { bytes: 8200, limit: 8192 };
    assert_eq!(long.advice(), "leave out at least 8 bytes");
}
