//! A store in a folder of its own, and short ways to ask it for things.

use std::path::Path;
use std::sync::Arc;

use document::Value;
use jiff::{SignedDuration, Timestamp};
use kernel::{Actor, Command, Edit, Fixture, FixtureId, Held, Message, Paper, Precondition, SecretHash, Way};
use serde_json::json;
use sqlx::{ConnectOptions, SqliteConnection};
use store::{ExecuteError, Outcome, Request, Store, StoreError, StoreOptions};
use tempfile::TempDir;

pub(crate) struct Rig {
    pub(crate) folder: TempDir,
    pub(crate) store: Store,
}

/// Noon of the first day, and so many seconds.
pub(crate) fn second(n: i64) -> Timestamp {
    let noon: Timestamp = "2026-03-01T12:00:00Z".parse().unwrap();
    noon.checked_add(SignedDuration::from_secs(n)).unwrap()
}

pub(crate) fn id(text: &str) -> FixtureId {
    text.parse().unwrap()
}

pub(crate) async fn open(folder: &Path) -> Result<Store, StoreError> {
    Store::open(StoreOptions { folder: folder.into(), rules: Arc::default(), readers: 2, now: second(0) }).await
}

/// A document as it is held, but for how it came to be so.
pub(crate) fn held(held: &Held) -> String {
    format!("{} {} {} {:?} {}", held.revision, held.drift, held.at, held.head, held.text)
}

/// All that a fixture is, but for what it is read into.
pub(crate) fn told(fixture: &Fixture) -> String {
    format!(
        "{:?} {} {} {:?} [{}] [{}] [{}] {:?} {:?} {:?}",
        fixture.key,
        fixture.id,
        fixture.created,
        fixture.record,
        held(&fixture.record_held),
        held(&fixture.desired),
        held(&fixture.reported),
        fixture.secret.as_ref().map(|hash| hash.0.to_hex()),
        fixture.enrolled_at,
        fixture.life
    )
}

/// Waits until a query gives that number. The bound is generous: it only ends a test that hangs.
pub(crate) async fn until(path: &Path, sql: &str, wanted: i64) {
    let reached = async {
        while number(path, sql).await != wanted {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(60), reached).await.expect("it comes to that number");
}

/// How many settings say that documents and outbox are behind history.
pub(crate) const BEHIND: &str = "SELECT count(*) FROM setting WHERE name = 'settled'";

/// A plain connection to a database file, as another program would have it.
pub(crate) async fn connection(path: &Path) -> SqliteConnection {
    sqlx::sqlite::SqliteConnectOptions::new()
        .filename(path)
        .busy_timeout(std::time::Duration::from_secs(60))
        .connect()
        .await
        .unwrap()
}

/// Runs SQL upon a database file.
pub(crate) async fn run_sql(path: &Path, sql: &str) {
    let mut connection = connection(path).await;
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql.to_owned())).execute(&mut connection).await.unwrap();
    sqlx::Connection::close(connection).await.unwrap();
}

/// One number that a query gives.
pub(crate) async fn number(path: &Path, sql: &str) -> i64 {
    let mut connection = connection(path).await;
    let (number,): (i64,) =
        sqlx::query_as(sqlx::AssertSqlSafe(sql.to_owned())).fetch_one(&mut connection).await.unwrap();
    sqlx::Connection::close(connection).await.unwrap();
    number
}

pub(crate) fn create(name: &str) -> Command {
    Command::Create { id: id(name), record: json!({"kind": "free"}) }
}

pub(crate) fn merge(name: &str, patch: Value) -> Command {
    Command::Edit { id: id(name), paper: Paper::Desired, edit: Edit::Merge(patch), precondition: Precondition::None }
}

pub(crate) fn record(name: &str, patch: Value) -> Command {
    Command::Edit { id: id(name), paper: Paper::Fixture, edit: Edit::Merge(patch), precondition: Precondition::None }
}

pub(crate) fn delete(name: &str) -> Command {
    Command::Delete { id: id(name), precondition: Precondition::None }
}

pub(crate) fn report(name: &str, rev: u64, patch: Value) -> Command {
    Command::Hear { id: id(name), message: Message::Report { rev, patch: Some(patch) } }
}

pub(crate) fn hear(name: &str, message: Message) -> Command {
    Command::Hear { id: id(name), message }
}

pub(crate) fn enrol(store: &Store, name: &str, secret: &[u8], line: Option<&str>) -> Command {
    Command::Enrol { id: id(name), secret: SecretHash::of(store.key(), secret), broker_line: line.map(Arc::from) }
}

pub(crate) fn owner() -> Actor {
    Actor::new("owner", Way::Http)
}

pub(crate) fn request(command: Command, at: Timestamp) -> Request {
    Request { command, actor: owner(), at, cause: None, once: None }
}

impl Rig {
    pub(crate) async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = open(folder.path()).await.unwrap();
        Self { folder, store }
    }

    /// Stops the store and opens the folder anew.
    pub(crate) async fn reopened(self) -> Self {
        self.store.stop().await;
        drop(self.store);
        let store = open(self.folder.path()).await.unwrap();
        Self { folder: self.folder, store }
    }

    pub(crate) async fn tell_at(&self, command: Command, at: Timestamp) -> Outcome {
        self.store.execute(request(command, at)).await.unwrap()
    }

    pub(crate) async fn tell(&self, command: Command) -> Outcome {
        self.tell_at(command, second(0)).await
    }

    /// Puts all on the queue in this order before it waits for any answer, so that they share few commits.
    pub(crate) async fn tell_all(
        &self,
        list: impl IntoIterator<Item = (Command, Timestamp)>,
    ) -> Vec<Result<Outcome, ExecuteError>> {
        let mut waiting = Vec::new();
        for (command, at) in list {
            waiting.push(self.store.submit(request(command, at)).await.unwrap());
        }
        let mut outcomes = Vec::new();
        for answer in waiting {
            outcomes.push(answer.await.expect("everyone is answered"));
        }
        outcomes
    }

    pub(crate) fn get(&self, name: &str) -> Arc<Fixture> {
        self.store.house().get(name).expect("the fixture is there")
    }

    pub(crate) fn desired(&self, name: &str) -> Value {
        self.get(name).desired.value()
    }
}
