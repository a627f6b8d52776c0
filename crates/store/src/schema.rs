//! Opening the file: options of the connections, the check of its version, migrations.

use std::path::Path;
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, SqliteConnection};

use crate::error::StoreError;

/// The database's name in the data folder.
pub const DATABASE: &str = "sconced.sqlite";

/// `PRAGMA application_id`: "scnd" in ASCII, by which a file is known as ours.
pub(crate) const APPLICATION: i64 = 0x7363_6e64;

pub(crate) static MIGRATIONS: Migrator = sqlx::migrate!("../../migrations");

/// Pages of the log before a checkpoint: fewer make acknowledgements wait for it more often.
const CHECKPOINT_PAGES: &str = "10000";
/// Page cache of a connection, in KiB (negative means KiB to SQLite).
const CACHE_KIB: &str = "-16000";

fn options(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .journal_mode(SqliteJournalMode::Wal)
        // FULL: with NORMAL, a power cut can take back the last commits
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .pragma("cache_size", CACHE_KIB)
        .pragma("temp_store", "memory")
        .statement_cache_capacity(256)
        .disable_statement_logging()
}

/// The version of a database file's schema, read without changing the file; 0 for a file that has none yet.
///
/// # Errors
/// [`StoreError::NotOurs`] when it is no database of ours, [`StoreError::Newer`] when it is too new.
pub async fn read_version(path: &Path) -> Result<i64, StoreError> {
    let not_ours = |detail: String| StoreError::NotOurs { path: path.into(), detail };
    let mut connection = SqliteConnectOptions::new()
        .filename(path)
        .read_only(true)
        .busy_timeout(Duration::from_secs(10))
        .disable_statement_logging()
        .connect()
        .await
        .map_err(|error| not_ours(error.to_string()))?;
    let result = version_of(&mut connection).await.map_err(|error| not_ours(error.to_string()));
    let _ = connection.close().await;
    let (application, tables, found) = result?;
    if tables == 0 {
        return Ok(0);
    }
    if application != APPLICATION {
        return Err(not_ours("it has tables of another program".into()));
    }
    let known = MIGRATIONS.iter().map(|migration| migration.version).max().unwrap_or(0);
    if found > known { Err(StoreError::Newer { found, known }) } else { Ok(found) }
}

async fn version_of(connection: &mut SqliteConnection) -> Result<(i64, i64, i64), sqlx::Error> {
    let (application,): (i64,) = sqlx::query_as("PRAGMA application_id").fetch_one(&mut *connection).await?;
    let (tables,): (i64,) = sqlx::query_as("SELECT count(*) FROM sqlite_schema").fetch_one(&mut *connection).await?;
    let (migrated,): (i64,) = sqlx::query_as("SELECT count(*) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
        .fetch_one(&mut *connection)
        .await?;
    let found = if migrated == 1 {
        let (version,): (Option<i64>,) =
            sqlx::query_as("SELECT max(version) FROM _sqlx_migrations").fetch_one(&mut *connection).await?;
        version.unwrap_or(0)
    } else {
        0
    };
    Ok((application, tables, found))
}

/// Opens the writer's connection, migrating the file if it is older.
pub(crate) async fn open_writer(path: &Path) -> Result<SqliteConnection, StoreError> {
    if path.exists() {
        read_version(path).await?;
    }
    // a house that is up to date is opened without a write, so that it is served from a full disk too
    let mut connection = options(path)
        .create_if_missing(true)
        .pragma("wal_autocheckpoint", CHECKPOINT_PAGES)
        .connect()
        .await
        .map_err(StoreError::sql("opening the database"))?;
    let marking = || StoreError::sql("marking the database");
    let (marked,): (i64,) =
        sqlx::query_as("PRAGMA application_id").fetch_one(&mut connection).await.map_err(marking())?;
    if marked != APPLICATION {
        sqlx::query(sqlx::AssertSqlSafe(format!("PRAGMA application_id = {APPLICATION}")))
            .execute(&mut connection)
            .await
            .map_err(marking())?;
    }
    MIGRATIONS
        .run(&mut connection)
        .await
        .map_err(|error| StoreError::sql("bringing the schema up to date")(sqlx::Error::Migrate(Box::new(error))))?;
    Ok(connection)
}

/// Opens the writer's connection anew, to a file that is there and was migrated when it was first opened.
pub(crate) async fn reopen_writer(path: &Path) -> Result<SqliteConnection, StoreError> {
    options(path)
        .pragma("wal_autocheckpoint", CHECKPOINT_PAGES)
        .connect()
        .await
        .map_err(StoreError::sql("opening the database again"))
}

/// Opens a few connections for reading.
pub(crate) async fn open_readers(path: &Path, most: u32) -> Result<SqlitePool, StoreError> {
    SqlitePoolOptions::new()
        .max_connections(most)
        .acquire_timeout(Duration::from_secs(30))
        // there is no network between; asking first would be one more crossing to the connection's thread
        .test_before_acquire(false)
        .connect_with(options(path).pragma("query_only", "on"))
        .await
        .map_err(StoreError::sql("opening the database for reading"))
}

/// Opens one more connection that only reads, such as for a backup or a dump; the file's journal mode is left alone.
pub(crate) async fn open_apart(path: &Path) -> Result<SqliteConnection, StoreError> {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    // a connection that may not write leaves a log as it is, but it also leaves an empty one beside a database that had
    // none; one that may write takes that away when it is closed, and would write a log that is not empty into the file
    let has_log = std::fs::metadata(log).is_ok_and(|log| log.len() > 0);
    SqliteConnectOptions::new()
        .filename(path)
        .read_only(has_log)
        .busy_timeout(Duration::from_secs(10))
        .pragma("cache_size", CACHE_KIB)
        .disable_statement_logging()
        .connect()
        .await
        .map_err(StoreError::sql("opening the database"))
}
