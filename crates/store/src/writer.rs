//! The one task that writes. It takes all that is queued, decides in memory, commits once, then answers everyone.

use std::sync::Arc;

use jiff::Timestamp;
use kernel::{FixtureKey, Kinds};
use sqlx::{Connection, SqliteConnection};
use tokio::sync::{broadcast, mpsc, oneshot};

use crate::batch::{Batch, Numbers};
use crate::error::{ExecuteError, StoreError};
use crate::house::House;
use crate::lock::FolderLock;
use crate::outbox::Outbox;
use crate::requests::Requests;
use crate::retention::{self, Retention};
use crate::rows;
use crate::store::{Committed, Outcome, Request};
use crate::tokens::{self, Scope, Token, TokenBook};

/// At most so many commands share a commit.
const COMMANDS: usize = 512;

type Reply<T> = oneshot::Sender<Result<T, StoreError>>;

/// What the writer is asked to do.
pub(crate) enum Work {
    /// Decide and write.
    Request { request: Box<Request>, reply: oneshot::Sender<Result<Outcome, ExecuteError>> },
    /// The broker has what was published under this ticket.
    Published { key: FixtureKey, ticket: i64 },
    /// Retire a portion of old history.
    Retire { retention: Retention, now: Timestamp, reply: Reply<(u64, bool)> },
    /// Add a token.
    AddToken { name: String, scope: Scope, hash: blake3::Hash, now: Timestamp, reply: Reply<Token> },
    /// Take a token away.
    RemoveToken { id: i64, reply: Reply<()> },
    /// Commit and close.
    Stop,
}

pub(crate) struct Writer {
    pub(crate) connection: SqliteConnection,
    pub(crate) queue: mpsc::Receiver<Work>,
    pub(crate) house: Arc<House>,
    pub(crate) outbox: Arc<Outbox>,
    pub(crate) tokens: Arc<TokenBook>,
    pub(crate) requests: Requests,
    pub(crate) kinds: Arc<Kinds>,
    pub(crate) numbers: Numbers,
    pub(crate) committed: broadcast::Sender<Arc<Vec<Committed>>>,
    /// Given back only when the last commit is made, whenever the rest of the store was dropped.
    pub(crate) lock: FolderLock,
}

type Waiting = (oneshot::Sender<Result<Outcome, ExecuteError>>, Result<Outcome, ExecuteError>);

impl Writer {
    pub(crate) async fn run(mut self) {
        let mut queued = Vec::with_capacity(COMMANDS);
        loop {
            if self.queue.recv_many(&mut queued, COMMANDS).await == 0 {
                break;
            }
            if self.turn(&mut queued).await {
                break;
            }
        }
        self.queue.close();
        // what is still queued is refused with `Stopped` when its reply is dropped
        if let Err(error) = self.connection.close().await {
            tracing::warn!(%error, "closing the database");
        }
        drop(self.lock);
    }

    /// Carries out what is queued; whether to stop after it.
    async fn turn(&mut self, queued: &mut Vec<Work>) -> bool {
        let mut batch = Batch::new(self.numbers);
        let mut waiting: Vec<Waiting> = Vec::with_capacity(queued.len());
        let mut stop = false;
        for work in queued.drain(..) {
            match work {
                Work::Request { request, reply } => {
                    let outcome = batch.take(*request, &self.house, &self.requests, &self.kinds);
                    waiting.push((reply, outcome));
                }
                Work::Published { key, ticket } => batch.published(key, ticket, &self.outbox),
                Work::Stop => stop = true,
                other => {
                    // rare work has a commit of its own, after what came before it
                    self.finish(std::mem::replace(&mut batch, Batch::new(self.numbers)), &mut waiting).await;
                    batch = Batch::new(self.numbers);
                    self.rare(other).await;
                }
            }
        }
        self.finish(batch, &mut waiting).await;
        stop
    }

    /// Commits a batch, lets it be true, answers everyone who waits for it.
    async fn finish(&mut self, batch: Batch, waiting: &mut Vec<Waiting>) {
        let written = if batch.is_empty() { Ok(()) } else { commit(&mut self.connection, &batch).await };
        match written {
            Ok(()) => {
                let (numbers, changes) = batch.apply(&self.house, &self.outbox, &mut self.requests);
                self.numbers = numbers;
                for (reply, outcome) in waiting.drain(..) {
                    let _ = reply.send(outcome); // a caller that went away has no use for its answer
                }
                if !changes.is_empty() && self.committed.receiver_count() > 0 {
                    let committed = changes.into_iter().map(|(id, after)| Committed { id, after }).collect();
                    let _ = self.committed.send(Arc::new(committed));
                }
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

    async fn rare(&mut self, work: Work) {
        match work {
            Work::Retire { retention, now, reply } => {
                let retired = retention::portion(&mut self.connection, retention, now).await;
                let result = match retired {
                    Ok(portion) => {
                        self.requests.forget(&portion.requests);
                        Ok((portion.rows, portion.more))
                    }
                    Err(error) => Err(error),
                };
                let _ = reply.send(result);
            }
            Work::AddToken { name, scope, hash, now, reply } => {
                let added = tokens::add(&mut self.connection, &self.tokens, name, scope, hash, now).await;
                let _ = reply.send(added);
            }
            Work::RemoveToken { id, reply } => {
                let _ = reply.send(tokens::remove(&mut self.connection, &self.tokens, id).await);
            }
            Work::Request { .. } | Work::Published { .. } | Work::Stop => {}
        }
    }
}

async fn commit(connection: &mut SqliteConnection, batch: &Batch) -> Result<(), StoreError> {
    // a transaction that is dropped on an error is rolled back before the connection is used again
    let mut transaction =
        connection.begin_with("BEGIN IMMEDIATE").await.map_err(StoreError::sql("beginning a transaction"))?;
    rows::write(&mut transaction, &batch.fixture_rows()).await?;
    rows::write(&mut transaction, &batch.document_rows()).await?;
    rows::write(&mut transaction, &batch.history).await?;
    rows::write(&mut transaction, &batch.snapshots).await?;
    rows::write(&mut transaction, &batch.life_rows()).await?;
    rows::write(&mut transaction, &batch.boots).await?;
    rows::write(&mut transaction, &batch.events).await?;
    rows::write(&mut transaction, &batch.requests).await?;
    let (set, clear) = batch.outbox_rows();
    rows::write(&mut transaction, &set).await?;
    rows::delete(&mut transaction, "DELETE FROM outbox WHERE fixture IN (SELECT value FROM json_each(?))", &clear)
        .await?;
    let gone = batch.gone();
    rows::delete(&mut transaction, "DELETE FROM document WHERE slot >> 3 IN (SELECT value FROM json_each(?))", &gone)
        .await?;
    rows::delete(&mut transaction, "DELETE FROM life WHERE fixture IN (SELECT value FROM json_each(?))", &gone).await?;
    transaction.commit().await.map_err(StoreError::sql("committing"))
}
