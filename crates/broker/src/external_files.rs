//! The files themselves: written whole or not at all, readable by their owner only.

use crate::BrokerError;
use crate::external::{access_file, check_username};
use crate::topics::Prefix;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// The owner reads and writes, nobody else does anything.
const OWNER_ONLY: u32 = 0o600;

/// The password file and the access file of an external broker, in one folder: `passwords` and `access`.
///
/// After a change the broker must be told to read them again (mosquitto: SIGHUP). It reads them as its own user: give
/// them to its group with [`ExternalFiles::with_mode`], or run both under one user.
///
/// The calls read and write small files and wait for the disk: from asynchronous code, call them where blocking is
/// allowed.
#[derive(Debug)]
pub struct ExternalFiles {
    folder: PathBuf,
    mode: u32,
    /// Changes are made one after the other: each reads the file, changes a line and writes it.
    changing: Mutex<()>,
}

impl ExternalFiles {
    /// Files in this folder, which must exist. They are made with mode 0600.
    #[must_use]
    pub fn new(folder: impl Into<PathBuf>) -> Self {
        Self { folder: folder.into(), mode: OWNER_ONLY, changing: Mutex::new(()) }
    }

    /// The same with another mode, 0640 for one. Only the permission bits count, and only on Unix.
    #[must_use]
    pub fn with_mode(mut self, mode: u32) -> Self {
        self.mode = mode & 0o777;
        self
    }

    /// The password file (mosquitto: `password_file`).
    #[must_use]
    pub fn password_path(&self) -> PathBuf {
        self.folder.join("passwords")
    }

    /// The access file (mosquitto: `acl_file`).
    #[must_use]
    pub fn access_path(&self) -> PathBuf {
        self.folder.join("access")
    }

    /// Writes the access file.
    ///
    /// # Errors
    /// [`BrokerError::Username`] for a `daemon_user` that cannot stand in it, [`BrokerError::File`] if it cannot be
    /// written.
    pub fn write_access(&self, prefix: &Prefix, daemon_user: &str) -> Result<(), BrokerError> {
        let text = access_file(prefix, daemon_user)?;
        let _changing = self.changing.lock().unwrap_or_else(PoisonError::into_inner);
        write_atomically(&self.access_path(), text.as_bytes(), self.mode)
    }

    /// Puts the line that [`password_line`](crate::external::password_line) made for `username` into the password
    /// file, in place of the line that it had. Other lines stay as they are.
    ///
    /// # Errors
    /// [`BrokerError::PasswordLine`] if the line is not `username`'s, [`BrokerError::Username`] if the username cannot
    /// stand in the file, [`BrokerError::File`] if the file cannot be read or written.
    pub fn set(&self, username: &str, line: &str) -> Result<(), BrokerError> {
        check_username(username)?;
        let fits = line
            .strip_prefix(username)
            .and_then(|rest| rest.strip_prefix(':'))
            .is_some_and(|hash| hash.starts_with('$') && !hash.contains(char::is_control));
        if !fits {
            return Err(BrokerError::PasswordLine(username.to_owned()));
        }
        self.change(username, Some(line)).map(|_| ())
    }

    /// Takes `username`'s line out of the password file. Answers whether there was one.
    ///
    /// # Errors
    /// [`BrokerError::Username`] if the username cannot stand in the file, [`BrokerError::File`] if the file cannot be
    /// read or written.
    pub fn remove(&self, username: &str) -> Result<bool, BrokerError> {
        check_username(username)?;
        self.change(username, None)
    }

    fn change(&self, username: &str, line: Option<&str>) -> Result<bool, BrokerError> {
        let _changing = self.changing.lock().unwrap_or_else(PoisonError::into_inner);
        let path = self.password_path();
        let old = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(source) if source.kind() == ErrorKind::NotFound => String::new(),
            Err(source) => {
                return Err(BrokerError::File { doing: "read", path, source });
            }
        };
        let is_theirs = |entry: &str| entry.split_once(':').is_some_and(|(user, _)| user == username);
        let had = old.lines().any(is_theirs);
        if line.is_none() && !had {
            return Ok(false);
        }
        let mut new = String::with_capacity(old.len() + 160);
        let mut to_place = line;
        for entry in old.lines() {
            let entry = if is_theirs(entry) { to_place.take() } else { Some(entry) };
            for entry in entry.into_iter().chain(None) {
                new.push_str(entry);
                new.push('\n');
            }
        }
        if let Some(line) = to_place {
            new.push_str(line);
            new.push('\n');
        }
        write_atomically(&path, new.as_bytes(), self.mode)?;
        Ok(had)
    }
}

/// Writes a file so that it is there whole, with its old or its new content, whenever somebody looks and after a power
/// cut: into a new file beside it, to the disk, then renamed over it. `mode` is its Unix permission bits; elsewhere
/// they are not used.
///
/// # Errors
/// [`BrokerError::File`] if any step fails (the old file is then untouched), [`BrokerError::Random`] if the system
/// gives no random name for the new file.
pub fn write_atomically(path: &Path, contents: &[u8], mode: u32) -> Result<(), BrokerError> {
    let mut random = [0_u8; 8];
    getrandom::fill(&mut random).map_err(|error| BrokerError::Random(error.to_string()))?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let beside = path.with_file_name(format!(".{name}.{:016x}", u64::from_be_bytes(random)));
    let written = write_new(&beside, contents, mode).and_then(|()| std::fs::rename(&beside, path));
    if let Err(source) = written {
        // What is left of it is of no use; that it cannot be removed either adds nothing to the error.
        let _ = std::fs::remove_file(&beside);
        return Err(BrokerError::File { doing: "write", path: path.to_owned(), source });
    }
    sync_folder(path).map_err(|source| BrokerError::File { doing: "write", path: path.to_owned(), source })
}

fn write_new(path: &Path, contents: &[u8], mode: u32) -> std::io::Result<()> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, OWNER_ONLY);
    let mut file = options.open(path)?;
    // Set after opening, so that neither the umask takes bits away nor anybody reads before it is meant.
    #[cfg(unix)]
    file.set_permissions(std::os::unix::fs::PermissionsExt::from_mode(mode))?;
    #[cfg(not(unix))]
    let _ = mode;
    file.write_all(contents)?;
    file.sync_all()
}

/// Makes the renaming durable. Only Unix can and needs to.
fn sync_folder(path: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        std::fs::File::open(folder.unwrap_or(Path::new(".")))?.sync_all()?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}
