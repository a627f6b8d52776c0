//! Opening the house: what the service needs from the configuration, with the broker's side beside it.

use std::path::PathBuf;
use std::sync::Arc;

use broker::Prefix;
use service::{BrokerFiles, Clock, Service, ServiceOptions};

use super::broker_side::{EmbeddedSide, ExternalSide};
use crate::config::{Broker, BrokerUrl, Fault, Secret, Settings};
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
        let (broker, side) = broker_of(settings)?;
        let own = own_names(settings);
        let service = Service::open(ServiceOptions {
            folder: data.clone(),
            site: settings.site.place()?,
            clock,
            backups: settings.backups.options(data),
            broker_files: side.files(),
            reserved: own.iter().map(|(_, name)| name.clone()).collect(),
        })
        .await?;
        let mut begun = check_names(&service, &settings.broker, &own);
        if let (Ok(()), Side::Files(files, username)) = (&begun, &side) {
            begun = begin(&service, files, &prefix, username, &broker).await;
        }
        if let Err(failure) = begun {
            service.stop().await;
            return Err(failure);
        }
        let data = std::path::absolute(data).unwrap_or_else(|_| data.clone());
        Ok(Self { service, broker, prefix, data })
    }
}

/// What is done at the broker when something is settled.
enum Side {
    Embedded(EmbeddedSide),
    /// Files are written, and the daemon's own user name goes into them.
    Files(Arc<ExternalSide>, String),
    /// Whoever keeps the broker does it by hand.
    ByHand,
}

impl Side {
    fn files(&self) -> Option<Arc<dyn BrokerFiles>> {
        match self {
            Self::Embedded(side) => Some(Arc::new(side.clone())),
            Self::Files(side, _) => Some(Arc::clone(side) as Arc<dyn BrokerFiles>),
            Self::ByHand => None,
        }
    }
}

fn broker_of(settings: &Settings) -> Result<(BrokerChoice, Side), Failure> {
    let Some(url) = settings.broker.external() else {
        let side = EmbeddedSide::default();
        return Ok((BrokerChoice::Embedded(side.clone()), Side::Embedded(side)));
    };
    let password = settings.broker.read_password()?;
    let username = settings.broker.login_name();
    let side = match (&settings.broker.files, &username) {
        (Some(folder), Some(username)) => {
            Side::Files(Arc::new(ExternalSide::new(folder, settings.broker.reload.clone())), username.clone())
        }
        _ => Side::ByHand,
    };
    Ok((BrokerChoice::External { url, username, password }, side))
}

/// The names by which the daemon itself is known to the broker, each with the setting that it comes from. A fixture of
/// such an id would come in as the daemon, or end its connection.
fn own_names(settings: &Settings) -> Vec<(&'static str, String)> {
    let broker = &settings.broker;
    if broker.external().is_none() {
        return vec![("broker.client_id", broker::DAEMON_CLIENT_ID.to_owned())];
    }
    let from = if broker.username.is_some() { "broker.username" } else { "broker.url" };
    let login = broker.login_name().map(|name| (from, name));
    login.into_iter().chain([("broker.client_id", broker.client_id.clone())]).collect()
}

/// Refuses to start with an external broker when a fixture bears a name of the daemon itself. The embedded one tells
/// them apart.
fn check_names(service: &Service, broker: &Broker, own: &[(&'static str, String)]) -> Result<(), Failure> {
    if broker.external().is_none() {
        return Ok(());
    }
    match own.iter().find(|(_, name)| service.house().get(name).is_some()) {
        None => Ok(()),
        Some((setting, name)) => Err(Fault::new(
            setting,
            format!("{name:?} is also the id of a fixture, which would come in at the broker as the daemon itself"),
            "give the daemon another name at the broker",
        )
        .into()),
    }
}

/// Writes the files of an external broker as the house has it.
async fn begin(
    service: &Service,
    files: &Arc<ExternalSide>,
    prefix: &Prefix,
    username: &str,
    broker: &BrokerChoice,
) -> Result<(), Failure> {
    let enrolled = service.store().broker_lines().await?;
    let without = service
        .house()
        .all()
        .into_iter()
        .filter(|fixture| fixture.secret.is_some() && !enrolled.iter().any(|(id, _)| *id == fixture.id));
    let without: Vec<String> = without.map(|fixture| fixture.id.to_string()).collect();
    if !without.is_empty() {
        tracing::warn!(
            fixtures = without.join(", "),
            "these were enrolled while no files were written for a broker: enrol them again"
        );
    }
    let password = match broker {
        BrokerChoice::External { password, .. } => password.clone(),
        BrokerChoice::Embedded(_) => None,
    };
    let (files, prefix, username) = (Arc::clone(files), prefix.clone(), username.to_owned());
    let written =
        tokio::task::spawn_blocking(move || files.begin(&prefix, &username, password.as_ref(), &enrolled)).await;
    let why = match written {
        Ok(Ok(())) => return Ok(()),
        Ok(Err(error)) => error.to_string(),
        Err(error) => error.to_string(),
    };
    Err(Fault::new("broker.files", why, "name a folder that this user may write to").into())
}
