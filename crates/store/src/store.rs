//! The store's face: open, execute, read, stop.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::Timestamp;
use kernel::{Actor, Answer, Command, Fixture, FixtureId, FixtureKey, Rules};
use sqlx::sqlite::SqlitePool;
use tokio::sync::{broadcast, mpsc, oneshot};
use tokio::task::JoinHandle;

use crate::aside;
use crate::error::{ExecuteError, StoreError};
use crate::house::House;
use crate::load;
use crate::lock::FolderLock;
use crate::outbox::Outbox;
use crate::pen::Pen;
use crate::requests::Once;
use crate::retention::Retention;
use crate::schema::{self, DATABASE};
use crate::tokens::{Token, TokenBook};
use crate::writer::{Work, Writer};

/// How many commands may wait for the writer before callers wait for room.
const QUEUE: usize = 4096;

/// How the store is opened.
#[derive(Debug)]
pub struct StoreOptions {
    /// The data folder; made if it is not there.
    pub folder: PathBuf,
    /// What the house's configuration says: kinds and place.
    pub rules: Arc<Rules>,
    /// How many connections read.
    pub readers: u32,
    /// The time now.
    pub now: Timestamp,
}

/// One thing asked of the store.
#[derive(Debug)]
pub struct Request {
    /// What.
    pub command: Command,
    /// Who asks, by which way.
    pub actor: Actor,
    /// When.
    pub at: Timestamp,
    /// What it is a part of, if of something larger.
    pub cause: Option<Arc<str>>,
    /// The Idempotency-Key, if one was given.
    pub once: Option<Once>,
}

/// What came of a request. It is durable.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The kernel's answer.
    pub answer: Answer,
    /// The fixture after it; `None` when it is gone.
    pub fixture: Option<Arc<Fixture>>,
    /// Whether this is the answer to an earlier request with the same Idempotency-Key.
    pub replayed: bool,
}

/// A hint that a fixture changed. Readers read state; they do not reckon from hints.
#[derive(Debug, Clone)]
pub struct Committed {
    /// Which fixture.
    pub id: FixtureId,
    /// As it is now; `None` when it is gone.
    pub after: Option<Arc<Fixture>>,
}

/// The store.
#[derive(Debug)]
pub struct Store {
    folder: PathBuf,
    path: PathBuf,
    house: Arc<House>,
    outbox: Arc<Outbox>,
    rules: Arc<Rules>,
    tokens: Arc<TokenBook>,
    key: [u8; 32],
    readers: SqlitePool,
    work: mpsc::Sender<Work>,
    committed: broadcast::Sender<Arc<Vec<Committed>>>,
    sound: Arc<AtomicBool>,
    writer: tokio::sync::Mutex<Option<JoinHandle<()>>>,
}

impl Store {
    /// Opens the store of a folder, making or migrating its database, and starts its writer.
    ///
    /// # Errors
    /// [`StoreError::InUse`], [`StoreError::Newer`], [`StoreError::NotOurs`], [`StoreError::Row`] and what SQLite says;
    /// [`StoreError::NotThere`] when the database is missing, but files beside it tell that there was one.
    pub async fn open(options: StoreOptions) -> Result<Self, StoreError> {
        let folder = options.folder;
        make_folder(&folder)?;
        let lock = FolderLock::take(&folder)?;
        aside::refuse_what_was_cut_off(&folder)?;
        aside::clear_what_was_cut_off(&folder)?;
        let path = folder.join(DATABASE);
        make_private(&path)?;
        let mut connection = schema::open_writer(&path).await?;
        private(&path)?;
        let loaded = load::load(&mut connection, options.now).await?;
        let readers = schema::open_readers(&path, options.readers.max(1)).await?;
        let (work, queue) = mpsc::channel(QUEUE);
        let (committed, _) = broadcast::channel(1024);
        let sound = Arc::new(AtomicBool::new(true));
        let writer = Writer {
            pen: Pen::new(path.clone(), connection, Arc::clone(&sound)),
            queue,
            house: Arc::clone(&loaded.house),
            outbox: Arc::clone(&loaded.outbox),
            tokens: Arc::clone(&loaded.tokens),
            requests: loaded.requests,
            rules: Arc::clone(&options.rules),
            numbers: loaded.numbers,
            unsettled: loaded.unsettled,
            committed: committed.clone(),
            lock,
        };
        let handle = tokio::spawn(writer.run());
        Ok(Self {
            folder,
            path,
            house: loaded.house,
            outbox: loaded.outbox,
            rules: options.rules,
            tokens: loaded.tokens,
            key: loaded.key,
            readers,
            work,
            committed,
            sound,
            writer: tokio::sync::Mutex::new(Some(handle)),
        })
    }

    /// The house as of the last commit.
    #[must_use]
    pub fn house(&self) -> &House {
        &self.house
    }

    /// What has to be published.
    #[must_use]
    pub fn outbox(&self) -> &Outbox {
        &self.outbox
    }

    /// What the house's configuration says: kinds and place.
    #[must_use]
    pub fn rules(&self) -> &Rules {
        &self.rules
    }

    /// The key under which secrets and tokens are hashed; it belongs to this database.
    #[must_use]
    pub fn key(&self) -> &[u8; 32] {
        &self.key
    }

