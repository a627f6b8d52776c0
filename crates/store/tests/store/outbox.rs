//! What has to be published: kept until the broker has it, under the ticket of the change that asked for it.

use std::time::Duration;

use kernel::Message;
use serde_json::json;
use store::Due;

use crate::rig::{Rig, create, delete, hear, id, merge, number, report};

/// Waits until the outbox in memory is so long. The bound is generous: it only ends a test that hangs.
async fn until_length(rig: &Rig, length: usize) {
    let reached = async {
        while rig.store.outbox().len() != length {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(60), reached).await.expect("the outbox comes to that length");
}

async fn take_one(rig: &Rig) -> Due {
    rig.store.outbox().came().await;
    let mut due = rig.store.outbox().take(10);
    assert_eq!(due.len(), 1, "{due:?}");
    due.remove(0)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_newer_change_is_not_cleared_by_an_older_acknowledgement() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let first = take_one(&rig).await;
    assert_eq!((first.key, first.id.clone()), (rig.get("hall").key, id("hall")));
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let second = take_one(&rig).await;
    assert!(second.ticket > first.ticket);
    rig.store.published(first.key, first.ticket).await;
    rig.tell(merge("hall", json!({"a": 1}))).await; // comes after it on the queue
    assert_eq!(rig.store.outbox().len(), 1);
    assert_eq!(number(rig.store.path(), "SELECT ticket FROM outbox").await, second.ticket);
    rig.store.published(second.key, second.ticket).await;
    until_length(&rig, 0).await;
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM outbox").await, 0);
    assert!(rig.store.outbox().is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn an_acknowledgement_and_a_change_in_one_commit_leave_the_change() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let first = take_one(&rig).await;
    // all three are on the queue before the writer can have taken the last
    let one =
        rig.store.submit(crate::rig::request(merge("hall", json!({"a": 1})), crate::rig::second(0))).await.unwrap();
    rig.store.published(first.key, first.ticket).await;
    let two =
        rig.store.submit(crate::rig::request(merge("hall", json!({"a": 2})), crate::rig::second(0))).await.unwrap();
    assert!(one.await.unwrap().is_ok() && two.await.unwrap().is_ok());
    assert_eq!(rig.store.outbox().len(), 1);
    rig.store.outbox().again();
    let due = take_one(&rig).await;
    assert!(due.ticket > first.ticket);
    assert_eq!(number(rig.store.path(), "SELECT ticket FROM outbox").await, due.ticket);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_taken_is_due_again_only_when_asked() {
    let rig = Rig::new().await;
    for name in ["a", "b", "c"] {
        rig.tell(create(name)).await;
    }
    assert_eq!(rig.store.outbox().take(2).len(), 2);
    assert_eq!(rig.store.outbox().take(2).len(), 1);
    assert_eq!(rig.store.outbox().take(2), []);
    assert_eq!(rig.store.outbox().len(), 3, "none is acknowledged");
    rig.store.outbox().again();
    rig.store.outbox().came().await;
    let due = rig.store.outbox().take(9);
    let names: Vec<&str> = due.iter().map(|due| due.id.as_str()).collect();
    assert_eq!(names, ["a", "b", "c"], "oldest fixtures first");
    for due in due {
        rig.store.published(due.key, due.ticket).await;
    }
    until_length(&rig, 0).await;
    rig.store.outbox().again();
    assert_eq!(rig.store.outbox().take(9), []);
}

#[tokio::test(flavor = "multi_thread")]
async fn who_waits_is_woken_by_a_change_that_came_and_not_by_what_asks_for_nothing() {
    let rig = std::sync::Arc::new(Rig::new().await);
    rig.tell(create("hall")).await;
    let _ = rig.store.outbox().take(9);
    let waiting = tokio::spawn({
        let rig = std::sync::Arc::clone(&rig);
        async move {
            rig.store.outbox().came().await;
            rig.store.outbox().take(9)
        }
    });
    rig.tell(hear("hall", Message::boot(b"{}").unwrap())).await;
    rig.tell(report("hall", 0, json!({"a": 1}))).await;
    assert!(!waiting.is_finished(), "nothing of that is published");
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let due = tokio::time::timeout(Duration::from_secs(60), waiting).await.unwrap().unwrap();
    assert_eq!(due.len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fixture_that_is_gone_is_still_to_be_withdrawn_after_a_start() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let key = rig.get("hall").key;
    rig.tell(delete("hall")).await;
    let rig = rig.reopened().await;
    let due = take_one(&rig).await;
    assert_eq!((due.key, due.id), (key, id("hall")));
    rig.store.published(due.key, due.ticket).await;
    until_length(&rig, 0).await;
    let rig = rig.reopened().await;
    assert!(rig.store.outbox().is_empty());
}
