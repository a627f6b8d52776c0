//! One daemon a folder: an advisory lock that the system releases when the process ends, however it ends.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use crate::error::StoreError;

/// Holds a data folder for as long as it lives.
#[derive(Debug)]
pub struct FolderLock {
    _file: File,
}

impl FolderLock {
    /// Takes the folder.
    ///
    /// # Errors
    /// [`StoreError::InUse`] with the holder's process id when another process has it; [`StoreError::Io`].
    pub fn take(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join("lock");
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(StoreError::io("opening", &path))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut holder = String::new();
                let _ = Read::by_ref(&mut file).take(64).read_to_string(&mut holder);
                let holder = holder.trim();
                let holder = if holder.is_empty() { "unknown".to_owned() } else { format!("process {holder}") };
                return Err(StoreError::InUse { folder: folder.into(), holder });
            }
            Err(TryLockError::Error(error)) => return Err(StoreError::io("locking", &path)(error)),
        }
        // who holds it is a courtesy to the next one who asks; the lock itself does not depend on it
        let _ = file.set_len(0);
        let _ = file.seek(SeekFrom::Start(0));
        let _ = writeln!(file, "{}", std::process::id());
        Ok(Self { _file: file })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_held_once_and_its_holder_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let held = FolderLock::take(folder.path()).unwrap();
        let Err(StoreError::InUse { holder, .. }) = FolderLock::take(folder.path()) else { panic!("held twice") };
        assert_eq!(holder, format!("process {}", std::process::id()));
        drop(held);
        assert!(FolderLock::take(folder.path()).is_ok());
    }
}
