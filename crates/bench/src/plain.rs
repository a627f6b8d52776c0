//! Plain SQLite: its own C interface through `rusqlite`, fed by waiting callers through one writer. It writes the same
//! rows as the daemon with the same settings, and does nothing else: no HTTP, no JSON, no rule, no broker.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use rusqlite::{Connection, params};
use tokio::sync::{Barrier, mpsc, oneshot};
use tokio::task::JoinSet;

use crate::error::BenchError;
use crate::load::Load;
use crate::machine::nanoseconds;

/// As many as the daemon's writer takes at once.
const TOGETHER: usize = 512;

/// Opens a database with the settings of the daemon's writer.
pub(crate) fn open(path: &Path) -> Result<Connection, BenchError> {
    let plain = Connection::open(path)?;
    plain.execute_batch(
        "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA cache_size = -16000;
         PRAGMA temp_store = memory; PRAGMA wal_autocheckpoint = 10000; PRAGMA busy_timeout = 10000;",
    )?;
    plain.set_prepared_statement_cache_capacity(32);
    Ok(plain)
}

/// What is written for each unit of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rows {
    /// An edit: document, history, outbox.
    Edit,
    /// A report: document and history.
    Report,
}

/// One unit of work; its texts are made before.
#[derive(Debug)]
struct Work {
    slot: i64,
    revision: i64,
    body: Arc<str>,
    patch: Arc<str>,
    done: oneshot::Sender<()>,
}

/// The first revision that is written less one: far above those of the house, whose snapshots are there already.
pub(crate) const FIRST_REVISION: i64 = 1_000_000;

/// A writer that runs.
pub(crate) struct Pen {
    pub(crate) queue: Queue,
    writer: std::thread::JoinHandle<Result<(), BenchError>>,
}

/// Where work is queued for the writer.
#[derive(Debug, Clone)]
pub(crate) struct Queue(mpsc::Sender<Work>);

/// The texts of a unit of work.
#[derive(Debug, Clone)]
pub(crate) struct Unit {
    body: Arc<str>,
    patch: Arc<str>,
}

impl Unit {
    /// Queues one and waits until it is durable.
    pub(crate) async fn written(&self, queue: &Queue, slot: i64, revision: i64) -> Result<(), BenchError> {
        let (done, written) = oneshot::channel();
        let work = Work { slot, revision, body: Arc::clone(&self.body), patch: Arc::clone(&self.patch), done };
        if queue.0.send(work).await.is_err() || written.await.is_err() {
            return Err(BenchError::unexpected("writing by plain SQLite", "its writer has ended"));
        }
        Ok(())
    }
}

/// One writer upon a database of a made house.
#[derive(Debug, Clone)]
pub(crate) struct Plain {
    database: PathBuf,
    body: Arc<str>,
}

impl Plain {
    /// Upon the house in that folder. What is written has the size of its first desired document.
    pub(crate) fn new(house: &Path) -> Result<Self, BenchError> {
        let database = house.join(store::DATABASE);
        let plain = open(&database)?;
        let body: String = plain.query_row("SELECT body FROM document WHERE slot = 9", [], |row| row.get(0))?;
        Ok(Self { database, body: body.into() })
    }

