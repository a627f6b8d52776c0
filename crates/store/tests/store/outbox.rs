//! What has to be published: kept until the broker has it, under the ticket of the change that asked for it.

use std::time::Duration;

use kernel::Message;
use serde_json::json;
use store::Due;

use crate::rig::{Rig, create, delete, hear, id, merge, number, report, until};

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
    until(rig.store.path(), "SELECT coalesce(max(ticket), 0) FROM outbox", second.ticket).await;
    rig.store.published(second.key, second.ticket).await;
    until_length(&rig, 0).await;
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
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
    until(rig.store.path(), "SELECT coalesce(max(ticket), 0) FROM outbox", due.ticket).await;
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

#[tokio::test(flavor = "multi_thread")]
async fn publishing_all_makes_every_fixture_due_under_a_ticket_that_no_earlier_acknowledgement_clears() {
    let rig = Rig::new().await;
    rig.store.publish_all().await.unwrap();
    assert!(rig.store.outbox().is_empty(), "an empty house has nothing to publish");
    for name in ["hall", "jetty", "landing", "gone"] {
        rig.tell(create(name)).await;
    }
    rig.tell(delete("gone")).await;
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let before = rig.store.outbox().take(9);
    let gone = before.iter().find(|due| due.id == id("gone")).cloned().unwrap();
    // hall is acknowledged, jetty and landing are on their way
    let hall = before.iter().find(|due| due.id == id("hall")).unwrap();
    rig.store.published(hall.key, hall.ticket).await;
    until_length(&rig, 3).await;

    rig.store.publish_all().await.unwrap();
    let tickets = "SELECT count(*) FROM outbox WHERE ticket > (SELECT max(id) FROM history)";
    assert_eq!(number(rig.store.path(), tickets).await, 3, "it is durable when it answers");
    tokio::time::timeout(Duration::from_secs(60), rig.store.outbox().came()).await.expect("who waits is woken");
    let due = rig.store.outbox().take(9);
    let names: Vec<&str> = due.iter().map(|due| due.id.as_str()).collect();
    assert_eq!(names, ["hall", "jetty", "landing"]);
    let ticket = due[0].ticket;
    assert!(due.iter().all(|due| due.ticket == ticket) && before.iter().all(|old| old.ticket < ticket));
    for old in before.iter().filter(|old| old.key != gone.key) {
        rig.store.published(old.key, old.ticket).await;
    }
    rig.tell(merge("jetty", json!({"a": 1}))).await; // comes after them on the queue
    assert_eq!(rig.store.outbox().len(), 4, "what is gone is still to be withdrawn as well");

    // a change of afterwards has a ticket of its own, and all of it outlasts the process
    let jetty = rig.store.outbox().take(9).remove(0);
    assert!(jetty.ticket > ticket && rig.get("jetty").desired.head == Some(jetty.ticket));
    let rig = rig.reopened().await;
    let again = rig.store.outbox().take(9);
    assert_eq!(again.len(), 4);
    assert!(again.contains(&jetty) && again.contains(&due[0]) && again.contains(&gone));
    for due in again {
        rig.store.published(due.key, due.ticket).await;
    }
    until_length(&rig, 0).await;
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn publishing_all_that_could_not_be_written_leaves_the_outbox_as_it_was() {
    let rig = Rig::new().await;
    for n in 0..100 {
        rig.tell(create(&format!("reed-{n}"))).await;
    }
    for due in rig.store.outbox().take(99) {
        rig.store.published(due.key, due.ticket).await;
    }
    until_length(&rig, 1).await;
    until(rig.store.path(), "SELECT count(*) FROM outbox", 1).await;
    let ticket = rig.store.outbox().take(9).remove(0).ticket;
    let fault = "CREATE TRIGGER fault BEFORE INSERT ON outbox WHEN NEW.fixture = 90
                 BEGIN SELECT RAISE(ROLLBACK, 'made to fail'); END";
    crate::rig::run_sql(rig.store.path(), fault).await;
    assert!(rig.store.publish_all().await.is_err());
    assert_eq!(rig.store.outbox().len(), 1);
    let whole = "SELECT count(*) * 1000000 + sum(ticket) FROM outbox";
    assert_eq!(number(rig.store.path(), whole).await, 1_000_000 + ticket, "not even the first of them");
    crate::rig::run_sql(rig.store.path(), "DROP TRIGGER fault").await;
    rig.store.publish_all().await.unwrap();
    assert_eq!((rig.store.outbox().len(), rig.store.outbox().take(999).len()), (100, 100));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_renewed_is_due_once_and_nothing_of_it_is_written() {
    let rig = Rig::new().await;
    for name in ["hall", "jetty"] {
        rig.tell(create(name)).await;
    }
    for due in rig.store.outbox().take(9) {
        rig.store.published(due.key, due.ticket).await;
    }
    until_length(&rig, 0).await;
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
    let (outbox, hall) = (rig.store.outbox(), rig.get("hall"));
    outbox.renew([&*hall]);
    outbox.renew([&*hall]);
    assert_eq!(outbox.len(), 1);
    let due = take_one(&rig).await;
    assert_eq!((due.key, due.id.as_str()), (hall.key, "hall"));
    assert_eq!(outbox.take(9), []);
    assert!(!outbox.keys().contains(&hall.key), "what was published of it is what it is");
    outbox.again();
    assert_eq!(outbox.take(9), std::slice::from_ref(&due), "not acknowledged yet");
    rig.store.published(due.key, due.ticket).await;
    assert!(outbox.is_empty(), "at once, since nobody writes it");
    outbox.again();
    assert_eq!(outbox.take(9), []);
    outbox.renew([&*hall]);
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM outbox").await, 0);
    let rig = rig.reopened().await;
    assert!(rig.store.outbox().is_empty(), "it is renewed at the start anyway");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_renewal_is_not_cleared_by_the_acknowledgement_of_an_earlier_one() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let created = take_one(&rig).await;
    rig.store.published(created.key, created.ticket).await;
    until_length(&rig, 0).await;
    let (outbox, hall) = (rig.store.outbox(), rig.get("hall"));
    outbox.renew([&*hall]);
    let first = take_one(&rig).await;
    outbox.renew([&*hall]);
    let second = take_one(&rig).await;
    assert_ne!(first.ticket, second.ticket);
    rig.store.published(first.key, first.ticket).await;
    assert_eq!(outbox.len(), 1);
    outbox.again();
    assert_eq!(take_one(&rig).await, second);
    rig.store.published(second.key, second.ticket).await;
    assert!(outbox.is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_row_keeps_its_ticket_when_its_fixture_is_renewed_and_one_on_its_way_is_followed_by_the_renewal() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let (outbox, hall) = (rig.store.outbox(), rig.get("hall"));
    // it waits still, and will be made of the state of then
    outbox.renew([&*hall]);
    let row = take_one(&rig).await;
    assert!(row.ticket > 0);
    // it is on its way with what was true before
    outbox.renew([&*hall]);
    assert_eq!((outbox.len(), outbox.take(9).len()), (1, 0));
    rig.store.published(row.key, row.ticket).await;
    let renewal = take_one(&rig).await;
    assert!(renewal.ticket < 0);
    // a change that comes meanwhile is published in its place, under its own ticket
    rig.tell(merge("hall", json!({"a": 1}))).await;
    let change = take_one(&rig).await;
    rig.store.published(renewal.key, renewal.ticket).await;
    assert_eq!(outbox.len(), 1);
    until(rig.store.path(), "SELECT coalesce(max(ticket), 0) FROM outbox", change.ticket).await;
    // a lost connection has the row published anew, which covers the renewal
    outbox.renew([&*hall]);
    outbox.again();
    assert_eq!(take_one(&rig).await, change);
    rig.store.published(change.key, change.ticket).await;
    until_length(&rig, 0).await;
    assert_eq!(outbox.take(9), []);
    until(rig.store.path(), "SELECT count(*) FROM outbox", 0).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_renewal_never_comes_into_the_file_in_place_of_a_row_that_was_cleared() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let row = take_one(&rig).await;
    rig.store.published(row.key, row.ticket).await;
    until_length(&rig, 0).await;
    // the table follows a second later or so: by then there is a renewal
    rig.store.outbox().renew([&*rig.get("hall")]);
    until(rig.store.path(), crate::rig::BEHIND, 0).await;
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM outbox").await, 0);
    assert_eq!(rig.store.outbox().len(), 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn who_waits_is_woken_by_a_renewal() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let row = take_one(&rig).await;
    rig.store.published(row.key, row.ticket).await;
    until_length(&rig, 0).await;
    let hall = rig.get("hall");
    let woken = tokio::time::timeout(Duration::from_secs(60), async {
        tokio::join!(rig.store.outbox().came(), async {
            tokio::task::yield_now().await;
            rig.store.outbox().renew([&*hall]);
        })
    });
    woken.await.expect("who waits is woken");
}
