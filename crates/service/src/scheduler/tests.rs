//! What the scheduler makes of hints that come late.

use jiff::Timestamp;
use kernel::{Edit, FixtureId, Paper, Way};
use serde_json::json;
use store::BackupOptions;

use super::*;
use crate::{Asked, Clock, Place, ServiceOptions};

fn time(text: &str) -> Timestamp {
    text.parse().unwrap()
}

/// A house with a strip that turns late at 22:45, which is 21:45 UTC; it is 20:00 UTC.
async fn house() -> (tempfile::TempDir, Scheduler, FixtureId) {
    let folder = tempfile::tempdir().unwrap();
    let service = Service::open(ServiceOptions {
        folder: folder.path().into(),
        site: Some(Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap()),
        clock: Clock::manual(time("2026-11-25T20:00:00Z")),
        backups: BackupOptions { folder: folder.path().join("backups"), keep: 1 },
        broker_files: None,
        reserved: Vec::new(),
    })
    .await
    .unwrap();
    let hall: FixtureId = "hall".parse().unwrap();
    service.create(hall.clone(), json!({}), by()).await.unwrap();
    let timetable = json!([{"start": "18:00", "look": "dark"}, {"start": "22:45", "look": "late"}]);
    edit(&service, &hall, json!({"looks": {"late": {"kelvin": 2000}}, "timetable": timetable})).await;
    let (seen, deadlines) = (service.now(), Deadlines::default());
    (folder, Scheduler { service, deadlines, queue: VecDeque::new(), seen, without_place: None }, hall)
}

fn by() -> Asked {
    Asked::by(Actor::new("owner", Way::Http))
}

async fn edit(service: &Service, id: &FixtureId, patch: serde_json::Value) {
    service.edit(id.clone(), Paper::Desired, Edit::Merge(patch), by()).await.unwrap();
}

fn key(scheduler: &Scheduler, id: &FixtureId) -> FixtureKey {
    scheduler.service.house().get(id.as_str()).unwrap().key
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_between_an_edit_and_the_hint_of_it_is_due_at_once() {
    let (_folder, mut scheduler, hall) = house().await;
    // it may have been published before the change
    scheduler.service.clock().set(time("2026-11-25T21:45:00.001Z"));
    let now = scheduler.now();
    assert!(scheduler.changed(key(&scheduler, &hall), now));
    assert_eq!(scheduler.deadlines.first(), Some(time("2026-11-25T21:45:00Z")));
    scheduler.take_due(now);
    scheduler.look_at_some().await;
    assert_eq!(scheduler.deadlines.first(), Some(time("2026-11-26T17:00:00Z")));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hint_of_what_is_known_reckons_nothing_and_one_of_what_has_no_time_any_more_forgets() {
    let (_folder, mut scheduler, hall) = house().await;
    let (key, now) = (key(&scheduler, &hall), scheduler.now());
    assert!(scheduler.changed(key, now));
    assert!(!scheduler.changed(key, now), "a sign of life");
    edit(&scheduler.service, &hall, json!({"timetable": null})).await;
    assert!(!scheduler.changed(key, now));
    assert_eq!(scheduler.deadlines.first(), None);
    edit(&scheduler.service, &hall, json!({"floor": 8})).await;
    assert!(scheduler.changed(key, now));
    scheduler.service.delete(hall, by()).await.unwrap();
    assert!(!scheduler.changed(key, now));
    assert_eq!(scheduler.deadlines.first(), None);
}
