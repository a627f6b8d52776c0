//! Backups: made while serving, checked after they are made, rotated.

use std::path::{Path, PathBuf};

use jiff::Timestamp;
use sqlx::{Connection, SqliteConnection};

use crate::error::StoreError;
use crate::lock::FolderLock;
use crate::schema::{self, DATABASE};
use crate::store::{Store, make_folder, make_private, private};

/// How backups are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackupOptions {
    /// The folder.
    pub folder: PathBuf,
    /// How many are kept; older ones go when a new one is good.
    pub keep: usize,
}

/// A backup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Backup {
    /// Its file name.
    pub name: String,
    /// When it was made.
    pub at: Timestamp,
    /// Its size in bytes.
    pub bytes: u64,
}

const PREFIX: &str = "sconced-";
const SUFFIX: &str = ".sqlite";

/// The name of a backup of that time; sorts by time and is safe on every file system.
fn name_of(at: Timestamp) -> String {
    format!("{PREFIX}{}{SUFFIX}", at.strftime("%Y%m%dT%H%M%S%3fZ"))
}

impl Store {
    /// Makes a backup of the database as it is now, checks it, and drops those that are too many. The one that was made
    /// is never among these; one that is dated in the future counts as the oldest, since its clock was wrong.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when the copy fails its check (it is taken away again), [`StoreError::Full`], and what
    /// SQLite and the file system say.
    pub async fn back_up(&self, options: &BackupOptions, now: Timestamp) -> Result<Backup, StoreError> {
        back_up(self.path(), options, now).await
    }
}

/// The same for a folder that no daemon serves. The database is not migrated: a backup made before a newer version
/// takes a house over is of the version before.
///
/// # Errors
/// [`StoreError::NotThere`] when there is no database, [`StoreError::InUse`] while a daemon runs on the folder,
/// [`StoreError::NotOurs`], [`StoreError::Newer`], and those of [`Store::back_up`].
pub async fn back_up_file(folder: &Path, options: &BackupOptions, now: Timestamp) -> Result<Backup, StoreError> {
    let path = folder.join(DATABASE);
    if !path.exists() {
        return Err(StoreError::NotThere(format!(
            "there is no database {}; name the folder of the house to be backed up",
            path.display()
        )));
    }
    let _lock = FolderLock::take(folder)?;
    schema::read_version(&path).await?;
    back_up(&path, options, now).await
}

async fn back_up(database: &Path, options: &BackupOptions, now: Timestamp) -> Result<Backup, StoreError> {
    let folder = &options.folder;
    make_folder(folder)?;
    drop_halves(folder);
    let name = name_of(now);
    let (path, part) = (folder.join(&name), folder.join(format!("{name}.part")));
    let made = copy(database, &part).await;
    if made.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    made?;
    private(&part)?;
    std::fs::rename(&part, &path).map_err(StoreError::io("naming the backup", &path))?;
    sync_folder(folder)?;
    let bytes = std::fs::metadata(&path).map_err(StoreError::io("reading", &path))?.len();
    let mut others: Vec<Backup> = list(folder)?.into_iter().filter(|backup| backup.name != name).collect();
    others.sort_by_key(|backup| backup.at > now);
    for old in others.into_iter().skip(options.keep.saturating_sub(1)) {
        let old = folder.join(old.name);
        std::fs::remove_file(&old).map_err(StoreError::io("dropping the old backup", &old))?;
    }
    Ok(Backup { name, at: now, bytes })
}

async fn copy(database: &Path, part: &Path) -> Result<(), StoreError> {
    let _ = std::fs::remove_file(part);
    make_private(part)?;
    let text = part.to_str().ok_or_else(|| StoreError::NotThere("the backup folder's path is not UTF-8".into()))?;
    let mut connection = schema::open_apart(database).await?;
    let copied = sqlx::query("VACUUM INTO ?").bind(text).execute(&mut connection).await;
    let _ = connection.close().await;
    copied.map_err(StoreError::sql("copying the database"))?;
    let file = std::fs::File::open(part).map_err(StoreError::io("opening", part))?;
    file.sync_all().map_err(StoreError::io("writing out", part))?;
    check(part).await
}

/// Takes away what backups left that were cut off by a crash; one that cannot be taken away is in nobody's way.
fn drop_halves(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for path in entries.filter_map(Result::ok).map(|entry| entry.path()) {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        if name.starts_with(PREFIX) && name.ends_with(".part") {
            let _ = std::fs::remove_file(&path);
        }
    }
}

