//! Putting a backup or a dump in the place of the database. The database that was there is kept aside.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sqlx::Connection;

use crate::aside::{self, fresh_path, remove, with_suffix};
use crate::backup::check;
use crate::error::StoreError;
use crate::load::{self, Loaded};
use crate::lock::FolderLock;
use crate::pen;
use crate::schema::{self, DATABASE};
use crate::store::{make_folder, make_private, private};
use crate::unsettled::ALL_AT_ONCE;

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

/// Restores a data folder from a backup file, from another database with its log, or from a dump (SQL text). The file
/// itself and what lies beside it are left as they are. Everything is published anew at the next start.
///
/// # Errors
/// [`StoreError::InUse`] while a daemon runs on the folder; [`StoreError::Damaged`], [`StoreError::NotOurs`] and
/// [`StoreError::Newer`] when the file fails its check. In all of these the folder is as it was.
pub async fn restore(from: &Path, folder: &Path, now: Timestamp) -> Result<Restored, StoreError> {
    make_folder(folder)?;
    let _lock = FolderLock::take(folder)?;
    let fresh = fresh_path(folder);
    if from.canonicalize().is_ok_and(|from| fresh.canonicalize().is_ok_and(|fresh| fresh == from)) {
        let detail = "it was left half-made by a restore that was cut off; restore from the backup itself".into();
        return Err(StoreError::NotOurs { path: from.into(), detail });
    }
    aside::clear_what_was_cut_off(folder)?;
    remove(&fresh)?;
    let prepared = prepare(from, &fresh, now).await;
    if prepared.is_err() {
        let _ = remove(&fresh);
    }
    let (fixtures, changes) = prepared?;
    let aside = aside::replace(&folder.join(DATABASE), &fresh, now).await?;
    Ok(Restored { aside, fixtures, changes })
}

async fn prepare(from: &Path, fresh: &Path, now: Timestamp) -> Result<(i64, i64), StoreError> {
    if aside::is_database(from).map_err(StoreError::io("reading", from))? {
        copy(from, fresh).await?;
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
    }
    check(fresh).await.map_err(|error| named(error, from))?;
    // brings it to the newest schema, and has everything published: the broker may hold what came after
    let mut connection = schema::open_writer(fresh).await?;
    // what could not be opened afterwards is better refused now; and what runs ahead is brought in
    let Loaded { house, outbox, numbers, mut unsettled, .. } = load::load(&mut connection, now).await?;
    while let Some(portion) = unsettled.portion(ALL_AT_ONCE, &house, &outbox, numbers) {
        let mark = portion.mark;
        pen::settle(&mut connection, portion).await?;
        unsettled.settled(mark);
    }
    let restoring = || StoreError::sql("preparing the restored database");
    sqlx::query(
        "INSERT OR REPLACE INTO outbox (fixture, ticket)
         SELECT key, (SELECT coalesce(max(id), 1) FROM history) FROM fixture WHERE deleted IS NULL",
    )
    .execute(&mut connection)
    .await
    .map_err(restoring())?;
    // fixtures may hold revisions of after this backup, which will be given anew with other content
    sqlx::query(
        "INSERT INTO life (fixture, applied, boots_heard, fresh, doubted, count)
         SELECT key, 0, 0, 1, 1, 1 FROM fixture WHERE deleted IS NULL
         ON CONFLICT (fixture) DO UPDATE SET applied = 0, fresh = 1, doubted = 1, count = count + 1",
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
    aside::remove_beside(fresh)?;
    let file = std::fs::File::open(fresh).map_err(StoreError::io("opening", fresh))?;
    file.sync_all().map_err(StoreError::io("writing out", fresh))?;
    Ok(counts)
}

/// Copies a database and its log, which may hold what was committed last, and makes them one file.
async fn copy(from: &Path, fresh: &Path) -> Result<(), StoreError> {
    let logs: Vec<&str> = ["-wal", "-journal"]
        .into_iter()
        .filter(|suffix| std::fs::metadata(with_suffix(from, suffix)).is_ok_and(|log| log.len() > 0))
        .collect();
    let state = || -> Vec<_> {
        let files = std::iter::once(from.to_owned()).chain(logs.iter().map(|suffix| with_suffix(from, suffix)));
        files.map(|path| std::fs::metadata(path).and_then(|file| Ok((file.len(), file.modified()?))).ok()).collect()
    };
    let damaged = |detail: &str| StoreError::Damaged { path: from.into(), detail: detail.into() };
    let before = state();
    std::fs::copy(from, fresh).map_err(StoreError::io("copying", from))?;
    private(fresh)?;
    for suffix in &logs {
        let (log, to) = (with_suffix(from, suffix), with_suffix(fresh, suffix));
        std::fs::copy(&log, &to).map_err(StoreError::io("copying", &log))?;
        private(&to)?;
    }
    if state() != before {
        return Err(damaged("another program wrote to it while it was read"));
    }
    if !logs.is_empty() && !aside::fold_log(fresh).await {
        return Err(damaged("what its log holds cannot be written into it"));
    }
    Ok(())
}

/// The same error of the file that the owner named, not of its copy.
fn named(error: StoreError, from: &Path) -> StoreError {
    match error {
        StoreError::NotOurs { detail, .. } => StoreError::NotOurs { path: from.into(), detail },
        StoreError::Damaged { detail, .. } => StoreError::Damaged { path: from.into(), detail },
        other => other,
    }
}
