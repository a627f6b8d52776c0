//! Documents as they were.

use kernel::Paper;
use serde_json::{Value, json};
use store::{Past, StoreError};

use crate::rig::{Rig, create, merge, record, report, second};

/// The document of revision `n` of [`long`].
fn state(n: u64) -> Value {
    let mut members = serde_json::Map::new();
    for n in 1..=n {
        let name = format!("m{}", n % 7);
        if n % 5 == 0 {
            members.remove(&name);
        }
        members.insert("n".into(), json!(n));
        if n % 5 != 0 {
            members.insert(name, json!({"from": n}));
        }
    }
    Value::Object(members)
}

/// A fixture with 300 revisions of desired, one every ten seconds from the tenth on.
async fn long() -> Rig {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    let edits = (1..=300_u64).map(|n| {
        let patch = document::difference(&state(n - 1), &state(n));
        (merge("hall", patch), second(i64::try_from(n).unwrap() * 10))
    });
    assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    assert_eq!(rig.desired("hall"), state(300));
    rig
}

fn past(n: u64) -> Past {
    let at = (n > 0).then(|| second(i64::try_from(n).unwrap() * 10));
    Past { revision: n, at, document: state(n) }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_revision_of_a_long_history_is_told_by_revision_and_by_time() {
    let rig = long().await;
    let fixture = rig.get("hall");
    for n in 0..=300_u64 {
        let by_revision = rig.store.at_revision(&fixture, Paper::Desired, n).await.unwrap();
        assert_eq!(by_revision, past(n));
        let at = second(i64::try_from(n).unwrap() * 10);
        let exactly = rig.store.at_time(&fixture, Paper::Desired, at).await.unwrap();
        assert_eq!(exactly, past(n), "exactly at its time");
        if n > 0 {
            let before = at.checked_sub(jiff::SignedDuration::from_millis(1)).unwrap();
            assert_eq!(rig.store.at_time(&fixture, Paper::Desired, before).await.unwrap(), past(n - 1), "just before");
        }
    }
    let later = rig.store.at_time(&fixture, Paper::Desired, second(1_000_000)).await.unwrap();
    assert_eq!(later, past(300));
    let above = rig.store.at_revision(&fixture, Paper::Desired, 301).await.unwrap_err();
    assert!(matches!(&above, StoreError::NotThere(text) if text.contains("300")), "{above}");
}

#[tokio::test(flavor = "multi_thread")]
async fn there_is_nothing_before_a_fixture_was_made() {
    let rig = Rig::new().await;
    rig.tell_at(create("hall"), second(10)).await;
    let fixture = rig.get("hall");
    for paper in Paper::ALL {
        let before = rig.store.at_time(&fixture, paper, second(9)).await.unwrap_err();
        assert!(matches!(before, StoreError::NotThere(_)), "{paper:?}: {before}");
    }
    let empty = rig.store.at_time(&fixture, Paper::Desired, second(10)).await.unwrap();
    assert_eq!(empty, Past { revision: 0, at: None, document: json!({}) });
    let made = rig.store.at_time(&fixture, Paper::Fixture, second(10)).await.unwrap();
    assert_eq!((made.revision, made.document["title"].as_str()), (1, Some("hall")));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_past_of_reported_is_told_without_volatile_members() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for n in 1..=150_i64 {
        rig.tell_at(report("hall", 0, json!({"n": n, "rssi": -n, "uptime": n})), second(n)).await;
        rig.tell_at(report("hall", 0, json!({"rssi": -n - 1})), second(n)).await;
    }
    let fixture = rig.get("hall");
    assert_eq!(fixture.reported.value(), json!({"n": 150, "rssi": -151, "uptime": 150}));
    for n in 1..=150 {
        let past = rig.store.at_time(&fixture, Paper::Reported, second(n)).await.unwrap();
        assert_eq!(past.document, json!({"n": n}));
        assert_eq!(past.revision, u64::try_from(n).unwrap());
    }
    // when the owner names others, the past stays what it was
    rig.tell_at(record("hall", json!({"volatile": []})), second(200)).await;
    let fixture = rig.get("hall");
    let now = rig.store.at_time(&fixture, Paper::Reported, second(200)).await.unwrap();
    assert_eq!((now.revision, now.document), (151, json!({"n": 150, "rssi": -151, "uptime": 150})));
    assert_eq!(rig.store.at_revision(&fixture, Paper::Reported, 150).await.unwrap().document, json!({"n": 150}));
    assert_eq!(rig.store.at_revision(&fixture, Paper::Reported, 0).await.unwrap().document, json!({}));
    crate::checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_past_of_a_record_is_kept_like_any_other() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    for n in 1..=70_i64 {
        rig.tell_at(record("hall", json!({"title": format!("reeds {n}")})), second(n)).await;
    }
    let fixture = rig.get("hall");
    for n in 1..=70 {
        let past = rig.store.at_time(&fixture, Paper::Fixture, second(n)).await.unwrap();
        assert_eq!(past.document["title"], format!("reeds {n}"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_steps_back_leaves_the_last_change_not_after_that_time() {
    let rig = Rig::new().await;
    rig.tell(create("hall")).await;
    // 100 changes from noon on, then the clock is an hour back for 100, then right again
    let times: Vec<i64> =
        (1..=100).map(|n| 3600 + n).chain((1..=100).map(|n| 5 + n)).chain((1..=100).map(|n| 3700 + n)).collect();
    let edits = times.iter().enumerate().map(|(n, at)| (merge("hall", json!({"n": n + 1})), second(*at)));
    assert!(rig.tell_all(edits).await.iter().all(Result::is_ok));
    let fixture = rig.get("hall");
    for when in (0..3900).step_by(13) {
        let expected = times.iter().rposition(|at| *at <= when).map_or(0, |n| n + 1);
        let past = rig.store.at_time(&fixture, Paper::Desired, second(when)).await.unwrap();
        assert_eq!(usize::try_from(past.revision).unwrap(), expected, "at {when}");
    }
    crate::checker::check(rig.store.path()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn edits_while_the_clock_is_before_the_making_are_told_too() {
    let rig = Rig::new().await;
    rig.tell_at(create("hall"), second(1000)).await;
    rig.tell_at(merge("hall", json!({"a": 1})), second(10)).await;
    let fixture = rig.get("hall");
    assert_eq!(rig.store.at_time(&fixture, Paper::Desired, second(20)).await.unwrap().document, json!({"a": 1}));
    assert!(rig.store.at_time(&fixture, Paper::Desired, second(9)).await.is_err());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fixture_read_before_an_edit_still_tells_its_own_past() {
    let rig = long().await;
    let earlier = rig.get("hall");
    let more = (301..=400).map(|n| (merge("hall", json!({"n": n})), second(n * 10)));
    assert!(rig.tell_all(more).await.iter().all(Result::is_ok));
    assert_eq!(rig.store.at_revision(&earlier, Paper::Desired, 299).await.unwrap(), past(299));
    assert_eq!(rig.store.at_revision(&earlier, Paper::Desired, 300).await.unwrap(), past(300));
}
