//! Undo: what it goes back to, and when it refuses.

use serde_json::json;
use service::{Rejection, ServiceError};
use store::StoreError;

use crate::rig::{Rig, at_revisions, id, once, owner, second};

async fn edited() -> Rig {
    let rig = Rig::new().await;
    rig.create("hall", "free").await;
    for n in 1..=5 {
        rig.merge("hall", json!({"n": n, format!("m{n}"): true})).await;
    }
    rig
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_goes_one_revision_back_and_the_next_one_comes_forward_again() {
    let rig = edited().await;
    let (four, five) = (
        rig.service.at_revision(&rig.get("hall"), service::Paper::Desired, 4).await.unwrap().document,
        rig.desired("hall"),
    );
    let undone = rig.service.undo(id("hall"), None, owner()).await.unwrap();
    assert_eq!((undone.to, undone.outcome.answer.revision.get()), (4, 6));
    assert_eq!(rig.desired("hall"), four);
    let undone = rig.service.undo(id("hall"), None, owner()).await.unwrap();
    assert_eq!((undone.to, rig.rev("hall")), (5, 7));
    assert_eq!(rig.desired("hall"), five, "undo then undo is identity");
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_goes_to_any_revision_and_to_the_very_beginning() {
    let rig = edited().await;
    for to in [2, 5, 0, 1] {
        let expected = rig.service.at_revision(&rig.get("hall"), service::Paper::Desired, to).await.unwrap().document;
        let undone = rig.service.undo(id("hall"), Some(to), owner()).await.unwrap();
        assert_eq!((undone.to, rig.desired("hall")), (to, expected));
    }
    assert_eq!(rig.rev("hall"), 9);
    // to where it is already: nothing changes
    let undone = rig.service.undo(id("hall"), Some(9), owner()).await.unwrap();
    assert_eq!((undone.outcome.answer.revision.get(), undone.outcome.answer.changed.len()), (9, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn there_must_be_something_to_undo() {
    let rig = Rig::new().await;
    let unknown = rig.service.undo(id("hall"), None, owner()).await.unwrap_err();
    assert!(matches!(unknown, ServiceError::Rejected(Rejection::UnknownFixture(_))), "{unknown:?}");
    rig.create("hall", "free").await;
    let nothing = rig.service.undo(id("hall"), None, owner()).await.unwrap_err();
    assert!(matches!(nothing, ServiceError::Rejected(Rejection::NothingToUndo(_))), "{nothing:?}");
    rig.merge("hall", json!({"a": 1})).await;
    let above = rig.service.undo(id("hall"), Some(7), owner()).await.unwrap_err();
    assert!(matches!(above, ServiceError::Store(StoreError::NotThere(_))), "{above:?}");
    rig.service.undo(id("hall"), None, owner()).await.unwrap();
    assert_eq!(rig.desired("hall"), json!({}));
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_of_something_else_than_what_was_seen_is_refused() {
    let rig = edited().await;
    let stale = rig.service.undo(id("hall"), None, at_revisions(&[4])).await.unwrap_err();
    assert!(matches!(stale, ServiceError::Rejected(Rejection::Stale { current }) if current.get() == 5), "{stale:?}");
    rig.service.undo(id("hall"), None, at_revisions(&[5])).await.unwrap();
    // of many at once from one revision, one is granted: the others would undo what they never saw
    let tasks: Vec<_> = (0..20)
        .map(|_| {
            let service = std::sync::Arc::clone(&rig.service);
            tokio::spawn(async move { service.undo(id("hall"), Some(1), at_revisions(&[6])).await })
        })
        .collect();
    let mut granted = 0;
    for task in tasks {
        match task.await.unwrap() {
            Ok(_) => granted += 1,
            Err(error) => assert!(matches!(error, ServiceError::Rejected(Rejection::Stale { .. })), "{error:?}"),
        }
    }
    assert_eq!((granted, rig.rev("hall")), (1, 7));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_undo_that_names_no_revision_is_begun_anew_when_another_edit_comes_in_between() {
    let rig = edited().await;
    let tasks: Vec<_> = (0..60)
        .map(|n| {
            let service = std::sync::Arc::clone(&rig.service);
            tokio::spawn(async move { service.undo(id("hall"), Some(n % 6), owner()).await })
        })
        .collect();
    let mut granted = 0;
    for task in tasks {
        match task.await.unwrap() {
            Ok(_) => granted += 1,
            // overtaken again and again: the words say so, and not that the caller had named a revision
            Err(error) => assert!(matches!(error, ServiceError::Contended(..)), "{error:?}"),
        }
    }
    // in every round one is granted, and each has twenty
    assert!(granted >= 20, "{granted}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_undo_that_is_repeated_under_its_key_is_done_once() {
    let rig = edited().await;
    let mut asked = once("k");
    asked.precondition = service::Precondition::OneOf(vec![5]);
    let first = rig.service.undo(id("hall"), None, asked.clone()).await.unwrap();
    let again = rig.service.undo(id("hall"), None, asked.clone()).await.unwrap();
    assert!(again.outcome.replayed);
    assert_eq!((again.to, again.outcome.answer.revision), (first.to, first.outcome.answer.revision));
    assert_eq!(rig.rev("hall"), 6);
    // a new key under the old condition is stale
    let mut other = once("other");
    other.precondition = asked.precondition;
    let stale = rig.service.undo(id("hall"), None, other).await.unwrap_err();
    assert!(matches!(stale, ServiceError::Rejected(Rejection::Stale { .. })), "{stale:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_brings_no_override_back_that_has_ended_since() {
    let rig = Rig::new().await;
    rig.create("hall", "strip").await;
    rig.merge("hall", json!({"default": "evening", "looks": {"evening": {"kelvin": 2400}}})).await;
    let held = json!({"look": "evening", "until": second(60).to_string()});
    rig.service.put_override(id("hall"), Some(held.clone()), owner()).await.unwrap();
    rig.merge("hall", json!({"fade": 2, "override": null})).await;
    rig.clock.set(second(59));
    rig.service.undo(id("hall"), Some(2), owner()).await.unwrap();
    assert_eq!(rig.desired("hall")["override"], held);
    rig.service.undo(id("hall"), Some(3), owner()).await.unwrap();
    rig.clock.set(second(60));
    rig.service.undo(id("hall"), Some(2), owner()).await.unwrap();
    let desired = rig.desired("hall");
    assert_eq!((desired.get("override"), desired.get("fade")), (None, None), "the rest of that state comes back");
}
