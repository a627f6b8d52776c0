//! The broker's side of the house: who is admitted, and what an enrolment does there.

use std::future::Future;
use std::os::unix::fs::DirBuilderExt;
use std::pin::Pin;
use std::sync::Arc;

use broker::external::{ExternalFiles, password_line};
use broker::{BrokerError, Credentials, Embedded, Prefix};
use service::{BrokerFiles, Service};
use tokio::sync::RwLock;

use crate::config::Secret;

type Settled<'a> = Pin<Box<dyn Future<Output = Result<(), String>> + Send + 'a>>;

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
            Ok(())
        })
    }
}

/// The files of an external broker.
#[derive(Debug)]
pub(crate) struct ExternalSide(Arc<ExternalFiles>);

/// The broker's own user has to read the files: it gets at them through the folder's group.
const MODE: u32 = 0o640;

impl ExternalSide {
    /// Writes what does not depend on any fixture: the access file and the daemon's own line.
    pub(crate) fn begin(
        folder: &std::path::Path,
        prefix: &Prefix,
        username: &str,
        password: Option<&Secret>,
    ) -> Result<Self, BrokerError> {
        // made here when it is missing; whether it can be used is seen by the first file that goes into it
        let _ = std::fs::DirBuilder::new().recursive(true).mode(0o750).create(folder);
        let files = ExternalFiles::new(folder).with_mode(MODE);
        files.write_access(prefix, username)?;
        if let Some(password) = password {
            files.set(username, &password_line(username, password.reveal())?)?;
        }
        Ok(Self(Arc::new(files)))
    }
}

impl BrokerFiles for ExternalSide {
    fn line(&self, id: &str, secret: &str) -> Result<Option<String>, String> {
        password_line(id, secret).map(Some).map_err(|error| error.to_string())
    }

    fn settled<'a>(&'a self, id: &'a str, line: Option<&'a str>) -> Settled<'a> {
        let (files, id, line) = (Arc::clone(&self.0), id.to_owned(), line.map(ToOwned::to_owned));
        Box::pin(async move {
            let path = files.password_path();
            let written = tokio::task::spawn_blocking(move || match line {
                Some(line) => files.set(&id, &line),
                None => files.remove(&id).map(|_| ()),
            });
            match written.await {
                Ok(Ok(())) => {
                    let path = path.display();
                    tracing::info!(%path, "the broker's password file has changed; let the broker read it again");
                    Ok(())
                }
                Ok(Err(error)) => Err(error.to_string()),
                Err(error) => Err(error.to_string()),
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn an_external_brokers_files_follow_enrolment_and_removal() {
        let folder = tempfile::tempdir().unwrap();
        let password = Secret::new("pinewood");
        let side = ExternalSide::begin(folder.path(), &Prefix::default(), "sconced", Some(&password)).unwrap();
        let passwords = || std::fs::read_to_string(folder.path().join("passwords")).unwrap();
        assert!(passwords().starts_with("sconced:$") && !passwords().contains("pinewood"));
        let line = side.line("hall", "secret").unwrap();
        side.settled("hall", line.as_deref()).await.unwrap();
        assert_eq!(passwords().lines().count(), 2);
        assert!(passwords().contains(&line.unwrap()));
        side.settled("hall", None).await.unwrap();
        assert_eq!(passwords().lines().count(), 1);
        assert!(std::fs::read_to_string(folder.path().join("access")).unwrap().contains("user sconced"));
    }
}