    /// The data folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The database file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    pub(crate) fn readers(&self) -> &SqlitePool {
        &self.readers
    }

    /// Hints of what was committed.
    #[must_use]
    pub fn committed(&self) -> broadcast::Receiver<Arc<Vec<Committed>>> {
        self.committed.subscribe()
    }

    /// Puts a request on the writer's queue, and gives what waits for its answer. Requests are decided in the order
    /// in which this function gives them back.
    ///
    /// # Errors
    /// [`StoreError::Stopped`].
    pub async fn submit(
        &self,
        request: Request,
    ) -> Result<oneshot::Receiver<Result<Outcome, ExecuteError>>, StoreError> {
        let (reply, answer) = oneshot::channel();
        self.work.send(Work::Request { request: Box::new(request), reply }).await.map_err(|_| StoreError::Stopped)?;
        Ok(answer)
    }

    /// Carries a request out. When it answers, what it answers is durable.
    ///
    /// # Errors
    /// The kernel's rejection, or what kept it from being made durable; either way nothing has changed.
    pub async fn execute(&self, request: Request) -> Result<Outcome, ExecuteError> {
        let answer = self.submit(request).await?;
        answer.await.map_err(|_| ExecuteError::Store(StoreError::Stopped))?
    }

    /// Clears a row of the outbox: the broker has what was published under this ticket.
    pub async fn published(&self, key: FixtureKey, ticket: i64) {
        // of a renewal nothing is written
        if self.outbox.landed(key, ticket) {
            return;
        }
        // a writer that has stopped leaves the row, and it is published again at the next start
        let _ = self.work.send(Work::Published { key, ticket }).await;
    }

    /// Has every fixture published anew: the broker may have lost what it kept. When it answers, the outbox holds them
    /// all, durably, each under a ticket that no acknowledgement of before can clear.
    ///
    /// # Errors
    /// What kept it from being made durable; the outbox is then as it was.
    pub async fn publish_all(&self) -> Result<(), StoreError> {
        self.ask(|reply| Work::PublishAll { reply }).await
    }

    async fn ask<T>(&self, work: impl FnOnce(oneshot::Sender<Result<T, StoreError>>) -> Work) -> Result<T, StoreError> {
        let (reply, answer) = oneshot::channel();
        self.work.send(work(reply)).await.map_err(|_| StoreError::Stopped)?;
        answer.await.map_err(|_| StoreError::Stopped)?
    }

    /// Retires history that is older or more than wished. Gives how many rows went.
    ///
    /// # Errors
    /// What SQLite says.
    pub async fn retire(&self, retention: Retention, now: Timestamp) -> Result<u64, StoreError> {
        let mut rows = 0;
        loop {
            // in small portions, so that no edit waits long behind it
            let (gone, more) = self.ask(|reply| Work::Retire { retention, now, reply }).await?;
            rows += gone;
            if !more {
                return Ok(rows);
            }
            tokio::task::yield_now().await;
        }
    }

    /// All tokens, without what they are.
    #[must_use]
    pub fn tokens(&self) -> Vec<Token> {
        self.tokens.list()
    }

    /// The token of that text, if there is one.
    #[must_use]
    pub fn token(&self, text: &str) -> Option<Token> {
        self.tokens.find(&blake3::keyed_hash(&self.key, text.as_bytes()))
    }

    /// Adds a token.
    ///
    /// # Errors
    /// [`StoreError::TokenExists`].
    pub async fn add_token(
        &self,
        name: String,
        scope: crate::Scope,
        text: &str,
        now: Timestamp,
    ) -> Result<Token, StoreError> {
        let hash = blake3::keyed_hash(&self.key, text.as_bytes());
        self.ask(|reply| Work::AddToken { name, scope, hash, now, reply }).await
    }

    /// Takes a token away.
    ///
    /// # Errors
    /// [`StoreError::NotThere`].
    pub async fn remove_token(&self, id: i64) -> Result<(), StoreError> {
        self.ask(|reply| Work::RemoveToken { id, reply }).await
    }

    /// Commits what is queued, brings documents and outbox up to history and closes the database. Later requests get [`StoreError::Stopped`].
    pub async fn stop(&self) {
        let _ = self.work.send(Work::Stop).await;
        if let Some(handle) = self.writer.lock().await.take() {
            let _ = handle.await;
        }
        self.readers.close().await;
    }

    /// Whether the writer runs and its last write did not fail. It is a memory of what was, not a trial:
    /// [`Store::probe`] tries.
    #[must_use]
    pub fn is_usable(&self) -> bool {
        !self.work.is_closed() && self.sound.load(Ordering::Relaxed)
    }

    /// Finds out whether the store is usable. While it is, this costs nothing; after a write that failed, some room is
    /// written and given back, so that a disk that was mended is known without an edit. Callers that ask together share
    /// one trial.
    ///
    /// # Errors
    /// [`StoreError::Stopped`], [`StoreError::Full`], and what SQLite says: no edit can be taken now.
    pub async fn probe(&self) -> Result<(), StoreError> {
        if self.is_usable() {
            return Ok(());
        }
        self.ask(|reply| Work::Probe { reply }).await
    }
}

/// Makes a folder, readable by its owner alone. One that is there already is left as it is.
pub(crate) fn make_folder(folder: &Path) -> Result<(), StoreError> {
    use std::os::unix::fs::DirBuilderExt;
    std::fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .map_err(StoreError::io("making the folder", folder))
}

/// Makes an empty file that the owner alone can read, unless there is one: SQLite gives its log the same permissions, so
/// they have to be right before it is first opened.
pub(crate) fn make_private(path: &Path) -> Result<(), StoreError> {
    use std::os::unix::fs::OpenOptionsExt;
    match std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        Err(error) => Err(StoreError::io("making", path)(error)),
    }
}

/// Lets the owner alone read a file that holds hashes of secrets.
pub(crate) fn private(path: &Path) -> Result<(), StoreError> {
    use std::os::unix::fs::PermissionsExt;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600))
        .map_err(StoreError::io("setting the permissions of", path))
}
