//! A service in a folder of its own, its clock in the test's hand.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use service::{
    Actor, Asked, BrokerFiles, Clock, Edit, Fixture, FixtureId, Paper, Place, Precondition, Service, ServiceError,
    ServiceOptions, Way,
};
use store::{BackupOptions, Outcome};
use tempfile::TempDir;

pub(crate) struct Rig {
    pub(crate) folder: TempDir,
    pub(crate) clock: Clock,
    pub(crate) service: Arc<Service>,
}

/// Noon of a day in March, and so many seconds.
pub(crate) fn second(n: i64) -> Timestamp {
    let noon: Timestamp = "2026-03-01T12:00:00Z".parse().unwrap();
    noon.checked_add(SignedDuration::from_secs(n)).unwrap()
}

/// A place in the Netherlands.
pub(crate) fn canal() -> Place {
    Place::new(52.37, 4.9, "Europe/Amsterdam").unwrap()
}

pub(crate) fn id(text: &str) -> FixtureId {
    text.parse().unwrap()
}

pub(crate) fn owner() -> Asked {
    Asked::by(Actor::new("owner", Way::Http))
}

pub(crate) fn at_revisions(list: &[u64]) -> Asked {
    Asked { precondition: Precondition::OneOf(list.to_vec()), ..owner() }
}

pub(crate) fn once(key: &str) -> Asked {
    let once = store::Once { key: key.into(), fingerprint: *blake3::hash(key.as_bytes()).as_bytes() };
    Asked { once: Some(once), ..owner() }
}

pub(crate) async fn open(
    folder: &Path,
    clock: &Clock,
    files: Option<Arc<dyn BrokerFiles>>,
) -> Result<Arc<Service>, ServiceError> {
    Service::open(ServiceOptions {
        folder: folder.into(),
        site: Some(canal()),
        clock: clock.clone(),
        backups: BackupOptions { folder: folder.join("backups"), keep: 3 },
        broker_files: files,
        reserved: vec!["sconced".into()],
    })
    .await
}

/// Waits until something is so. The bound is generous: it only ends a test that hangs.
pub(crate) async fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let reached = async {
        while !is_so() {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(60), reached).await.unwrap_or_else(|_| panic!("never came true: {what}"));
}

impl Rig {
    pub(crate) async fn new() -> Self {
        Self::with(None).await
    }

    pub(crate) async fn with(files: Option<Arc<dyn BrokerFiles>>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock = Clock::manual(second(0));
        let service = open(folder.path(), &clock, files).await.unwrap();
        Self { folder, clock, service }
    }

    pub(crate) async fn reopened(self) -> Self {
        self.service.stop().await;
        let service = open(self.folder.path(), &self.clock, None).await.unwrap();
        Self { service, ..self }
    }

    pub(crate) async fn create(&self, name: &str, kind: &str) {
        self.service.create(id(name), json!({"kind": kind}), owner()).await.unwrap();
    }

    pub(crate) async fn merge(&self, name: &str, patch: Value) -> Outcome {
        self.service.edit(id(name), Paper::Desired, Edit::Merge(patch), owner()).await.unwrap()
    }

    pub(crate) fn get(&self, name: &str) -> Arc<Fixture> {
        self.service.house().get(name).expect("the fixture is there")
    }

    pub(crate) fn desired(&self, name: &str) -> Value {
        self.get(name).desired.value()
    }

    pub(crate) fn rev(&self, name: &str) -> u64 {
        self.get(name).desired.revision.get()
    }
}
