//! The broker's side of the house: who is admitted, and what an enrolment does there.

use std::future::Future;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::Arc;

use broker::external::{ExternalFiles, password_line, write_atomically};
use broker::{BrokerError, Credentials, Embedded, Prefix};
use rustix::process::{Pid, Signal, kill_process};
use service::{BrokerFiles, FixtureId, Service, TakesEffect};
use tokio::sync::RwLock;

use crate::config::Secret;

type Settled<'a> = Pin<Box<dyn Future<Output = Result<TakesEffect, String>> + Send + 'a>>;

/// The house answers the embedded broker who may come in, from memory.
pub(crate) struct Admission(pub(crate) Arc<Service>);

impl Credentials for Admission {
    fn admits(&self, username: &str, secret: &[u8]) -> bool {
        self.0.admits(username, secret)
    }

    fn knows(&self, username: &str) -> bool {
        self.0.house().get(username).is_some()
    }
}

/// The embedded broker, once it runs. The house is opened first, since the broker asks it.
#[derive(Debug, Default, Clone)]
pub(crate) struct EmbeddedSide(Arc<RwLock<Option<Embedded>>>);

impl EmbeddedSide {
    pub(crate) async fn began(&self, broker: Embedded) {
        *self.0.write().await = Some(broker);
    }

    /// Stops the broker, if it runs.
    pub(crate) async fn stop(&self) {
        let broker = self.0.write().await.take();
        if let Some(broker) = broker {
            broker.stop().await;
        }
    }
}

impl BrokerFiles for EmbeddedSide {
    fn line(&self, _id: &str, _secret: &str) -> Result<Option<String>, String> {
        Ok(None)
    }

    fn settled<'a>(&'a self, id: &'a str, line: Option<&'a str>) -> Settled<'a> {
        Box::pin(async move {
            if let Some(broker) = self.0.read().await.as_ref() {
                match line {
                    Some(_) => broker.end_connections(id).await,
                    None => broker.forget(id).await,
                }
            }
            Ok(TakesEffect::AtOnce)
        })
    }
}

/// The files of an external broker.
#[derive(Debug)]
pub(crate) struct ExternalSide {
    files: Arc<ExternalFiles>,
    /// The file in which the broker leaves its process id, so that it can be told to read its files again.
    reload: Option<PathBuf>,
}

/// The broker's own user has to read the files: it gets at them through the folder's group.
const MODE: u32 = 0o640;

impl ExternalSide {
    pub(crate) fn new(folder: &Path, reload: Option<PathBuf>) -> Self {
        // made here when it is missing; whether it can be used is seen by the first file that goes into it
        let _ = std::fs::DirBuilder::new().recursive(true).mode(0o750).create(folder);
        Self { files: Arc::new(ExternalFiles::new(folder).with_mode(MODE)), reload }
    }

    /// Writes both files as the house has it, and has the broker read them. The password file is the daemon's own:
    /// lines under the name of a fixture that has none here are taken out; under other names they stay.
    pub(crate) fn begin(
        &self,
        prefix: &Prefix,
        username: &str,
        password: Option<&Secret>,
        enrolled: &[(FixtureId, String)],
    ) -> Result<(), BrokerError> {
        self.files.write_access(prefix, username)?;
        let path = self.files.password_path();
        let own = password.map(|password| password_line(username, password.reveal())).transpose()?;
        let old = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => String::new(),
            Err(source) => return Err(BrokerError::File { doing: "read", path, source }),
        };
        let Reconciled { text, gone } = reconciled(&old, username, own, enrolled);
        if !gone.is_empty() {
            let names = gone.join(", ");
            tracing::warn!(names, path = %path.display(), "the password file had lines of no enrolled fixture; they are gone");
        }
        if text != old || !path.exists() {
            write_atomically(&path, text.as_bytes(), MODE)?;
        }
        if let Some(pid_file) = &self.reload
            && let Err(why) = tell(pid_file)
        {
            tracing::info!(why, "the broker was not told to read its files again; it may not run yet");
        }
        Ok(())
    }

    /// Has the broker read its files again, where it is known how.
    fn told(reload: Option<&Path>, path: &Path) -> TakesEffect {
        let path = path.display();
        match reload.map(tell) {
            Some(Ok(())) => return TakesEffect::ReadingAgain,
            Some(Err(why)) => tracing::warn!(why, "the broker could not be told to read its files again"),
            None => {}
        }
        tracing::info!(%path, "the broker's password file has changed; let the broker read it again");
        TakesEffect::WhenReadAgain
    }
}

impl BrokerFiles for ExternalSide {
    fn line(&self, id: &str, secret: &str) -> Result<Option<String>, String> {
        password_line(id, secret).map(Some).map_err(|error| error.to_string())
    }

