//! The database that a restore replaces: how it is set aside, and what a restore that was cut off leaves behind. At
//! every moment a power cut leaves either the old database in its place, or the restored one, or a folder that
//! [`refuse_what_was_cut_off`] knows.

use std::io::Read as _;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::Timestamp;
use sqlx::{ConnectOptions as _, Connection as _};

use crate::backup::sync_folder;
use crate::error::StoreError;
use crate::schema::DATABASE;

/// What SQLite keeps beside a database while it is open, and after a crash.
const BESIDE: [&str; 3] = ["-wal", "-shm", "-journal"];

/// The first bytes of a database (sqlite.org/fileformat2.html, section 1.3).
const HEAD: &[u8; 16] = b"SQLite format 3\0";

/// What is added to the database's name for one that was set aside, before the time.
const ASIDE: &str = ".aside-";

pub(crate) fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

/// Where a restore prepares the database.
pub(crate) fn fresh_path(folder: &Path) -> PathBuf {
    folder.join(format!("{DATABASE}.restoring"))
}

/// Removes a database and what lies beside it, if it is there.
pub(crate) fn remove(path: &Path) -> Result<(), StoreError> {
    remove_file(path)?;
    remove_beside(path)
}

/// Removes what lies beside a database.
pub(crate) fn remove_beside(path: &Path) -> Result<(), StoreError> {
    BESIDE.iter().try_for_each(|suffix| remove_file(&with_suffix(path, suffix)))
}

fn remove_file(path: &Path) -> Result<(), StoreError> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(StoreError::io("removing", path)(error)),
        _ => Ok(()),
    }
}

/// Puts a prepared database in its place, and gives where the one that was there lies now.
pub(crate) async fn replace(path: &Path, fresh: &Path, now: Timestamp) -> Result<Option<PathBuf>, StoreError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let name = free_name(path, now);
    let aside = if !path.exists() {
        // a log without its database is of one that a restore before this set aside; it must not be read into this one
        let of = asides(folder)?.pop().filter(|aside| !taken(aside, &["-wal"])).unwrap_or(name);
        move_beside(path, &of)?;
        None
    } else if is_database(path).unwrap_or(false) && fold_log(path).await {
        // a second name first, then one rename over the old name: at no moment is there no database
        if std::fs::hard_link(path, &name).is_err() {
            std::fs::rename(path, &name).map_err(StoreError::io("setting aside", path))?;
        }
        Some(name)
    } else {
        // it cannot be made one file; the database goes first, since a log without it is known as such
        std::fs::rename(path, &name).map_err(StoreError::io("setting aside", path))?;
        move_beside(path, &name)?;
        Some(name)
    };
    sync_folder(folder)?;
    std::fs::rename(fresh, path).map_err(StoreError::io("putting in place", path))?;
    sync_folder(folder)?;
    Ok(aside)
}

/// A name for what is set aside, that nothing has.
fn free_name(path: &Path, now: Timestamp) -> PathBuf {
    let stamp = now.strftime("%Y%m%dT%H%M%SZ").to_string();
    let mut name = with_suffix(path, &format!("{ASIDE}{stamp}"));
    let mut n = 1_u64;
    while name.exists() || taken(&name, &BESIDE) {
        n += 1;
        name = with_suffix(path, &format!("{ASIDE}{stamp}-{n}"));
    }
    name
}

/// Whether something lies beside a database.
fn taken(path: &Path, suffixes: &[&str]) -> bool {
    suffixes.iter().any(|suffix| with_suffix(path, suffix).exists())
}

fn move_beside(from: &Path, to: &Path) -> Result<(), StoreError> {
    for suffix in BESIDE {
        let log = with_suffix(from, suffix);
        if log.exists() {
            std::fs::rename(&log, with_suffix(to, suffix)).map_err(StoreError::io("setting aside", &log))?;
        }
    }
    Ok(())
}

/// Whether a file begins as SQLite's databases do. SQLite clears away the log of one that does not.
pub(crate) fn is_database(path: &Path) -> std::io::Result<bool> {
    let mut head = Vec::with_capacity(HEAD.len());
    std::fs::File::open(path)?.take(16).read_to_end(&mut head)?;
    Ok(head == HEAD)
}

