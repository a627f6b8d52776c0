//! The one task that writes. It takes all that is queued, decides in memory, commits once, then answers everyone.

use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;
use kernel::{Command, FixtureKey, Message, Rules};
use tokio::sync::{broadcast, mpsc, oneshot};
use tokio::time::Instant;

use crate::batch::{Applied, Batch, Changed, Numbers};
use crate::error::{ExecuteError, StoreError};
use crate::house::House;
use crate::load;
use crate::lock::FolderLock;
use crate::outbox::Outbox;
use crate::pen::Pen;
use crate::requests::Requests;
use crate::retention::{self, Retention};
use crate::store::{Committed, Outcome, Request};
use crate::tokens::{self, Scope, Token, TokenBook};
use crate::unsettled::{ALL_AT_ONCE, PORTION, Unsettled};

/// At most so many commands share a commit.
const COMMANDS: usize = 512;

/// How long the commit of what fixtures say may wait for more of it.
const PATIENCE: Duration = Duration::from_millis(2);
/// So much is enough for one commit.
const GATHERED: usize = 256;

type Reply<T> = oneshot::Sender<Result<T, StoreError>>;

/// What the writer is asked to do.
pub(crate) enum Work {
    /// Decide and write.
    Request { request: Box<Request>, reply: oneshot::Sender<Result<Outcome, ExecuteError>> },
    /// The broker has what was published under this ticket.
    Published { key: FixtureKey, ticket: i64 },
    /// Have every fixture published anew.
    PublishAll { reply: Reply<()> },
    /// Find out whether something can be written.
    Probe { reply: Reply<()> },
    /// Retire a portion of old history.
    Retire { retention: Retention, now: Timestamp, reply: Reply<(u64, bool)> },
    /// Add a token.
    AddToken { name: String, scope: Scope, hash: blake3::Hash, now: Timestamp, reply: Reply<Token> },
    /// Take a token away.
    RemoveToken { id: i64, reply: Reply<()> },
    /// Commit and close.
    Stop,
}

impl Work {
    /// Whether nobody waits for it: what a fixture says of itself is acknowledged to the broker alone, and a boot is
    /// answered from memory. Not so events and wishes, which a person waits to see the effect of.
    fn can_wait(&self) -> bool {
        match self {
            Self::Published { .. } => true,
            Self::Request { request, .. } => matches!(
                request.command,
                Command::Hear {
                    message: Message::Boot { .. }
                        | Message::Ask { .. }
                        | Message::Alive { .. }
                        | Message::Report { .. },
                    ..
                }
            ),
            _ => false,
        }
    }
}

pub(crate) struct Writer {
    pub(crate) pen: Pen,
    pub(crate) queue: mpsc::Receiver<Work>,
    pub(crate) house: Arc<House>,
    pub(crate) outbox: Arc<Outbox>,
    pub(crate) tokens: Arc<TokenBook>,
    pub(crate) requests: Requests,
    pub(crate) rules: Arc<Rules>,
    pub(crate) numbers: Numbers,
    pub(crate) unsettled: Unsettled,
    pub(crate) committed: broadcast::Sender<Arc<Vec<Committed>>>,
    /// Given back only when the last commit is made, whenever the rest of the store was dropped.
    pub(crate) lock: FolderLock,
}

type Waiting = (oneshot::Sender<Result<Outcome, ExecuteError>>, Result<Outcome, ExecuteError>);

impl Writer {
    pub(crate) async fn run(mut self) {
        let mut queued = Vec::with_capacity(COMMANDS);
        loop {
            let taken = match self.unsettled.due() {
                None => self.queue.recv_many(&mut queued, COMMANDS).await,
                Some(due) => tokio::select! {
                    biased;
                    taken = self.queue.recv_many(&mut queued, COMMANDS) => taken,
                    () = tokio::time::sleep_until(due) => {
                        let _ = self.settle(PORTION).await; // told in the log, and tried again
                        continue;
                    }
                },
            };
            if taken == 0 {
                break;
            }
            self.gather(&mut queued).await;
            if self.turn(&mut queued).await {
                break;
            }
            if self.unsettled.is_due() {
                let _ = self.settle(PORTION).await; // told in the log, and tried again
            }
        }
        self.queue.close();
        // what is still queued is refused with `Stopped` when its reply is dropped
        drop(queued);
        if let Err(error) = self.settle_all().await {
            tracing::warn!(%error, "documents are behind history, from which they are made up at the next start");
        }
        self.pen.close().await;
        drop(self.lock);
    }

