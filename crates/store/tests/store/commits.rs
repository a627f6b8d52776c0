//! Edits that share commits: all answered, nothing lost, nothing out of order.

use std::collections::BTreeSet;
use std::sync::Arc;

use kernel::{Command, Edit, Message, Paper, Precondition, Rejection};
use serde_json::json;
use store::ExecuteError;

use crate::checker::{self, Found};
use crate::rig::{Rig, create, delete, enrol, hear, id, merge, record, report, request, second};

#[tokio::test(flavor = "multi_thread")]
async fn concurrent_edits_of_one_fixture_are_all_answered_and_each_is_a_revision() {
    let rig = Arc::new(Rig::new().await);
    rig.tell(create("hall")).await;
    let tasks: Vec<_> = (0..512)
        .map(|n| {
            let rig = Arc::clone(&rig);
            tokio::spawn(async move { rig.tell(merge("hall", json!({format!("m{}", n % 64): n}))).await })
        })
        .collect();
    let mut revisions = BTreeSet::new();
    for task in tasks {
        let outcome = task.await.unwrap();
        assert_eq!(outcome.fixture.unwrap().desired.revision, outcome.answer.revision);
        revisions.insert(outcome.answer.revision.get());
    }
    assert_eq!(revisions, (1..=512).collect(), "without a hole, none twice");
    let found = checker::check(rig.store.path()).await;
    assert_eq!(found, Found { fixtures: 1, changes: 513, snapshots: 8, waiting: 1 });
    assert_eq!(rig.get("hall").desired.revision.get(), 512);
}

