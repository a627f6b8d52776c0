//! Every error of the house as it looks from outside.

use std::path::PathBuf;
use std::sync::Arc;

use axum::http::StatusCode;
use axum::response::IntoResponse;
use document::{Pointer, Revision};
use service::{FixtureId, KindName};

use super::*;

fn id() -> FixtureId {
    "hall".parse().unwrap()
}

fn finding() -> Finding {
    Finding::new("/looks/evening".parse().unwrap(), "a fault", "an advice")
}

/// Every rejection with status, problem and pointer. The match keeps the table whole: a new variant does not compile.
#[test]
fn every_rejection_has_its_problem() {
    let free: KindName = "free".parse().unwrap();
    let all = [
        Rejection::UnknownFixture("hall".into()),
        Rejection::Exists(id()),
        Rejection::Stale { current: Revision::new(3) },
        Rejection::Invalid(vec![finding()]),
        Rejection::Invalid(Vec::new()),
        Rejection::Malformed(finding()),
        Rejection::TestFailed { pointer: "/lit".parse().unwrap(), text: "no".into() },
        Rejection::UnknownKind { kind: free.clone(), known: "strip".into() },
        Rejection::NoLooks { id: id(), kind: free },
        Rejection::NothingToUndo(Revision::NONE),
        Rejection::NeverGiven { rev: Revision::new(9), current: Revision::new(3) },
        Rejection::Message(finding()),
        Rejection::KeyReused,
        Rejection::SecretShown,
    ];
    for rejection in all {
        let (status, slug, pointer) = match &rejection {
            Rejection::UnknownFixture(_) => (404, "unknown-fixture", None),
            Rejection::Exists(_) => (409, "exists", Some("/id")),
            Rejection::Stale { .. } => (412, "stale", None),
            Rejection::Invalid(findings) if findings.is_empty() => (422, "invalid", None),
            Rejection::Invalid(_) => (422, "invalid", Some("/looks/evening")),
            Rejection::Malformed(_) | Rejection::Message(_) => (400, "malformed", Some("/looks/evening")),
            Rejection::TestFailed { .. } => (409, "test-failed", Some("/lit")),
            Rejection::UnknownKind { .. } => (422, "unknown-kind", Some("/kind")),
            Rejection::NoLooks { .. } => (409, "no-looks", None),
            Rejection::NothingToUndo(_) => (409, "nothing-to-undo", None),
            Rejection::NeverGiven { .. } => (409, "never-given", Some("/rev")),
            Rejection::KeyReused => (422, "key-reused", None),
            Rejection::SecretShown => (409, "secret-shown", None),
        };
        let detail = rejection.to_string();
        check(ServiceError::Rejected(rejection), status, slug, pointer, &detail);
    }
}

/// Every error of the database and its folder.
#[test]
fn every_error_of_the_store_has_its_problem() {
    let io = || Arc::new(std::io::Error::other("no"));
    let path = || PathBuf::from("house.sqlite");
    let all = [
        StoreError::Full,
        StoreError::Row { table: "history", column: "at", key: "7".into(), detail: "no".into() },
        StoreError::Newer { found: 9, known: 1 },
        StoreError::NotOurs { path: path(), detail: "no".into() },
        StoreError::InUse { folder: path(), holder: "7".into() },
        StoreError::Damaged { path: path(), detail: "no".into() },
        StoreError::Io { doing: "reading", path: path(), source: io() },
        StoreError::NotThere("no revision 9".into()),
        StoreError::Retired { since: "2026-01-01T00:00:00Z".into() },
        StoreError::TokenExists("kitchen".into()),
        StoreError::Cursor,
        StoreError::Stopped,
    ];
    for error in all {
        let (status, slug, pointer) = match &error {
            StoreError::Sql { .. } | StoreError::Io { .. } => (503, "database", None),
            StoreError::Newer { .. } | StoreError::NotOurs { .. } | StoreError::InUse { .. } => (503, "database", None),
            StoreError::Full => (507, "disk-full", None),
            StoreError::Row { .. } | StoreError::Damaged { .. } => (500, "damaged", None),
            StoreError::NotThere(_) => (404, "not-there", None),
            StoreError::Retired { .. } => (410, "retired", None),
            StoreError::TokenExists(_) => (409, "exists", Some("/name")),
            StoreError::Cursor => (400, "cursor", None),
            StoreError::Stopped => (503, "stopping", None),
        };
        let (detail, waits) = (error.to_string(), matches!(error, StoreError::Stopped | StoreError::Full));
        let refusal = check(ServiceError::Store(error), status, slug, pointer, &detail);
        assert!(!waits || refusal.into_response().headers().contains_key(RETRY_AFTER));
    }
    check(ServiceError::BrokerFiles("no room".into()), 502, "broker-files", None, "no room");
    check(ServiceError::Randomness("none".into()), 503, "not-ready", None, "none");
    check(ServiceError::Reserved(id()), 409, "reserved", None, "choose another id");
    check(ServiceError::EnrolledSince(id()), 412, "stale", None, "hall was enrolled by somebody else");
    check(ServiceError::Contended(id(), 20), 409, "contended", None, "20 times");
    let kind = ServiceError::Kind { path: path(), why: "no JSON".into(), advice: "mend it" };
    check(kind, 500, "defect", None, "no JSON; mend it");
}

#[test]
fn faults_of_json_are_told_apart_by_whether_the_text_is_json() {
    for (text, status, pointer) in
        [("{", 400, ""), ("{\"a\":1,\"a\":2}", 400, "/a"), ("{\"a\":1e999}", 422, "/a"), ("{\"\":1}", 422, "/")]
    {
        let refusal = Refusal::from(document::parse(text.as_bytes(), &document::Bounds::BODY).unwrap_err());
        let body = refusal.body();
        assert_eq!((body.status, body.pointer.as_deref()), (status, Some(pointer)), "{text}");
        assert!(body.advice.is_some_and(|advice| !advice.is_empty()));
    }
}

#[test]
fn pointers_can_be_seen_from_within_a_member() {
    let at = |pointer: &str| {
        let finding = Finding::new(pointer.parse().unwrap(), "a fault", "an advice");
        Refusal::from(Rejection::Invalid(vec![finding])).within("/override").body()
    };
    assert_eq!(at("/override/look").pointer.as_deref(), Some("/look"));
    assert_eq!(at("/override").errors[0].pointer, "");
    assert_eq!(at("/overridelook").pointer.as_deref(), Some("/overridelook"));
    assert_eq!(Pointer::default().as_str(), "");
}

fn check(error: ServiceError, status: u16, slug: &str, pointer: Option<&str>, detail: &str) -> Refusal {
    let refusal = Refusal::from(error);
    let body = refusal.body();
    assert_eq!((body.status, body.kind.as_str()), (status, format!("/problems/{slug}").as_str()));
    assert_eq!(body.pointer.as_deref(), pointer, "{slug}");
    assert!(body.detail.contains(detail), "{slug}: {}", body.detail);
    assert_eq!(refusal.clone().into_response().status(), StatusCode::from_u16(status).unwrap());
    refusal
}
