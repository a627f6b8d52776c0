//! Putting a backup or a dump in the place of the database. The database that was there is kept aside.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sqlx::Connection;

use crate::backup::{check, sync_folder};
use crate::error::StoreError;
use crate::load;
use crate::lock::FolderLock;
use crate::schema::{self, DATABASE};
use crate::store::{make_folder, make_private, private};

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// Where the database that was there lies now, if there was one.
    pub aside: Option<PathBuf>,
    /// How many fixtures the restored house has.
    pub fixtures: i64,
    /// How many rows of history.
    pub changes: i64,
}

/// Restores a data folder from a backup file or from a dump (SQL text). Everything is published anew at the next start.
///
/// # Errors
/// [`StoreError::InUse`] while a daemon runs on the folder; [`StoreError::Damaged`], [`StoreError::NotOurs`] and
/// [`StoreError::Newer`] when the file fails its check. In all of these the folder is as it was.
pub async fn restore(from: &Path, folder: &Path, now: Timestamp) -> Result<Restored, StoreError> {
    make_folder(folder)?;
    let _lock = FolderLock::take(folder)?;
    let fresh = folder.join(format!("{DATABASE}.restoring"));
    remove(&fresh)?;
    let prepared = prepare(from, &fresh, now).await;
    if prepared.is_err() {
        let _ = remove(&fresh);
    }
    let (fixtures, changes) = prepared?;
    let path = folder.join(DATABASE);
    let aside = if path.exists() { Some(set_aside(&path, now)?) } else { None };
    std::fs::rename(&fresh, &path).map_err(StoreError::io("putting in place", &path))?;
    sync_folder(folder)?;
    Ok(Restored { aside, fixtures, changes })
}

async fn prepare(from: &Path, fresh: &Path, now: Timestamp) -> Result<(i64, i64), StoreError> {
    let mut head = [0_u8; 16];
    let mut file = std::fs::File::open(from).map_err(StoreError::io("opening", from))?;
    let read = std::io::Read::read(&mut file, &mut head).map_err(StoreError::io("reading", from))?;
    if head.get(..read).is_some_and(|head| head.starts_with(b"SQLite format 3\0")) {
        check(from).await?;
        std::fs::copy(from, fresh).map_err(StoreError::io("copying", from))?;
    } else {
        let bytes = std::fs::read(from).map_err(StoreError::io("reading", from))?;
        let not_ours = |detail: String| StoreError::NotOurs { path: from.into(), detail };
        let text = String::from_utf8(bytes).ok().filter(|text| text.contains("_sqlx_migrations"));
        let text = text.ok_or_else(|| not_ours("it is neither a backup nor a dump of sconced".into()))?;
        make_private(fresh)?;
        let options = sqlx::sqlite::SqliteConnectOptions::new().filename(fresh).create_if_missing(true);
        let options = sqlx::ConnectOptions::disable_statement_logging(options);
        let mut connection =
            sqlx::ConnectOptions::connect(&options).await.map_err(StoreError::sql("loading the dump"))?;
        let loaded = sqlx::raw_sql(sqlx::AssertSqlSafe(text)).execute(&mut connection).await;
        let _ = connection.close().await;
        loaded.map_err(|error| not_ours(error.to_string()))?;
        check(fresh).await?;
    }
    private(fresh)?;
    // brings it to the newest schema, and has everything published: the broker may hold what came after
    let mut connection = schema::open_writer(fresh).await?;
    // what could not be opened afterwards is better refused now
    let _ = load::load(&mut connection, now).await?;
    let restoring = || StoreError::sql("preparing the restored database");
    sqlx::query(
        "INSERT OR REPLACE INTO outbox (fixture, ticket)
         SELECT key, (SELECT coalesce(max(id), 1) FROM history) FROM fixture WHERE deleted IS NULL",
    )
    .execute(&mut connection)
    .await
    .map_err(restoring())?;
    let counts: (i64, i64) =
        sqlx::query_as("SELECT (SELECT count(*) FROM fixture WHERE deleted IS NULL), (SELECT count(*) FROM history)")
            .fetch_one(&mut connection)
            .await
            .map_err(restoring())?;
    sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(&mut connection).await.map_err(restoring())?;
    connection.close().await.map_err(restoring())?;
    for suffix in ["-wal", "-shm"] {
        let _ = std::fs::remove_file(with_suffix(fresh, suffix));
    }
    let file = std::fs::File::open(fresh).map_err(StoreError::io("opening", fresh))?;
    file.sync_all().map_err(StoreError::io("writing out", fresh))?;
    Ok(counts)
}

/// Moves a database and its log aside, the log first named after it so that nothing committed is lost.
fn set_aside(path: &Path, now: Timestamp) -> Result<PathBuf, StoreError> {
    let stamp = now.strftime("%Y%m%dT%H%M%SZ").to_string();
    let mut aside = with_suffix(path, &format!(".aside-{stamp}"));
    for n in 2.. {
        if !aside.exists() {
            break;
        }
        aside = with_suffix(path, &format!(".aside-{stamp}-{n}"));
    }
    for suffix in ["-wal", "-shm"] {
        let log = with_suffix(path, suffix);
        if log.exists() {
            std::fs::rename(&log, with_suffix(&aside, suffix)).map_err(StoreError::io("setting aside", &log))?;
        }
    }
    std::fs::rename(path, &aside).map_err(StoreError::io("setting aside", path))?;
    Ok(aside)
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

fn remove(path: &Path) -> Result<(), StoreError> {
    for suffix in ["", "-wal", "-shm"] {
        let path = with_suffix(path, suffix);
        match std::fs::remove_file(&path) {
            Ok(()) => {}
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => return Err(StoreError::io("removing", path)(error)),
        }
    }
    Ok(())
}