/// The backups of a folder, newest first.
///
/// # Errors
/// What the file system says; a folder that is not there has none.
pub(crate) fn list(folder: &Path) -> Result<Vec<Backup>, StoreError> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(StoreError::io("listing the backups in", folder)(error)),
    };
    let mut backups: Vec<Backup> = entries
        .filter_map(Result::ok)
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let time = name.strip_prefix(PREFIX)?.strip_suffix(SUFFIX)?;
            let at = jiff::civil::DateTime::strptime("%Y%m%dT%H%M%S%.3fZ", insert_point(time)?).ok()?;
            let at = jiff::tz::TimeZone::UTC.to_timestamp(at).ok()?;
            Some(Backup { bytes: entry.metadata().ok()?.len(), name, at })
        })
        .collect();
    backups.sort_by(|a, b| b.name.cmp(&a.name));
    Ok(backups)
}

/// `20261125T220000123Z` with the point before its milliseconds.
fn insert_point(time: &str) -> Option<String> {
    let (seconds, rest) = time.split_at_checked("20261125T220000".len())?;
    Some(format!("{seconds}.{rest}"))
}

impl Store {
    /// The backups of a folder, newest first.
    ///
    /// # Errors
    /// What the file system says.
    pub fn backups(&self, options: &BackupOptions) -> Result<Vec<Backup>, StoreError> {
        list(&options.folder)
    }
}

/// Checks a database file: it is ours, not too new, and sound.
pub(crate) async fn check(path: &Path) -> Result<(), StoreError> {
    let version = schema::read_version(path).await?;
    if version == 0 {
        return Err(StoreError::NotOurs { path: path.into(), detail: "it is empty".into() });
    }
    let damaged = |detail: String| StoreError::Damaged { path: path.into(), detail };
    let mut connection = sqlx::sqlite::SqliteConnectOptions::new().filename(path).read_only(true).immutable(true);
    connection = sqlx::ConnectOptions::disable_statement_logging(connection);
    let mut connection: SqliteConnection =
        sqlx::ConnectOptions::connect(&connection).await.map_err(|error| damaged(error.to_string()))?;
    let findings = findings(&mut connection, path).await;
    let _ = connection.close().await;
    let findings = findings.map_err(|error| damaged(error.to_string()))?;
    if findings.is_empty() { Ok(()) } else { Err(damaged(findings.join("; "))) }
}

/// What is wrong with a database: first SQLite's own check of its structure, then whether every document and every
/// step of history still is JSON, since SQLite keeps no checksum of what it holds.
async fn findings(connection: &mut SqliteConnection, path: &Path) -> Result<Vec<String>, sqlx::Error> {
    let (size,): (i64,) = sqlx::query_as("PRAGMA page_size").fetch_one(&mut *connection).await?;
    let (pages,): (i64,) = sqlx::query_as("PRAGMA page_count").fetch_one(&mut *connection).await?;
    let length = std::fs::metadata(path).map(|file| i64::try_from(file.len()).unwrap_or(i64::MAX))?;
    // SQLite takes the missing end of a last page for zeros
    if length % size != 0 || length / size < pages {
        return Ok(vec![format!("it was cut short: {length} bytes are not {pages} pages of {size}")]);
    }
    let structure: Vec<(String,)> = sqlx::query_as("PRAGMA integrity_check(5)").fetch_all(&mut *connection).await?;
    if !matches!(structure.as_slice(), [(ok,)] if ok == "ok") {
        return Ok(structure.into_iter().map(|(text,)| text).collect());
    }
    let unreadable: Vec<(String,)> = sqlx::query_as(
        "SELECT * FROM (SELECT 'document ' || slot || ' is not JSON' FROM document WHERE NOT json_valid(body) LIMIT 2)
         UNION ALL
         SELECT * FROM (SELECT 'snapshot ' || slot || '/' || revision || ' is not JSON' FROM snapshot
                        WHERE NOT json_valid(body) LIMIT 2)
         UNION ALL
         SELECT * FROM (SELECT 'row ' || id || ' of history is not JSON' FROM history
                        WHERE NOT json_valid(patch) OR NOT json_valid(inverse) LIMIT 2)",
    )
    .fetch_all(connection)
    .await?;
    Ok(unreadable.into_iter().map(|(text,)| text).collect())
}

/// Writes a folder's entries out, so that a new name outlasts a power cut.
pub(crate) fn sync_folder(folder: &Path) -> Result<(), StoreError> {
    std::fs::File::open(folder).and_then(|folder| folder.sync_all()).map_err(StoreError::io("writing out", folder))
}