    fn settled<'a>(&'a self, id: &'a str, line: Option<&'a str>) -> Settled<'a> {
        let (files, id, line) = (Arc::clone(&self.files), id.to_owned(), line.map(ToOwned::to_owned));
        let reload = self.reload.clone();
        Box::pin(async move {
            let written = tokio::task::spawn_blocking(move || {
                match line {
                    Some(line) => files.set(&id, &line),
                    None => files.remove(&id).map(|_| ()),
                }
                .map(|()| Self::told(reload.as_deref(), &files.password_path()))
            });
            match written.await {
                Ok(settled) => settled.map_err(|error| error.to_string()),
                Err(error) => Err(error.to_string()),
            }
        })
    }
}

/// Sends SIGHUP to the process whose id is in the file.
fn tell(pid_file: &Path) -> Result<(), String> {
    let shown = pid_file.display();
    let text = std::fs::read_to_string(pid_file).map_err(|error| format!("{shown} cannot be read: {error}"))?;
    // 0 and below stand for groups of processes, 1 for all of the machine's
    let pid = text.trim().parse::<i32>().ok().filter(|pid| *pid > 1).and_then(Pid::from_raw);
    let pid = pid.filter(|pid| *pid != rustix::process::getpid());
    let pid = pid.ok_or_else(|| format!("{shown} holds no process id of a broker"))?;
    kill_process(pid, Signal::HUP).map_err(|error| format!("process {pid:?} of {shown} cannot be told: {error}"))
}

/// A password file as it should be, and whose lines are no longer in it.
struct Reconciled {
    text: String,
    gone: Vec<String>,
}

/// The password file with the line of the daemon (`own`, or the one that it had), of every enrolled fixture, and of
/// everybody whose name is none that a fixture could have.
fn reconciled(old: &str, username: &str, own: Option<String>, enrolled: &[(FixtureId, String)]) -> Reconciled {
    let mut gone = Vec::new();
    let mut kept = Vec::new();
    for line in old.lines() {
        let name = line.split_once(':').map_or("", |(name, _)| name);
        if name == username {
            // without a password of its own the daemon leaves alone what was put there for it
            if own.is_none() {
                kept.push(line);
            }
        } else if name.parse::<FixtureId>().is_err() {
            kept.push(line);
        } else if !enrolled.iter().any(|(id, _)| id.as_str() == name) {
            gone.push(name.to_owned());
        }
    }
    let of_fixtures = enrolled.iter().map(|(_, line)| line.as_str());
    let mut text = String::new();
    for line in kept.into_iter().chain(own.as_deref()).chain(of_fixtures) {
        text.push_str(line);
        text.push('\n');
    }
    Reconciled { text, gone }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn an_external_brokers_files_follow_enrolment_and_removal() {
        let folder = tempfile::tempdir().unwrap();
        let password = Secret::new("pinewood");
        let side = ExternalSide::new(folder.path(), None);
        side.begin(&Prefix::default(), "sconced", Some(&password), &[]).unwrap();
        let passwords = || std::fs::read_to_string(folder.path().join("passwords")).unwrap();
        assert!(passwords().starts_with("sconced:$") && !passwords().contains("pinewood"));
        let line = side.line("hall", "secret").unwrap();
        assert_eq!(side.settled("hall", line.as_deref()).await.unwrap(), TakesEffect::WhenReadAgain);
        assert_eq!(passwords().lines().count(), 2);
        assert!(passwords().contains(&line.unwrap()));
        side.settled("hall", None).await.unwrap();
        assert_eq!(passwords().lines().count(), 1);
        assert!(std::fs::read_to_string(folder.path().join("access")).unwrap().contains("user sconced"));
    }

    fn enrolled(names: &[&str]) -> Vec<(FixtureId, String)> {
        names.iter().map(|name| (name.parse().unwrap(), format!("{name}:$7$new"))).collect()
    }

    #[test]
    fn the_password_file_is_what_the_house_has_and_others_names_are_left_alone() {
        let old = "# by hand\nsconced:$7$old\nhall:$7$stale\nghost:$7$gone\nThe Owner:$7$kept\n";
        let own = Some("sconced:$7$fresh".to_owned());
        let new = reconciled(old, "sconced", own, &enrolled(&["hall", "stairs"]));
        let expected = "# by hand\nThe Owner:$7$kept\nsconced:$7$fresh\nhall:$7$new\nstairs:$7$new\n";
        assert_eq!((new.text.as_str(), new.gone), (expected, vec!["ghost".to_owned()]));
        // without a password the daemon's own line is the owner's matter
        let new = reconciled(old, "sconced", None, &[]);
        assert_eq!(new.text, "# by hand\nsconced:$7$old\nThe Owner:$7$kept\n");
        assert_eq!(new.gone, ["hall", "ghost"]);
        let again = reconciled(expected, "sconced", Some("sconced:$7$fresh".into()), &enrolled(&["hall", "stairs"]));
        assert_eq!((again.text.as_str(), again.gone.len()), (expected, 0));
    }

    #[test]
    fn what_is_no_process_id_of_a_broker_is_never_signalled() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("pid");
        assert!(tell(&file).unwrap_err().contains("cannot be read"));
        for text in ["", "0", "1", "-1", "-7", "x", "99999999999", &std::process::id().to_string()] {
            std::fs::write(&file, text).unwrap();
            assert!(tell(&file).unwrap_err().contains("no process id"), "{text}");
        }
    }
}
