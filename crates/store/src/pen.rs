//! The one connection that writes. After a write that failed it is closed and opened anew, since SQLite may have rolled
//! back by itself (a full disk, a failed read or write, no memory left), of which the connection's count of open
//! transactions knows nothing: every later commit upon it would fail.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use sqlx::{Connection, SqliteConnection};

use crate::batch::Rows;
use crate::error::StoreError;
use crate::rows;
use crate::schema;
use crate::unsettled::{Mark, Portion, SETTLED};

/// The writer's connection, or why there is none.
pub(crate) struct Pen {
    path: PathBuf,
    connection: Result<SqliteConnection, StoreError>,
    sound: Arc<AtomicBool>,
}

impl Pen {
    /// `sound` is told whether the last write was made.
    pub(crate) fn new(path: PathBuf, connection: SqliteConnection, sound: Arc<AtomicBool>) -> Self {
        Self { path, connection: Ok(connection), sound }
    }

    /// The connection.
    ///
    /// # Errors
    /// Why there is none.
    pub(crate) fn get(&mut self) -> Result<&mut SqliteConnection, StoreError> {
        self.connection.as_mut().map_err(|error| error.clone())
    }

    /// Whether there is a connection.
    pub(crate) fn is_open(&self) -> bool {
        self.connection.is_ok()
    }

    /// Whether the last write was made.
    pub(crate) fn is_sound(&self) -> bool {
        self.sound.load(Ordering::Relaxed)
    }

    /// Remembers whether a write was made.
    pub(crate) fn told(&self, written: bool) {
        self.sound.store(written, Ordering::Relaxed);
    }

    /// Closes the connection and gives a new one, which is not used for writing until it is put back.
    pub(crate) async fn anew(&mut self) -> Result<SqliteConnection, StoreError> {
        let old = std::mem::replace(&mut self.connection, Err(StoreError::Stopped));
        if let Ok(old) = old {
            // what it left open is rolled back by this
            let _ = old.close().await;
        }
        schema::reopen_writer(&self.path).await
    }

    /// Puts a connection in place, or why there is none.
    pub(crate) fn put(&mut self, connection: Result<SqliteConnection, StoreError>) {
        self.connection = connection;
    }

    /// Writes some room and gives it back.
    pub(crate) async fn probe(&mut self) -> Result<(), StoreError> {
        let connection = self.get()?;
        // as much as a few edits need; each statement is a commit, so that the room is really taken
        for sql in [
            "INSERT OR REPLACE INTO setting (name, value) VALUES ('probe', hex(zeroblob(16384)))",
            "DELETE FROM setting WHERE name = 'probe'",
        ] {
            sqlx::query(sql).execute(&mut *connection).await.map_err(StoreError::sql("trying to write"))?;
        }
        Ok(())
    }

    /// Commits the rows of a batch, and with them the last row of history that the other tables cover, where that has
    /// to be said.
    pub(crate) async fn commit(&mut self, rows: Rows, mark: Option<i64>) -> Result<(), StoreError> {
        let connection = self.get()?;
        if mark.is_none() && rows.is_history_alone() && rows.history.len() <= rows::MOST {
            // one statement is a transaction by itself, and one crossing to the connection's thread
            return rows::write(connection, rows.history).await;
        }
        commit(connection, rows, mark).await
    }

    /// Writes what is settled.
    pub(crate) async fn settle(&mut self, portion: Portion) -> Result<(), StoreError> {
        settle(self.get()?, portion).await
    }

    /// Closes the database.
    pub(crate) async fn close(self) {
        if let Ok(connection) = self.connection
            && let Err(error) = connection.close().await
        {
            tracing::warn!(%error, "closing the database");
        }
    }
}

async fn begin(connection: &mut SqliteConnection) -> Result<sqlx::Transaction<'_, sqlx::Sqlite>, StoreError> {
    connection.begin_with("BEGIN IMMEDIATE").await.map_err(StoreError::sql("beginning a transaction"))
}

async fn commit(connection: &mut SqliteConnection, all: Rows, mark: Option<i64>) -> Result<(), StoreError> {
    let mut transaction = begin(connection).await?;
    if let Some(row) = mark {
        set_mark(&mut transaction, Mark::MovesTo(row)).await?;
    }
    rows::write(&mut transaction, all.fixtures).await?;
    rows::write(&mut transaction, all.documents).await?;
    rows::write(&mut transaction, all.history).await?;
    rows::write(&mut transaction, all.snapshots).await?;
    rows::write(&mut transaction, all.lives).await?;
    rows::write(&mut transaction, all.boots).await?;
    rows::write(&mut transaction, all.events).await?;
    rows::write(&mut transaction, all.requests).await?;
    rows::write(&mut transaction, all.outbox).await?;
    let gone = all.gone;
    rows::delete(&mut transaction, "DELETE FROM document WHERE slot >> 3 IN (SELECT value FROM json_each(?))", &gone)
        .await?;
    rows::delete(&mut transaction, "DELETE FROM life WHERE fixture IN (SELECT value FROM json_each(?))", &gone).await?;
    transaction.commit().await.map_err(StoreError::sql("committing"))
}

/// Brings documents and outbox up to history, as far as a portion goes.
pub(crate) async fn settle(connection: &mut SqliteConnection, portion: Portion) -> Result<(), StoreError> {
    let mut transaction = begin(connection).await?;
    rows::write(&mut transaction, portion.documents).await?;
    rows::write(&mut transaction, portion.due).await?;
    let sql = "DELETE FROM outbox WHERE fixture IN (SELECT value FROM json_each(?))";
    rows::delete(&mut transaction, sql, &portion.published).await?;
    set_mark(&mut transaction, portion.mark).await?;
    transaction.commit().await.map_err(StoreError::sql("committing"))
}

async fn set_mark(connection: &mut SqliteConnection, mark: Mark) -> Result<(), StoreError> {
    let query = match mark {
        Mark::Stays => return Ok(()),
        Mark::MovesTo(row) => sqlx::query("INSERT OR REPLACE INTO setting (name, value) VALUES (?, ?)")
            .bind(SETTLED)
            .bind(row.to_string()),
        Mark::Goes => sqlx::query("DELETE FROM setting WHERE name = ?").bind(SETTLED),
    };
    query.execute(connection).await.map_err(StoreError::sql("writing"))?;
    Ok(())
}