    /// Lets more share the commit, for a moment, while nobody waits for it.
    async fn gather(&mut self, queued: &mut Vec<Work>) {
        let until = Instant::now() + PATIENCE;
        let mut seen = 0;
        while queued.len() < GATHERED && queued.iter().skip(seen).all(Work::can_wait) {
            seen = queued.len();
            let room = GATHERED - seen;
            match tokio::time::timeout_at(until, self.queue.recv_many(queued, room)).await {
                Ok(more) if more > 0 => {}
                _ => return,
            }
        }
    }

    /// Brings documents and outbox up to history in the file, so many fixtures of them; whether there is more to do.
    async fn settle(&mut self, most: usize) -> Result<bool, StoreError> {
        if !self.pen.is_open() {
            self.reopen().await;
        }
        let Some(portion) = self.unsettled.portion(most, &self.house, &self.outbox, self.numbers) else {
            return Ok(false);
        };
        let mark = portion.mark;
        let written = self.pen.settle(portion).await;
        match self.passed_on(written).await {
            Ok(()) => {
                self.unsettled.settled(mark);
                self.pen.told(true);
                Ok(true)
            }
            Err(error) => {
                tracing::error!(%error, "documents could not be brought up to history; it is tried again");
                self.unsettled.postpone();
                Err(error)
            }
        }
    }

    /// Brings all of it up to history.
    async fn settle_all(&mut self) -> Result<(), StoreError> {
        while self.settle(ALL_AT_ONCE).await? {}
        Ok(())
    }

    /// Carries out what is queued; whether to stop after it.
    async fn turn(&mut self, queued: &mut Vec<Work>) -> bool {
        if !self.pen.is_open() {
            // before anything is decided, since what the file holds may be more than is known
            self.reopen().await;
        }
        let mut batch = Batch::new(self.numbers);
        let mut waiting: Vec<Waiting> = Vec::with_capacity(queued.len());
        let mut probes: Vec<Reply<()>> = Vec::new();
        let mut stop = false;
        for work in queued.drain(..) {
            match work {
                Work::Request { request, reply } => {
                    let outcome = batch.take(*request, &self.house, &self.requests, &self.rules);
                    waiting.push((reply, outcome));
                }
                Work::Published { key, ticket } => batch.published(key, ticket, &self.outbox),
                Work::Probe { reply } => probes.push(reply),
                Work::Stop => stop = true,
                other => {
                    // rare work has a commit of its own, after what came before it
                    self.finish(std::mem::replace(&mut batch, Batch::new(self.numbers)), &mut waiting).await;
                    self.rare(other).await;
                    batch = Batch::new(self.numbers);
                }
            }
        }
        self.finish(batch, &mut waiting).await;
        if !probes.is_empty() {
            self.probe(probes).await;
        }
        stop
    }

    /// Commits a batch, lets it be true, answers everyone who waits for it.
    async fn finish(&mut self, batch: Batch, waiting: &mut Vec<Waiting>) {
        match self.write(batch).await {
            Ok(changes) => {
                for (reply, outcome) in waiting.drain(..) {
                    let _ = reply.send(outcome); // a caller that went away has no use for its answer
                }
                self.hint(changes);
            }
            Err(error) => {
                tracing::error!(%error, commands = waiting.len(), "nothing of this commit was written");
                for (reply, outcome) in waiting.drain(..) {
                    // a rejection may have come of something that now never was, so it falls with the rest
                    drop(outcome);
                    let _ = reply.send(Err(ExecuteError::Store(error.clone())));
                }
            }
        }
    }