    /// What is written for each unit of work, of the size of the house's first desired document.
    pub(crate) fn unit(&self) -> Unit {
        Unit { body: Arc::clone(&self.body), patch: r#"{"looks":{"evening":{"intensity":42}}}"#.into() }
    }

    /// Starts the writer; it ends when nothing can be sent to it any more.
    pub(crate) fn begin(&self, rows: Rows) -> Result<Pen, BenchError> {
        let plain = open(&self.database)?;
        let (queue, queued) = mpsc::channel(4096);
        let writer = std::thread::spawn(move || write(plain, rows, queued));
        Ok(Pen { queue: Queue(queue), writer })
    }

    /// Lets `callers` wait for one write after the other for `length`, or until `most` are written in all.
    pub(crate) async fn run(
        &self,
        callers: usize,
        rows: Rows,
        length: Duration,
        most: Option<usize>,
    ) -> Result<Load, BenchError> {
        let Pen { queue, writer } = self.begin(rows)?;
        let ready = Arc::new(Barrier::new(callers + 1));
        let each = most.map_or(usize::MAX, |most| most.div_ceil(callers));
        let mut tasks = JoinSet::<Result<_, BenchError>>::new();
        for caller in 0..callers {
            let (unit, ready) = (self.unit(), Arc::clone(&ready));
            let queue = queue.clone();
            let slot = (i64::try_from(caller).unwrap_or(0) + 1) * 8 + if rows == Rows::Edit { 1 } else { 2 };
            tasks.spawn(async move {
                let mut taken = Vec::with_capacity(4096);
                ready.wait().await;
                let first = Instant::now();
                let mut revision = FIRST_REVISION;
                while taken.len() < each && first.elapsed() < length {
                    let began = Instant::now();
                    revision += 1;
                    unit.written(&queue, slot, revision).await?;
                    taken.push(nanoseconds(began));
                }
                Ok(taken)
            });
        }
        drop(queue);
        ready.wait().await;
        let began = Instant::now();
        let mut load = Load::default();
        while let Some(ended) = tasks.join_next().await {
            load.taken.extend(ended.map_err(|error| BenchError::unexpected("a caller", error.to_string()))??);
        }
        load.length = began.elapsed();
        writer.join().map_err(|_| BenchError::unexpected("writing by plain SQLite", "its writer panicked"))??;
        Ok(load)
    }
}

/// Takes all that is queued, writes it in one transaction, tells everyone.
fn write(plain: Connection, rows: Rows, mut queued: mpsc::Receiver<Work>) -> Result<(), BenchError> {
    let mut id: i64 = plain.query_row("SELECT coalesce(max(id), 0) FROM history", [], |row| row.get(0))?;
    plain.execute("DELETE FROM snapshot WHERE revision > ?", [FIRST_REVISION])?;
    let mut heads: HashMap<i64, i64> = HashMap::new();
    let mut at = 1_800_000_000_000_i64;
    let mut document = plain.prepare(
        "INSERT INTO document (slot, revision, drift, at, head, body) VALUES (?, ?, 0, ?, ?, ?)
         ON CONFLICT (slot) DO UPDATE SET revision = excluded.revision, drift = excluded.drift, at = excluded.at,
         head = excluded.head, body = excluded.body",
    )?;
    let mut history = plain.prepare(
        "INSERT INTO history (id, slot, revision, at, by, via, cause, patch, inverse, prev)
         VALUES (?, ?, ?, ?, 'loopback', 'http', NULL, ?, ?, ?)",
    )?;
    let mut snapshot =
        plain.prepare("INSERT INTO snapshot (slot, revision, at, history, body) VALUES (?, ?, ?, ?, ?)")?;
    let mut outbox = plain.prepare("INSERT OR REPLACE INTO outbox (fixture, ticket) VALUES (?, ?)")?;
    let mut batch = Vec::with_capacity(TOGETHER);
    while queued.blocking_recv_many(&mut batch, TOGETHER) > 0 {
        plain.execute_batch("BEGIN IMMEDIATE")?;
        at += 1;
        for work in &batch {
            id += 1;
            let prev = heads.insert(work.slot, id);
            document.execute(params![work.slot, work.revision, at, id, work.body])?;
            history.execute(params![id, work.slot, work.revision, at, work.patch, work.patch, prev])?;
            if work.revision % 64 == 0 {
                snapshot.execute(params![work.slot, work.revision, at, id, work.body])?;
            }
            if rows == Rows::Edit {
                outbox.execute(params![work.slot >> 3, id])?;
            }
        }
        plain.execute_batch("COMMIT")?;
        for work in batch.drain(..) {
            let _ = work.done.send(()); // nobody may wait any more
        }
    }
    Ok(())
}
