//! Opening the house: what the service needs from the configuration, with the broker's side beside it.

use std::path::PathBuf;
use std::sync::Arc;

use broker::Prefix;
use service::{BrokerFiles, Clock, Service, ServiceOptions};

use super::broker_side::{EmbeddedSide, ExternalSide};
use crate::config::{BrokerUrl, Secret, Settings};
use crate::error::Failure;

/// Which broker the daemon goes to.
#[derive(Debug, Clone)]
pub(crate) enum BrokerChoice {
    /// The one inside, once it runs.
    Embedded(EmbeddedSide),
    /// One that runs on its own.
    External { url: BrokerUrl, username: Option<String>, password: Option<Secret> },
}

/// An open house.
#[derive(Debug)]
pub(crate) struct OpenHouse {
    pub(crate) service: Arc<Service>,
    pub(crate) broker: BrokerChoice,
    pub(crate) prefix: Prefix,
    /// The data folder, absolute.
    pub(crate) data: PathBuf,
}

impl OpenHouse {
    /// Opens the house of the configured data folder.
    pub(crate) async fn open(settings: &Settings, clock: Clock) -> Result<Self, Failure> {
        let data = &settings.data.folder;
        let prefix = Prefix::parse(&settings.broker.prefix).map_err(|error| Failure::Usage(error.to_string()))?;
        let (broker, files) = broker_of(settings, &prefix)?;
        let service = Service::open(ServiceOptions {
            folder: data.clone(),
            clock,
            backups: settings.backups.options(data),
            broker_files: files,
        })
        .await?;
        let data = std::path::absolute(data).unwrap_or_else(|_| data.clone());
        Ok(Self { service, broker, prefix, data })
    }
}

type Files = Option<Arc<dyn BrokerFiles>>;

fn broker_of(settings: &Settings, prefix: &Prefix) -> Result<(BrokerChoice, Files), Failure> {
    let Some(url) = settings.broker.external() else {
        let side = EmbeddedSide::default();
        return Ok((BrokerChoice::Embedded(side.clone()), Some(Arc::new(side))));
    };
    let password = settings.broker.read_password()?;
    let username = settings.broker.login_name();
    let files: Files = match (&settings.broker.files, &username) {
        (Some(folder), Some(username)) => {
            let side = ExternalSide::begin(folder, prefix, username, password.as_ref()).map_err(|error| {
                crate::config::Fault::new(
                    "broker.files",
                    error.to_string(),
                    "name a folder that this user may write to",
                )
            })?;
            Some(Arc::new(side))
        }
        _ => None,
    };
    Ok((BrokerChoice::External { url, username, password }, files))
}
