//! Conditional requests by RFC 9110, section 13.

use axum::body::Body;
use serde_json::json;

use crate::house::{House, JSON, MERGE};

const DESIRED: &str = "/v1/fixtures/hall/desired";

async fn patched(house: &House, path: &str, name: &str, tag: &str) -> crate::house::Answer {
    house.send("PATCH", path, &[("content-type", MERGE), (name, tag)], r#"{"notes":"x","fade":9}"#).await
}

/// RFC 9110, sections 13.1.1 and 8.8.3.2: If-Match goes by strong comparison, `*` matches whatever is there.
#[tokio::test]
async fn if_match_lets_an_edit_through_only_at_the_current_revision() {
    for (tag, passes) in [
        ("\"1\"", true),
        ("*", true),
        ("\"7\", \"1\"", true),
        ("W/\"1\"", false),
        ("\"0\"", false),
        ("\"2\"", false),
        ("\"01x\"", false),
        ("\"\"", false),
    ] {
        let house = House::with_hall().await;
        let rows = house.history_rows().await;
        let answer = patched(&house, DESIRED, "if-match", tag).await;
        if passes {
            assert_eq!(answer.expect(200).header("etag"), "\"2\"", "{tag}");
        } else {
            answer.problem(412, "stale");
            assert_eq!(house.history_rows().await, rows, "{tag}");
        }
    }
}

#[tokio::test]
async fn an_if_match_that_is_no_list_of_tags_is_malformed() {
    let house = House::with_hall().await;
    for tag in ["1", "\"1", "w/\"1\"", "\"1\" \"2\"", "*, \"1\"", ""] {
        for name in ["if-match", "if-none-match"] {
            patched(&house, DESIRED, name, tag).await.problem(400, "header");
        }
    }
}

/// RFC 9110, section 13.1.2: a list that holds the current tag, or `*`, gives 304 to a reader, by weak comparison.
#[tokio::test]
async fn a_reader_who_holds_the_current_state_gets_304() {
    let house = House::with_hall().await;
    for path in ["", "/desired", "/reported", "/delta", "/desired?rev=1"] {
        let path = format!("/v1/fixtures/hall{path}");
        let tag = house.get(&path).await.header("etag").to_owned();
        assert!(tag.starts_with('"'), "{path} has a strong tag");
        let weak = format!("W/{tag}");
        let list = format!("\"x\", {tag}");
        for held in [tag.as_str(), "*", weak.as_str(), list.as_str()] {
            for method in ["GET", "HEAD"] {
                let answer = house.send(method, &path, &[("if-none-match", held)], Body::empty()).await;
                assert_eq!((answer.expect(304).bytes.len(), answer.header("etag")), (0, tag.as_str()), "{path}");
            }
        }
        house.send("GET", &path, &[("if-none-match", "\"x\"")], Body::empty()).await.expect(200);
    }
}

/// RFC 9110, section 13.1.2: with other methods the condition refuses the request.
#[tokio::test]
async fn if_none_match_keeps_an_edit_from_what_is_there() {
    let house = House::with_hall().await;
    let put = async |tag: &str| {
        house.send("PUT", DESIRED, &[("content-type", JSON), ("if-none-match", tag)], r#"{"fade":1}"#).await
    };
    put("*").await.problem(412, "stale");
    put("\"1\"").await.problem(412, "stale");
    put("W/\"1\"").await.problem(412, "stale");
    put("\"5\"").await.expect(200);
    house.post("/v1/fixtures", r#"{"id":"new"}"#).await.expect(201);
    let headers = [("content-type", JSON), ("if-none-match", "*")];
    house.send("PUT", "/v1/fixtures/new/desired", &headers, "{\"fade\":1}").await.expect(200);
    house.send("PUT", "/v1/fixtures/new/desired", &headers, "{\"fade\":2}").await.problem(412, "stale");
}

#[tokio::test]
async fn an_edit_under_the_records_revision_depends_on_nothing_else() {
    let house = House::with_hall().await;
    let tag = house.get("/v1/fixtures/hall").await.header("etag").to_owned();
    // what is desired moves on; the record does not
    house.patch(DESIRED, r#"{"fade":9}"#).await.expect(200);
    assert_ne!(house.get("/v1/fixtures/hall").await.header("etag"), tag);
    let edit = async |tag: &str| {
        let headers = [("content-type", MERGE), ("if-match", tag)];
        house.send("PATCH", "/v1/fixtures/hall", &headers, r#"{"notes":"x"}"#).await
    };
    edit(&tag).await.problem(412, "stale");
    edit("\"1\"").await.expect(200);
    edit("\"1\"").await.problem(412, "stale");
    assert_eq!(edit("\"2\"").await.expect(200).json()["changed"], json!([]));
    house.send("DELETE", "/v1/fixtures/hall", &[("if-match", "\"1\"")], Body::empty()).await.problem(412, "stale");
    house.send("DELETE", "/v1/fixtures/hall", &[("if-match", "\"2\"")], Body::empty()).await.expect(204);
}

/// RFC 9110, section 13.2.1: conditions are looked at after what would be refused anyway.
#[tokio::test]
async fn other_refusals_come_before_conditions() {
    let house = House::with_hall().await;
    let stale = ("if-match", "\"9\"");
    house.send("PATCH", DESIRED, &[stale], "{}").await.problem(415, "media-type");
    house.send("PATCH", DESIRED, &[("content-type", MERGE), stale], "{").await.problem(400, "malformed");
    let path = "/v1/fixtures/ghost/desired";
    house.send("PATCH", path, &[("content-type", MERGE), stale], "{}").await.problem(404, "unknown-fixture");
}

#[tokio::test]
async fn of_many_edits_at_one_revision_exactly_one_is_made() {
    let house = House::with_hall().await;
    let edits = (0..20).map(|n| {
        let body = format!("{{\"fade\":{}}}", n + 10);
        let house = &house;
        async move { house.send("PATCH", DESIRED, &[("content-type", MERGE), ("if-match", "\"1\"")], body).await.status }
    });
    let statuses = futures_util::future::join_all(edits).await;
    assert_eq!(statuses.iter().filter(|status| status.as_u16() == 200).count(), 1);
    assert_eq!(statuses.iter().filter(|status| status.as_u16() == 412).count(), 19);
    assert_eq!(house.get(DESIRED).await.header("etag"), "\"2\"");
}

/// The record's own revision, or the whole tag of the fixture: nothing that only begins like it (RFC 9110, section
/// 8.8.3.2, compares the whole).
#[tokio::test]
async fn a_fixtures_record_is_edited_under_its_whole_tag_or_its_bare_revision() {
    for (tag, passes) in [
        ("whole", true),
        ("\"1\"", true),
        ("\"9\", \"1\"", true),
        ("\"1-999-x\"", false),
        ("\"1-\"", false),
        ("\"01\"", false),
        ("stale", false),
    ] {
        let house = House::with_hall().await;
        let old = house.get("/v1/fixtures/hall").await.header("etag").to_owned();
        // the desired document is in the tag of the whole
        house.patch("/v1/fixtures/hall/desired", r#"{"fade":7}"#).await.expect(200);
        let whole = house.get("/v1/fixtures/hall").await.header("etag").to_owned();
        assert_ne!(old, whole);
        let tag = match tag {
            "whole" => &whole,
            "stale" => &old,
            other => other,
        };
        let headers = [("content-type", MERGE), ("if-match", tag)];
        let answer = house.send("PATCH", "/v1/fixtures/hall", &headers, r#"{"notes":"x"}"#).await;
        if passes {
            assert_ne!(answer.expect(200).header("etag"), whole, "{tag}");
        } else {
            answer.problem(412, "stale");
            assert_eq!(house.send("DELETE", "/v1/fixtures/hall", &[("if-match", tag)], "").await.status, 412, "{tag}");
        }
    }
}

#[tokio::test]
async fn of_two_enrolments_under_one_tag_the_second_is_refused() {
    let house = House::with_hall().await;
    let tag = house.get("/v1/fixtures/hall").await.header("etag").to_owned();
    let enrol = async |tag: &str| house.send("POST", "/v1/fixtures/hall/enrol", &[("if-match", tag)], "").await;
    let made = enrol(&tag).await.expect(201).json();
    enrol(&tag).await.problem(412, "stale");
    assert!(house.service.admits("hall", made["secret"].as_str().unwrap().as_bytes()), "the first one holds");
    // what the answer holds is in the tag: when it was enrolled, too
    let seen = house.get("/v1/fixtures/hall").await;
    assert_ne!(seen.header("etag"), tag);
    enrol(seen.header("etag")).await.expect(201);
}

#[tokio::test]
async fn of_enrolments_at_one_time_under_the_bare_revision_one_is_granted() {
    let house = House::with_hall().await;
    let enrol = async || house.send("POST", "/v1/fixtures/hall/enrol", &[("if-match", "\"1\"")], "").await;
    let (one, two, three) = tokio::join!(enrol(), enrol(), enrol());
    let (granted, refused): (Vec<_>, Vec<_>) = [one, two, three].into_iter().partition(|answer| answer.status == 201);
    assert_eq!((granted.len(), refused.len()), (1, 2));
    for refused in refused {
        let told = refused.problem(412, "stale");
        assert!(told["detail"].as_str().unwrap().contains("enrolled by somebody else"), "{told}");
    }
    // whoever comes after it, and has seen it, may
    enrol().await.expect(201);
}