#[tokio::test(flavor = "multi_thread")]
async fn concurrent_edits_of_many_fixtures_are_all_answered() {
    let rig = Arc::new(Rig::new().await);
    let created = rig.tell_all((0..128).map(|n| (create(&format!("reed-{n}")), second(0)))).await;
    assert!(created.iter().all(Result::is_ok));
    let tasks: Vec<_> = (0..512)
        .map(|n| {
            let rig = Arc::clone(&rig);
            tokio::spawn(async move { rig.tell(merge(&format!("reed-{}", n % 128), json!({"n": n}))).await })
        })
        .collect();
    for task in tasks {
        assert!((1..=4).contains(&task.await.unwrap().answer.revision.get()));
    }
    let found = checker::check(rig.store.path()).await;
    assert_eq!(found, Found { fixtures: 128, changes: 128 + 512, snapshots: 0, waiting: 128 });
    let keys: BTreeSet<_> = rig.store.house().all().iter().map(|fixture| fixture.key).collect();
    assert_eq!(keys.len(), 128);
    assert!(keys.iter().all(|key| rig.store.house().by_key(*key).is_some()));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_rejected_command_among_accepted_ones_falls_alone() {
    let rig = Rig::new().await;
    let stale = Command::Edit {
        id: id("hall"),
        paper: Paper::Desired,
        edit: Edit::Merge(json!({"a": 9})),
        precondition: Precondition::OneOf(vec![1]),
    };
    let outcomes = rig
        .tell_all(
            [
                create("hall"),
                merge("hall", json!({"a": 1})),
                merge("hall", json!({"": 1})),
                merge("hall", json!({"a": 2})),
                stale,
                merge("hall", json!({"b": 3})),
            ]
            .map(|command| (command, second(0))),
        )
        .await;
    let rejected = |n: usize| match &outcomes[n] {
        Err(ExecuteError::Rejected(rejection)) => rejection.clone(),
        other => panic!("not rejected: {other:?}"),
    };
    assert!(matches!(rejected(2), Rejection::Invalid(_)));
    assert_eq!(rejected(4), Rejection::Stale { current: document::Revision::new(2) });
    let given: Vec<u64> = [0, 1, 3, 5].iter().map(|n| outcomes[*n].as_ref().unwrap().answer.revision.get()).collect();
    assert_eq!(given, [1, 1, 2, 3]);
    assert_eq!(rig.desired("hall"), json!({"a": 2, "b": 3}));
    assert_eq!(checker::check(rig.store.path()).await.changes, 4);
}

#[tokio::test(flavor = "multi_thread")]
async fn one_id_may_be_made_taken_away_and_made_again_in_one_commit_or_in_several() {
    for together in [true, false] {
        let rig = Rig::new().await;
        let list = [
            create("hall"),
            merge("hall", json!({"a": 1})),
            delete("hall"),
            create("hall"),
            delete("hall"),
            create("hall"),
            merge("hall", json!({"b": 2})),
        ];
        if together {
            assert!(rig.tell_all(list.map(|command| (command, second(0)))).await.iter().all(Result::is_ok));
        } else {
            for command in list {
                rig.tell(command).await;
            }
        }
        assert_eq!(rig.desired("hall"), json!({"b": 2}));
        let key = rig.get("hall").key;
        let found = checker::check(rig.store.path()).await;
        assert_eq!((found.fixtures, found.changes), (1, 7));
        let rig = rig.reopened().await;
        assert_eq!((rig.get("hall").key, rig.desired("hall")), (key, json!({"b": 2})));
        // taken away for good, across a start
        rig.tell(delete("hall")).await;
        let rig = rig.reopened().await;
        assert!(rig.store.house().get("hall").is_none());
        assert!(rig.store.house().by_key(key).is_none());
        rig.tell(create("hall")).await;
        assert!(rig.get("hall").key > key, "a key is never given twice");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn enrolling_right_after_making_and_again_later_keeps_one_row() {
    let rig = Rig::new().await;
    let first = enrol(&rig.store, "hall", b"first", Some("hall:line-1"));
    let outcomes = rig.tell_all([(create("hall"), second(0)), (first, second(1))]).await;
    assert!(outcomes.iter().all(Result::is_ok), "{outcomes:?}");
    // now the row is there, and both its key and its id collide with the one to write
    rig.tell_at(enrol(&rig.store, "hall", b"second", Some("hall:line-2")), second(2)).await;
    let again = rig.tell_all(
        [enrol(&rig.store, "hall", b"third", None), merge("hall", json!({"a": 1}))].map(|command| (command, second(3))),
    );
    assert!(again.await.iter().all(Result::is_ok));
    let expected = kernel::SecretHash::of(rig.store.key(), b"third");
    let rig = rig.reopened().await;
    assert_eq!(rig.get("hall").secret, Some(expected));
    assert_eq!(rig.get("hall").enrolled_at, Some(second(3)));
    assert_eq!(rig.get("hall").created, second(0));
    let sql = "SELECT count(*) FROM fixture WHERE broker_line IS NULL";
    assert_eq!(crate::rig::number(rig.store.path(), sql).await, 1, "the line of a secret that has ended is not kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_at_once_adds_up() {
    let rig = Rig::new().await;
    let mut list = Vec::new();
    for round in 0..40_u64 {
        for name in ["hall", "stairs", "landing"] {
            if round % 10 == 0 {
                list.push(create(name));
            }
            list.push(merge(name, json!({"round": round, "fade": 2})));
            list.push(hear(name, Message::boot(b"{\"have\":0}").unwrap()));
            list.push(report(name, 1, json!({"round": round, "rssi": -60})));
            list.push(hear(name, Message::Event { event: "motion".into(), n: round }));
            list.push(report(name, 1, json!({"rssi": -61, "uptime": round})));
            if round == 15 {
                list.push(record(name, json!({"volatile": ["/uptime"]})));
            }
            if round % 10 == 9 && name != "landing" {
                list.push(enrol(&rig.store, name, name.as_bytes(), None));
                list.push(delete(name));
            }
        }
    }
    let outcomes = rig.tell_all(list.into_iter().map(|command| (command, second(5)))).await;
    let refused = outcomes.iter().filter(|outcome| outcome.is_err()).count();
    assert_eq!(refused, 3, "landing was made four times and never taken away");
    let found = checker::check(rig.store.path()).await;
    assert_eq!(found.fixtures, 1);
    assert!(found.changes > 250, "{found:?}");
    let path = rig.store.path();
    assert_eq!(crate::rig::number(path, "SELECT count(*) FROM boot").await, 120);
    assert_eq!(crate::rig::number(path, "SELECT count(*) FROM event").await, 120);
    assert_eq!(crate::rig::number(path, "SELECT count(*) FROM life").await, 1);
}

#[tokio::test(flavor = "multi_thread")]
async fn hints_of_what_was_committed_tell_the_fixture_as_it_is() {
    let rig = Rig::new().await;
    let mut committed = rig.store.committed();
    rig.tell(create("hall")).await;
    let hint = committed.recv().await.unwrap();
    assert_eq!((hint[0].id.as_str(), hint[0].after.as_ref().unwrap().key), ("hall", rig.get("hall").key));
    rig.tell(delete("hall")).await;
    assert!(committed.recv().await.unwrap()[0].after.is_none());
}

#[tokio::test(flavor = "multi_thread")]
async fn who_and_what_it_was_a_part_of_stand_in_history() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let mut asked = request(merge("hall", json!({"a": 1})), second(7));
    asked.cause = Some("group:indoors".into());
    rig.store.execute(asked).await.unwrap();
    let page = rig.store.history(&store::Filter::default(), store::Direction::NewestFirst, None, 1).await.unwrap();
    let change = &page.changes[0];
    assert_eq!((change.by.as_str(), change.via.as_str(), change.at), ("owner", "http", second(7)));
    assert_eq!(change.cause.as_deref(), Some("group:indoors"));
}
