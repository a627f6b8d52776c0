//! Where a running daemon is, for the commands of the same user on the same machine.
//!
//! The daemon leaves `daemon.json` in its data folder; a demo leaves the same in a folder of the user's own as well.
//! Both hold a token and can be read by their owner alone.

use std::io::ErrorKind;
use std::os::unix::fs::{DirBuilderExt as _, MetadataExt as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

/// Where a running daemon is.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Whereabouts {
    /// Its HTTP address, such as `http://127.0.0.1:8470`.
    pub http: String,
    /// Its process id.
    pub pid: u32,
    /// The token of this start.
    pub token: String,
    /// Its data folder.
    pub data: PathBuf,
}

/// The token stays out of logs.
impl std::fmt::Debug for Whereabouts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { http, pid, data, .. } = self;
        f.debug_struct("Whereabouts").field("http", http).field("pid", pid).field("data", data).finish_non_exhaustive()
    }
}

/// The file's name in a data folder.
const IN_DATA: &str = "daemon.json";
/// The file's name in the user's own folder.
const CURRENT: &str = "current.json";

impl Whereabouts {
    /// The file of a data folder.
    #[must_use]
    pub fn path(data: &Path) -> PathBuf {
        data.join(IN_DATA)
    }

    /// Leaves it in the data folder, readable by its owner alone.
    ///
    /// # Errors
    /// What the file system says.
    pub fn leave(&self, data: &Path) -> Result<(), String> {
        self.write(&Self::path(data))
    }

    /// Leaves it in a folder of the user's own, so that it is found without naming the data folder.
    ///
    /// # Errors
    /// Why no such folder can be used.
    pub fn leave_for_user(&self) -> Result<PathBuf, String> {
        let mut why = "there is no folder for temporary files".to_owned();
        for folder in user_folders() {
            match own_folder(&folder) {
                Ok(()) => {
                    let path = folder.join(CURRENT);
                    return self.write(&path).map(|()| path);
                }
                Err(error) => why = error,
            }
        }
        Err(why)
    }

    fn write(&self, path: &Path) -> Result<(), String> {
        let text = serde_json::to_vec(self).map_err(|error| error.to_string())?;
        broker::external::write_atomically(path, &text, 0o600).map_err(|error| error.to_string())
    }

    /// Takes a file away that was left, if it is still this daemon's.
    pub fn take_away(&self, path: &Path) {
        if read(path).as_ref() == Some(self) {
            // a file that stays is found to lead nowhere, and said so
            let _ = std::fs::remove_file(path);
        }
    }

    /// The daemon of a data folder, if its file says that there is one.
    #[must_use]
    pub fn of_data(data: &Path) -> Option<Self> {
        read(&Self::path(data))
    }

    /// The demo that runs for this user, if there is one. One that was killed left word behind too, and is passed over.
    #[must_use]
    pub fn of_user() -> Option<Self> {
        let folders = user_folders().into_iter().filter(|folder| is_own(folder).is_ok());
        folders.filter_map(|folder| read(&folder.join(CURRENT))).find(|left| is_alive(left.pid))
    }
}

/// Whether a process of that id is there, whoever's it is.
fn is_alive(pid: u32) -> bool {
    let pid = i32::try_from(pid).ok().and_then(rustix::process::Pid::from_raw);
    pid.is_some_and(|pid| {
        let asked = rustix::process::test_kill_process(pid);
        asked.is_ok() || asked == Err(rustix::io::Errno::PERM)
    })
}

fn read(path: &Path) -> Option<Whereabouts> {
    serde_json::from_slice(&std::fs::read(path).ok()?).ok()
}

/// Where the user's own folder may be, the best first.
fn user_folders() -> Vec<PathBuf> {
    let user = rustix::process::geteuid().as_raw();
    let runtime = std::env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from).filter(|path| path.is_absolute());
    runtime.into_iter().chain([std::env::temp_dir()]).map(|path| path.join(format!("sconced-{user}"))).collect()
}

/// Makes the folder, or checks that the one that is there is the user's own.
fn own_folder(folder: &Path) -> Result<(), String> {
    match std::fs::DirBuilder::new().mode(0o700).create(folder) {
        Ok(()) => is_own(folder),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => is_own(folder),
        Err(error) => Err(format!("{} cannot be made: {error}", folder.display())),
    }
}

/// Folders for temporary files are open to all users, so another may have put a folder or a link of that name there.
fn is_own(folder: &Path) -> Result<(), String> {
    let shown = folder.display();
    let metadata = std::fs::symlink_metadata(folder).map_err(|error| format!("{shown}: {error}"))?;
    let own =
        metadata.is_dir() && metadata.uid() == rustix::process::geteuid().as_raw() && metadata.mode() & 0o077 == 0;
    if own { Ok(()) } else { Err(format!("{shown} is not a folder of this user alone; take it away")) }
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    fn here(data: &Path) -> Whereabouts {
        Whereabouts { http: "http://127.0.0.1:8470".into(), pid: 7, token: "t".into(), data: data.into() }
    }

    #[test]
    fn what_is_left_is_found_readable_by_its_owner_alone_and_taken_away() {
        let folder = tempfile::tempdir().unwrap();
        let left = here(folder.path());
        left.leave(folder.path()).unwrap();
        let path = Whereabouts::path(folder.path());
        assert_eq!(std::fs::metadata(&path).unwrap().mode() & 0o777, 0o600);
        assert_eq!(Whereabouts::of_data(folder.path()), Some(left.clone()));
        Whereabouts { pid: 8, ..left.clone() }.take_away(&path);
        assert!(path.exists(), "it was another's");
        left.take_away(&path);
        assert!(!path.exists());
    }

    #[test]
    fn a_folder_that_others_may_enter_and_a_link_are_refused() {
        let parent = tempfile::tempdir().unwrap();
        let folder = parent.path().join("own");
        own_folder(&folder).unwrap();
        own_folder(&folder).unwrap();
        let link = parent.path().join("link");
        std::os::unix::fs::symlink(&folder, &link).unwrap();
        assert!(own_folder(&link).is_err());
        std::fs::set_permissions(&folder, std::fs::Permissions::from_mode(0o750)).unwrap();
        assert!(own_folder(&folder).unwrap_err().contains("not a folder of this user alone"));
    }

    #[test]
    fn a_process_that_has_ended_is_not_alive() {
        assert!(is_alive(std::process::id()));
        let mut child = std::process::Command::new("true").spawn().unwrap();
        child.wait().unwrap();
        assert!(!is_alive(child.id()));
        assert!(!is_alive(0) && !is_alive(u32::MAX));
    }

    #[test]
    fn the_token_is_not_shown_in_debug_output() {
        let shown = format!("{:?}", Whereabouts { token: "pinewood".into(), ..here(Path::new("/d")) });
        assert!(!shown.contains("pinewood"), "{shown}");
    }
}
