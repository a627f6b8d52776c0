//! The front door itself.

use std::path::PathBuf;
use std::sync::Arc;

use almanac::{Place, Running};
use document::Bounds;
use jiff::Timestamp;
use kernel::{Actor, Command, Fixture, Kinds, Message, Rules, SecretHash};
use store::{BackupOptions, House, Once, Outbox, Outcome, Request, Scope, Store, StoreError, StoreOptions, Token};
use tokio::sync::{broadcast, oneshot};

use crate::clock::Clock;
use crate::enrolment::BrokerFiles;
use crate::error::ServiceError;
use crate::health::{Health, Link, LinkState};
use crate::kinds::{check_kinds, read_kinds};
use crate::secrets::random_secret;
use crate::settling::Settling;

/// How the front door is set up.
#[derive(Debug)]
pub struct ServiceOptions {
    /// The data folder. Kinds of the owner's are read from `kinds/*.json` in it.
    pub folder: PathBuf,
    /// Where the house stands: the place of every fixture that has none of its own.
    pub site: Option<Place>,
    /// Where the time comes from.
    pub clock: Clock,
    /// Where and how backups are kept.
    pub backups: BackupOptions,
    /// Writes the files of an external broker, where one is used.
    pub broker_files: Option<Arc<dyn BrokerFiles>>,
    /// Ids that no fixture may have, since the daemon itself bears them at the broker.
    pub reserved: Vec<String>,
}

/// The one front door. Cheap to share behind an [`Arc`].
#[derive(Debug)]
pub struct Service {
    pub(crate) store: Store,
    pub(crate) clock: Clock,
    pub(crate) backups: BackupOptions,
    pub(crate) broker_files: Option<Arc<dyn BrokerFiles>>,
    pub(crate) backing_up: tokio::sync::Mutex<()>,
    pub(crate) settling: Settling,
    pub(crate) reserved: Vec<String>,
    link: Link,
    first_token: std::sync::Mutex<Option<String>>,
    local_token: LocalToken,
    started: Timestamp,
}

/// A token that is made at each start and lives in memory alone, for programs of the same user on the same machine.
struct LocalToken {
    text: String,
    hash: SecretHash,
}

/// The token itself stays out of logs.
impl std::fmt::Debug for LocalToken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("LocalToken(…)")
    }
}

impl Service {
    /// Opens the house of a data folder. A house without any token gets one admin token ([`Service::first_token`]).
    ///
    /// # Errors
    /// What [`Store::open`] says; [`ServiceError::Kind`] for a kind's file that cannot be used or is missing.
    pub async fn open(options: ServiceOptions) -> Result<Arc<Self>, ServiceError> {
        let now = options.clock.now();
        let kinds = read_kinds(&options.folder)?;
        let rules = Arc::new(Rules { kinds, site: options.site.map(Arc::new) });
        let store = Store::open(StoreOptions { folder: options.folder, rules, readers: 4, now }).await?;
        let mut first_token = None;
        if store.tokens().is_empty() {
            let text = random_secret()?;
            store.add_token("admin".into(), Scope::Admin, &text, now).await?;
            first_token = Some(text);
        }
        let text = random_secret()?;
        let local_token = LocalToken { hash: SecretHash::of(store.key(), text.as_bytes()), text };
        let service = Arc::new(Self {
            store,
            clock: options.clock,
            backups: options.backups,
            broker_files: options.broker_files,
            backing_up: tokio::sync::Mutex::new(()),
            settling: Settling::default(),
            reserved: options.reserved,
            link: Link::default(),
            first_token: std::sync::Mutex::new(first_token),
            local_token,
            started: now,
        });
        check_kinds(&service.store)?;
        Ok(service)
    }

    /// The admin token made at the very first start; given once.
    #[must_use]
    pub fn first_token(&self) -> Option<String> {
        self.first_token.lock().ok()?.take()
    }

    /// The time now.
    #[must_use]
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// The clock.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// When this daemon started.
    #[must_use]
    pub fn started(&self) -> Timestamp {
        self.started
    }

    /// The house as of the last commit.
    #[must_use]
    pub fn house(&self) -> &House {
        self.store.house()
    }

    /// What has to be published.
    #[must_use]
    pub fn outbox(&self) -> &Outbox {
        self.store.outbox()
    }

    /// The kinds of fixtures.
    #[must_use]
    pub fn kinds(&self) -> &Kinds {
        &self.store.rules().kinds
    }

    /// Where the house stands, if it is known. A fixture's own place goes before it: [`Fixture::place`].
    #[must_use]
    pub fn site(&self) -> Option<&Place> {
        self.store.rules().site.as_deref()
    }

    /// The links that run on a fixture. Links are not kept in this house yet, so none does.
    #[must_use]
    pub fn running(&self, _fixture: &Fixture) -> Vec<Running> {
        Vec::new()
    }

    /// The store, for what is read only: history, the past, backups.
    #[must_use]
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// Hints of what was committed.
    #[must_use]
    pub fn committed(&self) -> broadcast::Receiver<Arc<Vec<store::Committed>>> {
        self.store.committed()
    }

    /// The bounds of a request's body and of a fixture's message.
    #[must_use]
    pub fn body_bounds(&self) -> Bounds {
        Bounds::BODY
    }

