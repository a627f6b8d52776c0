//! A house within the test itself: front door, scheduler, embedded broker and courier on a clock that stands still until
//! the test sets it. The daemon as its own process goes by the system's clock and has no switch for another.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use almanac::Place;
use broker::{Credentials, DAEMON_CLIENT_ID, DAEMON_USERNAME, Embedded};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use service::{
    Actor, Asked, BackupOptions, Clock, Edit, Fixture, FixtureId, LinkState, Paper, Service, ServiceOptions, Way,
};
use tempfile::TempDir;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::wait::PATIENCE;

/// A house on a clock of the test's. It can be stopped and started anew as often as is wanted; folder, broker's address
/// and clock stay.
#[derive(Debug)]
pub struct House {
    folder: TempDir,
    place: Option<Place>,
    clock: Clock,
    listen: SocketAddr,
    up: Option<Up>,
}

/// What runs while the house is up.
#[derive(Debug)]
struct Up {
    service: Arc<Service>,
    broker: Embedded,
    scheduler: JoinSet<()>,
    courier: JoinSet<()>,
    stop_scheduler: CancellationToken,
    stop_courier: CancellationToken,
}

/// The house answers the broker who may come in.
struct Admission(Arc<Service>);

impl Credentials for Admission {
    fn admits(&self, username: &str, secret: &[u8]) -> bool {
        self.0.admits(username, secret)
    }

    fn knows(&self, username: &str) -> bool {
        self.0.house().get(username).is_some()
    }
}

fn id(text: &str) -> FixtureId {
    text.parse().expect("a fixture's id")
}

fn owner() -> Asked {
    Asked::by(Actor::new("owner", Way::Http))
}

impl House {
    /// Opens a house in a fresh folder at `place`, its clock at `now`, with the link to its broker up. Has to be called
    /// within a tokio runtime.
    ///
    /// # Panics
    /// When it does not come up; so for all that follow.
    pub async fn start(now: Timestamp, place: Option<Place>) -> Self {
        let mut house = Self {
            folder: tempfile::tempdir().expect("a folder"),
            place,
            clock: Clock::manual(now),
            listen: SocketAddr::from(([127, 0, 0, 1], 0)),
            up: None,
        };
        house.begin().await;
        house
    }

    /// Opens the house again where it was stopped.
    pub async fn begin(&mut self) {
        assert!(self.up.is_none(), "the house is up");
        let up = Up::begin(self.folder.path(), self.place.clone(), &self.clock, self.listen).await;
        self.listen = up.broker.local_addr();
        self.up = Some(up);
    }

    /// Stops all of it, in the daemon's order: no more deadlines, then the link, then the broker, then the last commit.
    pub async fn stop(&mut self) {
        let mut up = self.up.take().expect("the house is up");
        up.stop_scheduler.cancel();
        while up.scheduler.join_next().await.is_some() {}
        up.stop_courier.cancel();
        while up.courier.join_next().await.is_some() {}
        up.broker.stop().await;
        up.service.stop().await;
    }

    /// Where its broker listens.
    #[must_use]
    pub fn mqtt(&self) -> (String, u16) {
        (self.listen.ip().to_string(), self.listen.port())
    }

    /// The time by its clock.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// Sets its clock, forth or back, up or not.
    pub fn set_clock(&self, to: Timestamp) {
        self.clock.set(to);
    }

    /// Its front door.
    #[must_use]
    pub fn service(&self) -> &Arc<Service> {
        &self.up.as_ref().expect("the house is up").service
    }

    /// A fixture as of now.
    #[must_use]
    pub fn fixture(&self, name: &str) -> Arc<Fixture> {
        self.service().house().get(name).expect("the fixture is there")
    }

    /// Makes a strip with this desired document and enrols it; gives its secret. All of it is published then, and the
    /// clock a millisecond further: where it stands still, an answer to a boot could not be told from what was published
    /// before, and a controller would take it for a repetition.
    pub async fn add_strip(&self, name: &str, desired: Value) -> String {
        self.service().create(id(name), json!({"kind": "strip"}), owner()).await.expect("a new fixture");
        self.edit(name, desired).await;
        let secret = self.service().enrol(id(name), owner()).await.expect("an enrolment").secret;
        self.until_published().await;
        self.set_clock(self.now() + SignedDuration::from_millis(1));
        secret
    }

    /// Waits until the broker has all that is to be published.
    pub async fn until_published(&self) {
        eventually("an empty outbox", || self.service().outbox().is_empty()).await;
    }

    /// Edits a desired document by a merge patch.
    pub async fn edit(&self, name: &str, patch: Value) {
        self.service().edit(id(name), Paper::Desired, Edit::Merge(patch), owner()).await.expect("an edit");
    }

    /// Edits a fixture's record by a merge patch.
    pub async fn edit_record(&self, name: &str, patch: Value) {
        self.service().edit(id(name), Paper::Fixture, Edit::Merge(patch), owner()).await.expect("an edit");
    }

    /// Waits until something holds of a fixture.
    pub async fn until(&self, name: &str, what: &str, holds: impl Fn(&Fixture) -> bool) -> Arc<Fixture> {
        eventually(&format!("{name}: {what}"), || holds(&self.fixture(name))).await;
        self.fixture(name)
    }
}

/// Waits until something is so, without keeping the thread from what has to come about on it.
async fn eventually(what: &str, is_so: impl Fn() -> bool) {
    let reached = async {
        while !is_so() {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    };
    tokio::time::timeout(PATIENCE, reached).await.unwrap_or_else(|_| panic!("waited {PATIENCE:?} in vain for {what}"));
}

impl Up {
    async fn begin(folder: &Path, place: Option<Place>, clock: &Clock, listen: SocketAddr) -> Self {
        let service = Service::open(ServiceOptions {
            folder: folder.join("data"),
            clock: clock.clone(),
            backups: BackupOptions { folder: folder.join("backups"), keep: 1 },
            broker_files: None,
            reserved: vec![DAEMON_CLIENT_ID.to_owned()],
            site: place,
        })
        .await
        .expect("the house opens");
        service.forget_connections().await.expect("whoever was connected is not now");
        let options = broker::Options { listen, ..broker::Options::default() };
        let admission = Arc::new(Admission(Arc::clone(&service)));
        let broker = Embedded::start(options, admission).await.expect("the broker starts");
        let link = courier::Options {
            host: broker.local_addr().ip().to_string(),
            port: broker.local_addr().port(),
            username: Some(DAEMON_USERNAME.to_owned()),
            password: Some(broker.daemon_secret().to_owned()),
            client_id: DAEMON_CLIENT_ID.to_owned(),
            prefix: "fixtures".to_owned(),
            resend_first: Duration::from_millis(200),
            resend_longest: Duration::from_secs(1),
        };
        let (stop_scheduler, stop_courier) = (CancellationToken::new(), CancellationToken::new());
        let (mut scheduler, mut courier) = (JoinSet::new(), JoinSet::new());
        scheduler.spawn(service::run_scheduler(Arc::clone(&service), stop_scheduler.clone()));
        courier.spawn(courier::run(Arc::clone(&service), link, None, stop_courier.clone()));
        eventually("the link to the broker", || service.health().broker == LinkState::Up).await;
        Self { service, broker, scheduler, courier, stop_scheduler, stop_courier }
    }
}
