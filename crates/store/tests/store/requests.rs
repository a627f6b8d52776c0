//! Requests made with an Idempotency-Key.

use jiff::{SignedDuration, Timestamp};
use kernel::{Command, Rejection};
use serde_json::json;
use store::{ExecuteError, Once, Outcome, Request, Retention};

use crate::rig::{Rig, create, enrol, merge, number, owner, second};

fn once(key: &str, fingerprint: u8) -> Option<Once> {
    Some(Once { key: key.into(), fingerprint: [fingerprint; 32] })
}

async fn ask(rig: &Rig, command: Command, at: Timestamp, once: Option<Once>) -> Result<Outcome, ExecuteError> {
    rig.store.execute(Request { command, actor: owner(), at, cause: None, once }).await
}

fn rejection(result: Result<Outcome, ExecuteError>) -> Rejection {
    match result {
        Err(ExecuteError::Rejected(rejection)) => rejection,
        other => panic!("{other:?}"),
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_repeated_request_gets_its_first_answer_and_does_nothing() {
    let rig = Rig::new().await;
    let first = ask(&rig, create("hall"), second(0), once("k", 1)).await.unwrap();
    assert!(!first.replayed);
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let edit = ask(&rig, merge("hall", json!({"b": 1})), second(0), once("e", 2)).await.unwrap();
    rig.tell(merge("hall", json!({"b": 2}))).await;
    for rig in [&rig, &rig] {
        let again = ask(rig, create("hall"), second(60), once("k", 1)).await.unwrap();
        assert!(again.replayed);
        assert_eq!((again.answer.revision, &again.answer.changed), (first.answer.revision, &first.answer.changed));
        let again = ask(rig, merge("hall", json!({"b": 1})), second(60), once("e", 2)).await.unwrap();
        assert_eq!((again.replayed, again.answer.revision), (true, edit.answer.revision));
    }
    assert_eq!(rig.desired("hall"), json!({"a": 1, "b": 2}));
    // also across a start
    let rig = rig.reopened().await;
    let again = ask(&rig, create("hall"), second(120), once("k", 1)).await.unwrap();
    assert!(again.replayed);
    assert_eq!(again.answer.changed, first.answer.changed);
    assert_eq!(again.fixture.unwrap().desired.revision.get(), 3, "the fixture is as it is now");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_repeated_within_one_commit_is_done_once() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let mut waiting = Vec::new();
    for n in 0..20 {
        let command = merge("hall", json!({"n": n}));
        let request = Request { command, actor: owner(), at: second(0), cause: None, once: once("k", 1) };
        waiting.push(rig.store.submit(request).await.unwrap());
    }
    let mut replayed = 0;
    for answer in waiting {
        let outcome = answer.await.unwrap().unwrap();
        assert_eq!(outcome.answer.revision.get(), 1);
        replayed += usize::from(outcome.replayed);
    }
    assert_eq!((replayed, rig.desired("hall")), (19, json!({"n": 0})));
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM request").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_used_for_another_request_is_refused() {
    let rig = Rig::new().await;
    ask(&rig, create("hall"), second(0), once("k", 1)).await.unwrap();
    assert_eq!(rejection(ask(&rig, create("jetty"), second(1), once("k", 2)).await), Rejection::KeyReused);
    assert!(rig.store.house().get("jetty").is_none());
    let rig = rig.reopened().await;
    assert_eq!(rejection(ask(&rig, create("jetty"), second(1), once("k", 2)).await), Rejection::KeyReused);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_that_held_a_secret_is_not_kept() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    ask(&rig, enrol(&rig.store, "hall", b"one", None), second(0), once("k", 1)).await.unwrap();
    let secret = rig.get("hall").secret.clone();
    let again = enrol(&rig.store, "hall", b"two", None);
    assert_eq!(rejection(ask(&rig, again, second(1), once("k", 1)).await), Rejection::SecretShown);
    assert!(rig.get("hall").secret == secret, "the first secret stands");
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM request WHERE answer IS NULL").await, 1);
    let rig = rig.reopened().await;
    let again = enrol(&rig.store, "hall", b"two", None);
    assert_eq!(rejection(ask(&rig, again, second(1), once("k", 1)).await), Rejection::SecretShown);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_request_may_be_tried_again_under_its_key() {
    let rig = Rig::new().await;
    let edit = || merge("hall", json!({"a": 1}));
    assert!(matches!(rejection(ask(&rig, edit(), second(0), once("k", 1)).await), Rejection::UnknownFixture(_)));
    rig.tell(create("hall")).await;
    assert!(!ask(&rig, edit(), second(1), once("k", 1)).await.unwrap().replayed);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_is_forgotten_after_a_day() {
    let rig = Rig::new().await;
    ask(&rig, create("hall"), second(0), once("k", 1)).await.unwrap();
    let keep_all = Retention { age: None, rows: None };
    let day = second(0).checked_add(SignedDuration::from_hours(24)).unwrap();
    rig.store.retire(keep_all, day).await.unwrap();
    assert!(ask(&rig, create("hall"), day, once("k", 1)).await.unwrap().replayed, "to the very day");
    let later = day.checked_add(SignedDuration::from_millis(1)).unwrap();
    rig.store.retire(keep_all, later).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM request").await, 0);
    assert!(matches!(rejection(ask(&rig, create("hall"), later, once("k", 1)).await), Rejection::Exists(_)));
    assert!(ask(&rig, create("jetty"), later, once("k", 2)).await.is_ok(), "and is free for another request");
}