    /// Carries a command out now.
    ///
    /// # Errors
    /// The kernel's rejection, or what kept it from being made durable.
    pub async fn execute(&self, command: Command, actor: Actor, once: Option<Once>) -> Result<Outcome, ServiceError> {
        let request = Request { command, actor, at: self.now(), cause: None, once };
        Ok(self.store.execute(request).await?)
    }

    /// Carries a command out as of a time in the past. Only the demo's invented history comes this way.
    ///
    /// # Errors
    /// As [`Service::execute`].
    pub async fn execute_at(&self, command: Command, actor: Actor, at: Timestamp) -> Result<Outcome, ServiceError> {
        Ok(self.store.execute(Request { command, actor, at, cause: None, once: None }).await?)
    }

    /// Puts a command on the writer's queue and gives what waits for its answer. Answers come in this order.
    ///
    /// # Errors
    /// [`StoreError::Stopped`].
    pub async fn submit(
        &self,
        command: Command,
        actor: Actor,
    ) -> Result<oneshot::Receiver<Result<Outcome, store::ExecuteError>>, StoreError> {
        self.store.submit(Request { command, actor, at: self.now(), cause: None, once: None }).await
    }

    /// Notes of every fixture that was last heard to be connected that it is not: a broker that begins anew has no
    /// connections, and whoever comes back says so. Gives how many they were.
    ///
    /// # Errors
    /// What kept it from being made durable.
    pub async fn forget_connections(&self) -> Result<usize, ServiceError> {
        let mut waiting = Vec::new();
        for fixture in self.house().all() {
            if fixture.life.alive == Some(true) {
                let command = Command::Hear { id: fixture.id.clone(), message: Message::Alive { alive: false } };
                waiting.push(self.submit(command, Actor::daemon()).await?);
            }
        }
        let count = waiting.len();
        for answer in waiting {
            answer.await.map_err(|_| StoreError::Stopped)??;
        }
        Ok(count)
    }

    /// Puts every fixture into the outbox: the broker may have lost what it kept. Durable when it answers.
    ///
    /// # Errors
    /// What the store says.
    pub async fn publish_all(&self) -> Result<(), StoreError> {
        self.store.publish_all().await
    }

    /// Clears a row of the outbox: the broker has what was published under this ticket.
    pub async fn published(&self, key: kernel::FixtureKey, ticket: i64) {
        self.store.published(key, ticket).await;
    }

    /// Whether a fixture may come in with this secret.
    #[must_use]
    pub fn admits(&self, id: &str, secret: &[u8]) -> bool {
        let given = SecretHash::of(self.store.key(), secret);
        // the hash is made before the fixture is looked up, so that an unknown id takes as long as a wrong secret;
        // `blake3::Hash` compares in constant time
        self.house().get(id).is_some_and(|fixture| fixture.secret.as_ref() == Some(&given))
    }

    /// The token of that text, if there is one.
    #[must_use]
    pub fn authenticate(&self, text: &str) -> Option<Token> {
        // `blake3::Hash` compares in constant time
        if SecretHash::of(self.store.key(), text.as_bytes()) == self.local_token.hash {
            return Some(Token { id: 0, name: "cli".into(), scope: Scope::Admin, created: self.started });
        }
        self.store.token(text)
    }

    /// The token of this start of the daemon: admin, known as `cli`, never stored in the database and gone when the
    /// daemon stops. The daemon leaves it where only its own user can read it.
    #[must_use]
    pub fn local_token(&self) -> &str {
        &self.local_token.text
    }

    /// Makes a token; its text is given once.
    ///
    /// # Errors
    /// [`StoreError::TokenExists`].
    pub async fn add_token(&self, name: String, scope: Scope) -> Result<(Token, String), ServiceError> {
        let text = random_secret()?;
        let token = self.store.add_token(name, scope, &text, self.now()).await?;
        Ok((token, text))
    }

    /// Takes a token away.
    ///
    /// # Errors
    /// [`StoreError::NotThere`].
    pub async fn remove_token(&self, id: i64) -> Result<(), ServiceError> {
        Ok(self.store.remove_token(id).await?)
    }

    /// Whether the house can be served, as far as the last commit tells.
    #[must_use]
    pub fn health(&self) -> Health {
        Health { database: self.store.is_usable(), broker: self.link.get() }
    }

    /// Whether the house can be served. A database whose last commit failed is tried once more: it may take edits
    /// again, without that anybody has made one.
    pub async fn check_health(&self) -> Health {
        Health { database: self.store.probe().await.is_ok(), broker: self.link.get() }
    }

    /// Says how the link to the broker stands.
    pub fn set_link(&self, state: LinkState) {
        self.link.set(state);
    }

    /// Makes a backup now. One at a time: a second caller waits for the first.
    ///
    /// # Errors
    /// What [`Store::back_up`] says.
    pub async fn back_up(&self) -> Result<store::Backup, ServiceError> {
        let _one = self.backing_up.lock().await;
        Ok(self.store.back_up(&self.backups, self.now()).await?)
    }

    /// The backups that there are, newest first.
    ///
    /// # Errors
    /// What the file system says.
    pub fn list_backups(&self) -> Result<Vec<store::Backup>, ServiceError> {
        Ok(self.store.backups(&self.backups)?)
    }

    /// Where backups lie.
    #[must_use]
    pub fn backup_folder(&self) -> &std::path::Path {
        &self.backups.folder
    }

    /// Commits what is queued and closes the database.
    pub async fn stop(&self) {
        self.store.stop().await;
    }
}