/// Has SQLite write a database's log into it, so that it is one file; whether it is.
pub(crate) async fn fold_log(path: &Path) -> bool {
    let options = sqlx::sqlite::SqliteConnectOptions::new()
        .filename(path)
        .busy_timeout(Duration::from_secs(10))
        .disable_statement_logging();
    let Ok(mut connection) = options.connect().await else { return false };
    // reading takes back what a rollback journal tells to
    let read = sqlx::query("SELECT count(*) FROM sqlite_schema").execute(&mut connection).await;
    let folded: Result<(i64, i64, i64), _> =
        sqlx::query_as("PRAGMA wal_checkpoint(TRUNCATE)").fetch_one(&mut connection).await;
    let closed = connection.close().await;
    read.is_ok() && matches!(folded, Ok((0, ..))) && closed.is_ok() && !taken(path, &BESIDE)
}

/// The databases that were set aside in a folder, oldest first.
fn asides(folder: &Path) -> Result<Vec<PathBuf>, StoreError> {
    let listing = || StoreError::io("listing", folder);
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(listing())? {
        let entry = entry.map_err(listing())?;
        let name = entry.file_name();
        let is_one = name
            .to_str()
            .and_then(|name| name.strip_prefix(DATABASE))
            .is_some_and(|rest| rest.starts_with(ASIDE) && !BESIDE.iter().any(|suffix| rest.ends_with(suffix)));
        if is_one {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}

/// Refuses a folder whose database is missing though there was one: made anew, the house would be empty.
///
/// # Errors
/// [`StoreError::NotThere`] with what to do.
pub(crate) fn refuse_what_was_cut_off(folder: &Path) -> Result<(), StoreError> {
    let path = folder.join(DATABASE);
    if path.exists() {
        return Ok(());
    }
    let mut asides = asides(folder)?;
    let newest = asides.last().cloned();
    asides.extend([fresh_path(folder), with_suffix(&path, "-wal")].into_iter().filter(|path| path.exists()));
    if asides.is_empty() {
        return Ok(());
    }
    let names: Vec<_> = asides.iter().filter_map(|path| path.file_name()?.to_str()).collect();
    let go_on = newest.map_or_else(String::new, |aside| {
        format!(", or give {} the name {DATABASE} to go on with what was there before", aside.display())
    });
    Err(StoreError::NotThere(format!(
        "the database {} is missing, but beside it there is {}, as a restore that was cut off leaves it: run `sconced \
         restore` again with the same backup{go_on}; for a new, empty house move these files elsewhere",
        path.display(),
        names.join(", ")
    )))
}

/// Clears away what a restore left that was cut off before it took effect: the half-made database, and the second name
/// of the database in its place. Call it under the folder's lock.
pub(crate) fn clear_what_was_cut_off(folder: &Path) -> Result<(), StoreError> {
    let path = folder.join(DATABASE);
    let Ok(database) = std::fs::metadata(&path) else { return Ok(()) };
    remove(&fresh_path(folder))?;
    for aside in asides(folder)? {
        let same = std::fs::symlink_metadata(&aside)
            .is_ok_and(|file| (file.dev(), file.ino()) == (database.dev(), database.ino()));
        if same {
            remove_file(&aside)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn the_old_database_keeps_its_place_until_the_new_one_takes_it() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(DATABASE);
        let connection = crate::schema::open_writer(&path).await.unwrap();
        connection.close().await.unwrap();
        let before = std::fs::read(&path).unwrap();
        // cut off at the last step: what was prepared cannot be put in place
        let cut = replace(&path, &fresh_path(folder.path()), Timestamp::UNIX_EPOCH).await;
        assert!(matches!(cut, Err(StoreError::Io { .. })), "{cut:?}");
        assert_eq!(std::fs::read(&path).unwrap(), before);
        assert_eq!(asides(folder.path()).unwrap().len(), 1);
        refuse_what_was_cut_off(folder.path()).unwrap();
        clear_what_was_cut_off(folder.path()).unwrap();
        assert_eq!(asides(folder.path()).unwrap(), Vec::<PathBuf>::new());
        assert_eq!(std::fs::read(&path).unwrap(), before);
        // one that is a file of its own stays
        std::fs::copy(&path, with_suffix(&path, ".aside-20260301T120000Z")).unwrap();
        clear_what_was_cut_off(folder.path()).unwrap();
        assert_eq!(asides(folder.path()).unwrap().len(), 1);
    }
}