    /// Commits a batch and lets it be true.
    async fn write(&mut self, mut batch: Batch) -> Result<Vec<Changed>, StoreError> {
        if !batch.is_empty() {
            let mark = (batch.runs_ahead() && !self.unsettled.is_marked()).then_some(self.numbers.history);
            let written = self.pen.commit(batch.rows(), mark).await;
            self.passed_on(written).await?;
            if mark.is_some() {
                self.unsettled.was_marked();
            }
            self.pen.told(true);
            self.unsettled.hasten();
        }
        let Applied { numbers, changes, unsettled } = batch.apply(&self.house, &self.outbox, &mut self.requests);
        self.numbers = numbers;
        self.unsettled.note(unsettled);
        Ok(changes)
    }

    /// Passes on what came of a write; when it failed, the database is opened anew first.
    async fn passed_on<T>(&mut self, written: Result<T, StoreError>) -> Result<T, StoreError> {
        if matches!(written, Err(StoreError::Sql { .. } | StoreError::Full)) {
            self.pen.told(false);
            self.reopen().await;
        }
        written
    }

    /// Opens the database anew and takes over what it holds: a commit that was told to have failed, since the disk
    /// did not answer at its very end, may be in the file nevertheless.
    async fn reopen(&mut self) {
        let opened = match self.pen.anew().await {
            // requests of any age: those that are too old are forgotten when they are retired
            Ok(mut connection) => match load::load(&mut connection, Timestamp::MIN).await {
                Ok(loaded) => Ok((connection, loaded)),
                Err(error) => Err(error),
            },
            Err(error) => Err(error),
        };
        match opened {
            Ok((connection, loaded)) => {
                self.pen.put(Ok(connection));
                self.numbers.history = self.numbers.history.max(loaded.numbers.history);
                self.numbers.fixture = self.numbers.fixture.max(loaded.numbers.fixture);
                self.requests = loaded.requests;
                self.tokens.adopt(&loaded.tokens);
                let changes = self.house.adopt(&loaded.house);
                self.outbox.adopt(&loaded.outbox);
                self.unsettled = loaded.unsettled;
                self.hint(changes);
            }
            Err(error) => {
                tracing::error!(%error, "the database cannot be opened again; it is tried at the next occasion");
                self.pen.told(false);
                self.pen.put(Err(error));
            }
        }
    }

    fn hint(&self, changes: Vec<Changed>) {
        if !changes.is_empty() && self.committed.receiver_count() > 0 {
            let committed = changes.into_iter().map(|(id, after)| Committed { id, after }).collect();
            let _ = self.committed.send(Arc::new(committed));
        }
    }

    /// One trial for all who ask.
    async fn probe(&mut self, probes: Vec<Reply<()>>) {
        let mut tried = Ok(());
        if !self.pen.is_sound() {
            tried = self.pen.probe().await;
            tried = self.passed_on(tried).await;
            self.pen.told(tried.is_ok());
            if tried.is_ok() {
                self.unsettled.hasten();
            }
        }
        for reply in probes {
            let _ = reply.send(tried.clone());
        }
    }

