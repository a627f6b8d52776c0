//! Kinds of the owner's, read from the folder `kinds` of the data folder.

use std::path::Path;

use kernel::Kinds;
use store::Store;

use crate::error::ServiceError;

/// Reads `kinds/*.json`.
///
/// # Errors
/// [`ServiceError::Kind`] for a file that cannot be read or is no schema.
pub(crate) fn read_kinds(data: &Path) -> Result<Kinds, ServiceError> {
    let mut kinds = Kinds::default();
    let folder = data.join("kinds");
    let unreadable = |path: &Path, error: std::io::Error| ServiceError::Kind {
        path: path.to_owned(),
        why: error.to_string(),
        advice: "let this user read it",
    };
    let entries = match std::fs::read_dir(&folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(kinds),
        Err(error) => return Err(unreadable(&folder, error)),
    };
    for entry in entries.filter_map(Result::ok) {
        let path = entry.path();
        if path.extension().is_none_or(|extension| extension != "json") {
            continue;
        }
        let name = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default().to_owned();
        let schema = std::fs::read(&path).map_err(|error| unreadable(&path, error))?;
        kinds.describe(&name, &schema).map_err(|error| ServiceError::Kind {
            path: path.clone(),
            why: error.to_string(),
            advice: "mend it, or take it out of the folder",
        })?;
    }
    Ok(kinds)
}

/// A fixture whose kind is gone would accept nothing any more; better said at start than at the first edit.
///
/// # Errors
/// [`ServiceError::Kind`] with the file that is missing.
pub(crate) fn check_kinds(store: &Store) -> Result<(), ServiceError> {
    for fixture in store.house().all() {
        let kind = &fixture.record.kind;
        if store.rules().kinds.get(kind).is_none() {
            return Err(ServiceError::Kind {
                path: store.folder().join("kinds").join(format!("{kind}.json")),
                why: format!("it is missing, and the fixture {} is of kind {kind}", fixture.id),
                advice: "put it back",
            });
        }
    }
    Ok(())
}
