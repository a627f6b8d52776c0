//! Everything that can go wrong with the database, told apart by what the reader must do.

use std::path::PathBuf;
use std::sync::Arc;

use kernel::Rejection;
use thiserror::Error;

/// What went wrong with the database or its folder.
#[derive(Debug, Clone, Error)]
pub enum StoreError {
    /// SQLite refused something.
    #[error("the database failed while {doing}: {source}")]
    Sql {
        /// What was being done.
        doing: &'static str,
        /// What SQLite says.
        source: Arc<sqlx::Error>,
    },
    /// The disk is full.
    #[error("the disk is full: nothing was written; make room, then try again (reading goes on)")]
    Full,
    /// A row does not decode: the file was changed by another hand or is damaged.
    #[error(
        "the row {key} of table {table} has an unusable {column}: {detail}; run `sconced restore` with the last good backup"
    )]
    Row {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// The row's key.
        key: String,
        /// What is wrong with it.
        detail: String,
    },
    /// The file was written by a newer version.
    #[error(
        "the database has schema {found}, this program knows {known} at most; it was left untouched: use the newer program, or restore a backup of before"
    )]
    Newer {
        /// The schema found.
        found: i64,
        /// The newest known.
        known: i64,
    },
    /// The file is no database of ours.
    #[error("{path} is not a database of sconced ({detail}); name another file or folder")]
    NotOurs {
        /// The file.
        path: PathBuf,
        /// Why not.
        detail: String,
    },
    /// Another daemon holds the folder.
    #[error("the data folder {folder} is in use by another sconced ({holder}); stop that one first")]
    InUse {
        /// The folder.
        folder: PathBuf,
        /// Who holds it.
        holder: String,
    },
    /// A check of a file failed.
    #[error("{path} fails its check: {detail}; do not use it, take another backup")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The first findings.
        detail: String,
    },
    /// A file could not be read or written.
    #[error("{doing} {path}: {source}")]
    Io {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// Why.
        source: Arc<std::io::Error>,
    },
    /// No state of this revision or time, or a file that should be there is not.
    #[error("{0}")]
    NotThere(String),
    /// The state asked for is older than what is kept.
    #[error("the history of that time is no longer kept; the oldest state that can be shown is of {since}")]
    Retired {
        /// The oldest time kept.
        since: String,
    },
    /// A token of that name exists.
    #[error("there is a token named {0:?} already; choose another name")]
    TokenExists(String),
    /// A cursor that this daemon did not give out.
    #[error("the cursor is not one that was given out; begin again without it")]
    Cursor,
    /// The writer has stopped.
    #[error("the daemon is stopping; nothing was changed, try again in a moment")]
    Stopped,
}

impl StoreError {
    /// Wraps what SQLite says, telling a full disk apart.
    pub(crate) fn sql(doing: &'static str) -> impl FnOnce(sqlx::Error) -> Self {
        move |source| {
            // SQLITE_FULL (13) and its kin in extended codes
            let full = source
                .as_database_error()
                .and_then(|error| error.code())
                .and_then(|code| code.parse::<i32>().ok())
                .is_some_and(|code| code & 0xff == 13);
            if full { Self::Full } else { Self::Sql { doing, source: Arc::new(source) } }
        }
    }

    pub(crate) fn io(doing: &'static str, path: impl Into<PathBuf>) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.into();
        move |source| {
            if source.kind() == std::io::ErrorKind::StorageFull {
                Self::Full
            } else {
                Self::Io { doing, path, source: Arc::new(source) }
            }
        }
    }
}

/// Why a command was not carried out.
#[derive(Debug, Clone, Error)]
pub enum ExecuteError {
    /// The rules refuse it.
    #[error(transparent)]
    Rejected(#[from] Rejection),
    /// It could not be made durable.
    #[error(transparent)]
    Store(#[from] StoreError),
}
