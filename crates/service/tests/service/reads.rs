//! What shows, what comes, what was.

use serde_json::json;
use service::{Paper, Rejection, ServiceError};
use store::StoreError;

use crate::rig::{Rig, id, owner, second};

async fn strip() -> Rig {
    let rig = Rig::new().await;
    rig.create("hall", "strip").await;
    rig.merge("hall", json!({"default": "evening", "fade": 2, "looks": {"evening": {"kelvin": 2400}, "greet": {"colours": ["gold"]}}})).await;
    rig
}

#[tokio::test(flavor = "multi_thread")]
async fn what_shows_agrees_with_the_agenda_at_every_change() {
    let rig = strip().await;
    rig.clock.set(second(10));
    let held = json!({"look": "greet", "until": second(60).to_string()});
    rig.service.put_override(id("hall"), Some(held), owner()).await.unwrap();
    let hall = rig.get("hall");
    let agenda = rig.service.agenda(&hall, second(10), second(1000)).unwrap();
    let told: Vec<_> =
        agenda.changes.iter().map(|change| (change.at, change.look.as_str(), change.because, change.until)).collect();
    assert_eq!(told, [(second(10), "greet", "override", Some(second(60))), (second(60), "evening", "default", None)]);
    assert_eq!(agenda.revision, 2);
    for change in &agenda.changes {
        let shown = rig.service.shown(&hall, change.at).unwrap();
        assert_eq!(shown.shown.showing.look, change.look);
        assert_eq!(shown.shown.showing.because.as_str(), change.because);
        assert_eq!((shown.shown.fade_ms, shown.revision), (2000, 2));
    }
    rig.merge("hall", json!({"lit": false})).await;
    let shown = rig.service.shown(&rig.get("hall"), second(20)).unwrap();
    assert_eq!((shown.shown.showing.look.as_str(), shown.shown.showing.because.as_str()), ("dark", "unlit"));
}

#[tokio::test(flavor = "multi_thread")]
async fn an_agenda_has_a_span_of_time() {
    let rig = strip().await;
    let hall = rig.get("hall");
    let day = 86_400;
    assert!(rig.service.agenda(&hall, second(0), second(400 * day)).is_ok());
    for (from, to) in [(0, 0), (1, 0), (0, 400 * day + 1)] {
        let error = rig.service.agenda(&hall, second(from), second(to)).unwrap_err();
        assert!(matches!(error, ServiceError::Rejected(Rejection::Invalid(_))), "{error:?}");
    }
    let ends = rig.service.agenda(&hall, jiff::Timestamp::MIN, jiff::Timestamp::MAX);
    assert!(ends.is_err(), "the longest span there is, is too long and no panic");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kind_without_looks_shows_nothing() {
    let rig = Rig::new().await;
    rig.create("lamp", "free").await;
    let lamp = rig.get("lamp");
    for error in
        [rig.service.shown(&lamp, second(0)).unwrap_err(), rig.service.agenda(&lamp, second(0), second(1)).unwrap_err()]
    {
        assert!(matches!(error, ServiceError::Rejected(Rejection::NoLooks { .. })), "{error:?}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn documents_are_told_as_they_were() {
    let rig = strip().await;
    rig.clock.set(second(100));
    rig.merge("hall", json!({"fade": 5})).await;
    let hall = rig.get("hall");
    let before = rig.service.at_time(&hall, Paper::Desired, second(99)).await.unwrap();
    assert_eq!((before.revision, before.document["fade"].as_i64()), (1, Some(2)));
    let after = rig.service.at_time(&hall, Paper::Desired, second(100)).await.unwrap();
    assert_eq!((after.revision, after.at), (2, Some(second(100))));
    let never = rig.service.at_revision(&hall, Paper::Desired, 3).await.unwrap_err();
    assert!(matches!(never, ServiceError::Store(StoreError::NotThere(_))));
    assert_eq!(rig.service.delta(&hall), hall.desired.value(), "nothing was reported yet");
}
