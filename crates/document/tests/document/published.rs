//! Every published case of RFC 7396, RFC 6901 and RFC 6902, and ours by their rules.

use document::{Bounds, Pointer, Problem, Value, apply, difference, equal, merge, merged, parse};
use serde_json::json;

use crate::values::{cases, check_values};

#[test]
fn merge_gives_what_rfc_7396_prints() {
    // RFC 7396: the 15 rows of appendix A in printed order, the examples of sections 1 and 3.
    let file = check_values!("json-merge-patch-rfc7396.json");
    for case in cases(&file, "cases", 17) {
        let result = merged(&case["original"], &case["patch"]);
        assert!(equal(&result, &case["result"]), "{}: {result}", case["source"]);
        let mut target = case["original"].clone();
        merge(&mut target, &case["patch"]);
        assert_eq!(target, result, "{}", case["source"]);
    }
}

#[test]
fn merge_keeps_to_section_2_of_rfc_7396_at_the_edges_and_twice_is_once() {
    // Inputs ours, results by the rule of RFC 7396 section 2.
    let file = check_values!("json-merge-patch-extra.json");
    for case in cases(&file, "cases", 33) {
        let once = merged(&case["original"], &case["patch"]);
        assert!(equal(&once, &case["result"]), "{}: {once}", case["what"]);
        assert_eq!(case["twice_gives_same"], true);
        assert_eq!(merged(&once, &case["patch"]), once, "{}", case["what"]);
    }
}

#[test]
fn differences_are_the_smallest_patches_and_reach_their_target() {
    // Inputs ours; the smallest patch by RFC 7396 section 2.
    let file = check_values!("json-merge-patch-diff.json");
    for case in cases(&file, "cases", 19) {
        let patch = difference(&case["source"], &case["target"]);
        assert!(equal(&patch, &case["smallest_patch"]), "{case}: {patch}");
        let reached = equal(&merged(&case["source"], &patch), &case["target"]);
        // False where the target has a null member, which no merge patch sets (section 1).
        assert_eq!(Value::Bool(reached), case["reaches_target"], "{case}");
    }
}

#[test]
fn pointers_resolve_as_rfc_6901_section_5_prints() {
    let file = check_values!("json-pointer-rfc6901.json");
    for case in cases(&file, "cases", 12) {
        let text = case["pointer"].as_str().unwrap();
        let pointer: Pointer = text.parse().unwrap();
        assert_eq!(pointer.to_string(), text);
        let whole = case["value"] == "WHOLE DOCUMENT";
        let expected = if whole { &file["document"] } else { &case["value"] };
        assert_eq!(pointer.resolve(&file["document"]), Some(expected), "{text}");
        // The same place built from the unescaped names.
        let mut built = Pointer::default();
        pointer.tokens().for_each(|token| built.push(&token));
        assert_eq!(built, pointer);
    }
}

#[test]
fn pointers_that_rfc_6901_forbids_or_that_lead_nowhere_resolve_to_nothing() {
    // Inputs ours, by the sections of RFC 6901 named in each row.
    let file = check_values!("json-pointer-rfc6901.json");
    for case in cases(&file, "error_cases", 9) {
        let text = case["pointer"].as_str().unwrap();
        let malformed = case["why"].as_str().unwrap().ends_with("section 3");
        match text.parse::<Pointer>() {
            Ok(pointer) => {
                assert!(!malformed, "{case}");
                assert_eq!(pointer.resolve(&file["document"]), None, "{case}");
            }
            Err(_) => assert!(malformed, "{case}"),
        }
    }
}

#[test]
fn a_token_is_unescaped_slash_first_as_rfc_6901_section_4_asks() {
    let file = check_values!("json-pointer-rfc6901.json");
    for case in cases(&file, "escape", 1) {
        let pointer: Pointer = format!("/{}", case["token"].as_str().unwrap()).parse().unwrap();
        assert_eq!(pointer.tokens().collect::<Vec<_>>(), [case["means"].as_str().unwrap()]);
    }
}

#[test]
fn apply_gives_what_rfc_6902_prints() {
    // RFC 6902 appendix A.1 to A.16, and rules of sections 4 and 5.
    let file = check_values!("json-patch-rfc6902.json");
    let mut refused = 0;
    for case in cases(&file, "cases", 20) {
        if let Some(text) = case["patch_text"].as_str() {
            // Appendix A.13: `op` occurs twice. A parsed object cannot hold it; reading sees it.
            let fault = parse(text.as_bytes(), &Bounds::BODY).unwrap_err();
            assert_eq!(fault.problem, Problem::Duplicate, "{}", case["source"]);
            assert_eq!(fault.pointer.as_str(), "/0/op");
            assert_eq!(case["error"], true);
            refused += 1;
            continue;
        }
        match apply(&case["document"], &case["patch"]) {
            Ok(result) => {
                assert!(case.get("error").is_none(), "{}", case["source"]);
                assert!(equal(&result, &case["result"]), "{}: {result}", case["source"]);
            }
            Err(fault) => {
                assert_eq!(case.get("error"), Some(&json!(true)), "{}: {fault}", case["source"]);
                refused += 1;
            }
        }
    }
    assert_eq!(refused, 7);
}
