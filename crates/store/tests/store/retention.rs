//! Retiring old history: what goes, what stays, and what is said of what went.

use jiff::SignedDuration;
use kernel::{Message, Paper};
use serde_json::json;
use store::{Direction, Filter, Retention, StoreError};

use crate::rig::{Rig, create, delete, hear, merge, number, record, report, second};

const DAY: i64 = 86_400;

fn by_age(days: i64) -> Retention {
    Retention { age: Some(SignedDuration::from_hours(24 * days)), rows: None }
}

fn by_rows(rows: u64) -> Retention {
    Retention { age: None, rows: Some(rows) }
}

/// A fixture with 300 revisions of desired, one a day, and another that was edited on the first day only.
async fn year() -> Rig {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    rig.tell(create("jetty")).await;
    rig.tell(merge("jetty", json!({"n": 1}))).await;
    let edits = (1..=300).map(|n| (merge("hall", json!({"n": n})), second(n * DAY)));
    assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    rig
}

#[tokio::test(flavor = "multi_thread")]
async fn rows_that_are_too_old_go_and_younger_ones_stay() {
    let rig = year().await;
    let gone = rig.store.retire(by_age(100), second(300 * DAY)).await.unwrap();
    // three of the first day, and those of the days 1 to 199: a row is kept on the very day
    assert_eq!(gone, 3 + 199);
    assert_eq!(number(rig.store.path(), "SELECT min(at) FROM history").await, second(200 * DAY).as_millisecond());
    assert_eq!(rig.store.retire(by_age(100), second(300 * DAY)).await.unwrap(), 0);
    assert_eq!(rig.desired("hall"), json!({"n": 300}), "documents stay");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_retired_is_said_to_be_so_and_the_rest_is_told() {
    let rig = year().await;
    rig.store.retire(by_age(100), second(300 * DAY)).await.unwrap();
    let hall = rig.get("hall");
    for n in 200..=300_u64 {
        let past = rig.store.at_revision(&hall, Paper::Desired, n).await.unwrap();
        assert_eq!(past.document, json!({"n": n}));
        let at = second(i64::try_from(n).unwrap() * DAY);
        assert_eq!(past.at, Some(at));
        assert_eq!(rig.store.at_time(&hall, Paper::Desired, at).await.unwrap(), past);
    }
    // the way back from 200 is kept, so 199 is known, but not since when
    let edge = rig.store.at_revision(&hall, Paper::Desired, 199).await.unwrap();
    assert_eq!((edge.revision, edge.at, edge.document), (199, None, json!({"n": 199})));
    for retired in [
        rig.store.at_revision(&hall, Paper::Desired, 150).await,
        rig.store.at_time(&hall, Paper::Desired, second(150 * DAY)).await,
        rig.store.at_time(&hall, Paper::Desired, second(199 * DAY)).await,
    ] {
        let Err(StoreError::Retired { since }) = retired else { panic!("{retired:?}") };
        assert!(since >= second(192 * DAY).to_string() && since <= second(200 * DAY).to_string(), "{since}");
    }
    let page = rig.store.fixture_history(&hall, &Filter::default(), Direction::OldestFirst, None, 1000).await.unwrap();
    assert_eq!(page.changes.first().map(|change| change.revision), Some(200));
    assert_eq!(page.changes.len(), 101);
    let page = rig.store.fixture_history(&hall, &Filter::default(), Direction::NewestFirst, None, 1000).await.unwrap();
    assert_eq!((page.changes.len(), page.next), (101, None));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_document_whose_whole_history_is_retired_is_still_told_as_it_stands() {
    let rig = year().await;
    rig.store.retire(by_age(100), second(300 * DAY)).await.unwrap();
    let jetty = rig.get("jetty");
    for past in [
        rig.store.at_revision(&jetty, Paper::Desired, 1).await.unwrap(),
        rig.store.at_time(&jetty, Paper::Desired, second(DAY)).await.unwrap(),
        rig.store.at_time(&jetty, Paper::Desired, second(300 * DAY)).await.unwrap(),
    ] {
        assert_eq!((past.revision, past.at, past.document), (1, Some(second(0)), json!({"n": 1})));
    }
    assert!(matches!(rig.store.at_revision(&jetty, Paper::Desired, 0).await, Err(StoreError::Retired { .. })));
}

#[tokio::test(flavor = "multi_thread")]
async fn rows_that_are_too_many_go_the_oldest_first() {
    let rig = year().await;
    assert_eq!(rig.store.retire(by_rows(50), second(300 * DAY)).await.unwrap(), 253);
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM history").await, 50);
    assert_eq!(number(rig.store.path(), "SELECT max(id) - min(id) FROM history").await, 49);
    assert_eq!(rig.store.retire(by_rows(50), second(300 * DAY)).await.unwrap(), 0);
    assert_eq!(rig.store.retire(by_rows(1000), second(300 * DAY)).await.unwrap(), 0);
    let both = Retention { age: Some(SignedDuration::from_hours(24 * 10)), rows: Some(20) };
    assert_eq!(rig.store.retire(both, second(300 * DAY)).await.unwrap(), 39, "what either says goes");
    assert_eq!(rig.store.retire(Retention { age: None, rows: None }, second(900 * DAY)).await.unwrap(), 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_last_snapshot_of_a_document_is_kept() {
    let rig = year().await;
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM snapshot").await, 4);
    let gone = rig.store.retire(by_age(1), second(1000 * DAY)).await.unwrap();
    assert_eq!(gone, 303, "nothing is left of history");
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM snapshot").await, 1);
    let past = rig.store.at_revision(&rig.get("hall"), Paper::Desired, 256).await.unwrap();
    assert_eq!((past.at, past.document), (Some(second(256 * DAY)), json!({"n": 256})));
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_of_retired_rows_are_never_given_again() {
    let rig = year().await;
    let head = rig.get("hall").desired.head;
    rig.store.retire(by_age(1), second(1000 * DAY)).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM history").await, 0);
    for due in rig.store.outbox().take(9) {
        rig.store.published(due.key, due.ticket).await;
    }
    let rig = rig.reopened().await;
    // were the numbers to begin anew, these rows would lie in the way back of hall
    for n in 0..310 {
        rig.tell_at(merge("jetty", json!({"n": -n})), second(1001 * DAY)).await;
    }
    assert!(rig.get("jetty").desired.head > head);
    let hall = rig.get("hall");
    let past = rig.store.at_revision(&hall, Paper::Desired, 300).await.unwrap();
    assert_eq!(past.document, json!({"n": 300}));
    assert!(matches!(rig.store.at_revision(&hall, Paper::Desired, 299).await, Err(StoreError::Retired { .. })));
    let page = rig.store.fixture_history(&hall, &Filter::default(), Direction::NewestFirst, None, 10).await.unwrap();
    assert_eq!(page.changes, []);
}

#[tokio::test(flavor = "multi_thread")]
async fn more_than_a_portion_is_retired_portion_by_portion_while_edits_go_on() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for round in 0..6_i64 {
        let edits = (0..2000_i64).map(|n| (merge("hall", json!({"n": round * 2000 + n})), second(1)));
        assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    }
    let (gone, edited) = tokio::join!(rig.store.retire(by_rows(100), second(2)), async {
        for n in 0..20 {
            rig.tell_at(merge("hall", json!({"edit": n})), second(3)).await;
        }
    });
    let () = edited;
    let left = number(rig.store.path(), "SELECT count(*) FROM history").await;
    assert_eq!(gone.unwrap() + u64::try_from(left).unwrap(), 12_021);
    assert!((100..=120).contains(&left), "{left}");
    assert_eq!(
        number(rig.store.path(), "SELECT max(id) - min(id) + 1 FROM history").await,
        left,
        "no hole came into it"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn old_boots_and_events_go_with_their_time() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for day in [1, 50, 99] {
        rig.tell_at(hear("hall", Message::boot(b"{}").unwrap()), second(day * DAY)).await;
        rig.tell_at(hear("hall", Message::Event { event: "motion".into(), n: 1 }), second(day * DAY)).await;
    }
    rig.store.retire(by_age(60), second(100 * DAY)).await.unwrap();
    for table in ["boot", "event"] {
        assert_eq!(number(rig.store.path(), &format!("SELECT count(*) FROM {table}")).await, 2, "{table}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn numbers_are_not_given_again_when_nothing_that_is_left_names_them() {
    let rig = Rig::new().await;
    rig.tell(create("jetty")).await;
    rig.tell(create("hall")).await;
    for n in 0..9 {
        rig.tell(merge("hall", json!({"n": n}))).await;
    }
    rig.tell(delete("hall")).await;
    rig.store.retire(by_age(1), second(1000 * DAY)).await.unwrap();
    for due in rig.store.outbox().take(9) {
        rig.store.published(due.key, due.ticket).await;
    }
    let rig = rig.reopened().await;
    let left = "SELECT (SELECT count(*) FROM history) + (SELECT count(*) FROM outbox)";
    assert_eq!(number(rig.store.path(), left).await, 0);
    assert_eq!(rig.get("jetty").record_held.head, Some(1));
    rig.tell(merge("jetty", json!({"n": 1}))).await;
    assert_eq!(rig.get("jetty").desired.head, Some(13));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_stepped_back_never_tears_a_hole() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    // young, then old by a wrong clock, then young again
    for (n, day) in [90, 91, 5, 6, 92, 93].into_iter().enumerate() {
        rig.tell_at(merge("hall", json!({"n": n})), second(day * DAY)).await;
        rig.tell_at(report("hall", 0, json!({"n": n})), second(day * DAY)).await;
        rig.tell_at(record("hall", json!({"title": format!("{n}")})), second(day * DAY)).await;
    }
    let gone = rig.store.retire(by_age(30), second(100 * DAY)).await.unwrap();
    assert_eq!(gone, 1, "only what lies before the first that is young enough");
    assert_eq!(number(rig.store.path(), "SELECT max(id) - min(id) + 1 - count(*) FROM history").await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn boots_and_events_are_bounded_by_rows_each_by_itself() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let mut list = Vec::new();
    for n in 1..=12_000_u64 {
        list.push((hear("hall", Message::Event { event: "motion".into(), n }), second(1)));
        if n % 100 == 0 {
            list.push((hear("hall", Message::boot(b"{}").unwrap()), second(1)));
        }
    }
    for part in list.chunks(2000) {
        assert!(rig.tell_all(part.to_vec()).await.iter().all(Result::is_ok));
    }
    let counts = "SELECT (SELECT count(*) FROM event) * 1000 + (SELECT count(*) FROM boot)";
    assert_eq!(number(rig.store.path(), counts).await, 12_000_120);
    // more than two portions of events; boots are too few to be bounded by this
    assert_eq!(rig.store.retire(by_rows(500), second(2)).await.unwrap(), 11_500);
    assert_eq!(number(rig.store.path(), counts).await, 500_120);
    assert_eq!(number(rig.store.path(), "SELECT min(n) FROM event").await, 11_501, "the oldest went");
    assert_eq!(rig.store.retire(by_rows(50), second(2)).await.unwrap(), 450 + 70);
    assert_eq!(number(rig.store.path(), counts).await, 50_050);
    assert_eq!(rig.store.retire(by_rows(50), second(2)).await.unwrap(), 0);
    assert_eq!(rig.store.retire(by_age(1), second(2 * DAY)).await.unwrap(), 50 + 50 + 1, "with the one of history");
    assert_eq!(number(rig.store.path(), counts).await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn events_of_a_clock_that_stepped_back_go_when_those_before_them_go() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for (n, day) in [(1, 90), (2, 5), (3, 91)] {
        rig.tell_at(hear("hall", Message::Event { event: "motion".into(), n }), second(day * DAY)).await;
    }
    rig.store.retire(by_age(30), second(100 * DAY)).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT count(*) FROM event").await, 3);
    rig.store.retire(by_age(30), second(120 * DAY + 1)).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT min(n) FROM event").await, 3);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_snapshot_that_was_the_last_goes_when_it_is_that_no_longer() {
    let rig = year().await;
    rig.store.retire(by_age(1), second(1000 * DAY)).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT sum(revision) FROM snapshot").await, 256);
    let edits = (301..=330).map(|n| (merge("hall", json!({"n": n})), second(1001 * DAY)));
    assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    assert_eq!(number(rig.store.path(), "SELECT sum(revision) FROM snapshot").await, 256 + 320);
    rig.store.retire(by_rows(5), second(1001 * DAY)).await.unwrap();
    assert_eq!(number(rig.store.path(), "SELECT sum(revision) FROM snapshot").await, 320);
}