    async fn rare(&mut self, work: Work) {
        match work {
            Work::PublishAll { reply } => {
                let mut batch = Batch::new(self.numbers);
                batch.publish_all(&self.house);
                let _ = reply.send(self.write(batch).await.map(|_| ()));
            }
            Work::Retire { retention, now, reply } => {
                // no row may go that a document still has to be made up from
                let settled = self.settle_all().await;
                let retired = match (settled, self.pen.get()) {
                    (Ok(()), Ok(connection)) => retention::portion(connection, retention, now).await,
                    (Err(error), _) | (_, Err(error)) => Err(error),
                };
                let retired = self.passed_on(retired).await.map(|portion| {
                    self.requests.forget(&portion.requests);
                    (portion.rows, portion.more)
                });
                let _ = reply.send(retired);
            }
            Work::AddToken { name, scope, hash, now, reply } => {
                let added = match self.pen.get() {
                    Ok(connection) => tokens::add(connection, &self.tokens, name, scope, hash, now).await,
                    Err(error) => Err(error),
                };
                let _ = reply.send(self.passed_on(added).await);
            }
            Work::RemoveToken { id, reply } => {
                let removed = match self.pen.get() {
                    Ok(connection) => tokens::remove(connection, &self.tokens, id).await,
                    Err(error) => Err(error),
                };
                let _ = reply.send(self.passed_on(removed).await);
            }
            Work::Request { .. } | Work::Published { .. } | Work::Probe { .. } | Work::Stop => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::atomic::{AtomicBool, Ordering};

    use kernel::{Actor, Command, Edit, Paper, Precondition, Way};

    use super::*;
    use crate::schema::{self, DATABASE};

    /// A writer whose file may grow by so many pages, until it is opened anew: SQLite then does by itself what it does
    /// when there is no more room on a disk.
    async fn narrow(folder: &Path, pages: i64) -> (mpsc::Sender<Work>, Arc<House>, Arc<AtomicBool>) {
        let path = folder.join(DATABASE);
        let mut connection = schema::open_writer(&path).await.unwrap();
        let loaded = load::load(&mut connection, Timestamp::UNIX_EPOCH).await.unwrap();
        let (now,): (i64,) = sqlx::query_as("PRAGMA page_count").fetch_one(&mut connection).await.unwrap();
        let limit = format!("PRAGMA max_page_count = {}", now + pages);
        sqlx::query(sqlx::AssertSqlSafe(limit)).execute(&mut connection).await.unwrap();
        let (work, queue) = mpsc::channel(COMMANDS);
        let sound = Arc::new(AtomicBool::new(true));
        let house = Arc::clone(&loaded.house);
        let writer = Writer {
            pen: Pen::new(path, connection, Arc::clone(&sound)),
            queue,
            house: loaded.house,
            outbox: loaded.outbox,
            tokens: loaded.tokens,
            requests: loaded.requests,
            rules: Arc::default(),
            numbers: loaded.numbers,
            unsettled: loaded.unsettled,
            committed: broadcast::channel(16).0,
            lock: FolderLock::take(folder).unwrap(),
        };
        tokio::spawn(writer.run());
        (work, house, sound)
    }

    async fn tell(work: &mpsc::Sender<Work>, command: Command) -> Result<Outcome, ExecuteError> {
        let request = Request {
            command,
            actor: Actor::new("owner", Way::Http),
            at: Timestamp::UNIX_EPOCH,
            cause: None,
            once: None,
        };
        let (reply, answer) = oneshot::channel();
        work.send(Work::Request { request: Box::new(request), reply }).await.unwrap();
        answer.await.unwrap()
    }

    fn edit(n: u64) -> Command {
        let patch = serde_json::json!({"n": n, "text": format!("{n} reeds ").repeat(400)});
        let (id, paper) = ("hall".parse().unwrap(), Paper::Desired);
        Command::Edit { id, paper, edit: Edit::Merge(patch), precondition: Precondition::None }
    }

    #[tokio::test]
    async fn edits_go_on_after_a_commit_for_which_there_was_no_room() {
        let folder = tempfile::tempdir().unwrap();
        let (work, house, sound) = narrow(folder.path(), 12).await;
        let record = serde_json::json!({"kind": "free"});
        tell(&work, Command::Create { id: "hall".parse().unwrap(), record }).await.unwrap();
        let mut made = 0;
        let error = loop {
            match tell(&work, edit(made + 1)).await {
                Ok(outcome) => made = outcome.answer.revision.get(),
                Err(error) => break error,
            }
        };
        assert!(matches!(error, ExecuteError::Store(StoreError::Full)), "{error:?}");
        assert!((1..20).contains(&made), "{made}");
        assert!(!sound.load(Ordering::Relaxed));
        assert_eq!(house.get("hall").unwrap().desired.revision.get(), made);
        let (reply, answer) = oneshot::channel();
        work.send(Work::Probe { reply }).await.unwrap();
        answer.await.unwrap().unwrap();
        assert!(sound.load(Ordering::Relaxed), "the probe found room");
        for n in made + 1..made + 100 {
            assert_eq!(tell(&work, edit(n)).await.unwrap().answer.revision.get(), n);
        }
    }
}
