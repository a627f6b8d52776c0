//! The configuration: one section a file, read from a TOML file, the environment and the flags of the command line.
//!
//! Flags win over the environment, the environment over the file. An empty text means "not set". Everything is checked
//! before anything is opened.

mod backups;
mod broker;
mod broker_url;
mod data;
mod example;
mod http;
mod load;
mod log;
mod mqtt;
mod retention;
mod secret;
pub(crate) mod section;
mod site;

use serde::Deserialize;

pub use self::backups::Backups;
pub use self::broker::Broker;
pub use self::broker_url::BrokerUrl;
pub use self::data::Data;
pub use self::example::example;
pub use self::http::Http;
pub use self::load::{ConfigError, Flags, Sources};
pub use self::log::{Log, LogFormat, LogLevel};
pub use self::mqtt::Mqtt;
pub use self::retention::Retention;
pub use self::secret::Secret;
pub use self::section::Fault;
use self::section::{Section as _, Setting};
pub use self::site::Site;

/// The whole configuration.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// The HTTP server.
    pub http: Http,
    /// The broker inside the daemon.
    pub mqtt: Mqtt,
    /// An external broker, and what holds for either.
    pub broker: Broker,
    /// Where everything is kept.
    pub data: Data,
    /// Copies of the database.
    pub backups: Backups,
    /// How much history is kept.
    pub retention: Retention,
    /// The house.
    pub site: Site,
    /// The log.
    pub log: Log,
}

/// One section as the example file shows it.
pub(crate) struct Described {
    pub(crate) name: &'static str,
    pub(crate) about: &'static [&'static str],
    pub(crate) settings: Vec<Setting>,
}

fn described<S: section::Section>(_: &S) -> Described {
    Described { name: S::NAME, about: S::ABOUT, settings: S::settings() }
}

impl Settings {
    /// Checks every section.
    ///
    /// # Errors
    /// The first fault.
    pub fn check(&self) -> Result<(), Fault> {
        self.http.check()?;
        self.mqtt.check()?;
        self.broker.check()?;
        self.data.check()?;
        self.backups.check()?;
        self.retention.check()?;
        self.site.check()?;
        self.log.check()
    }

    /// The settings that differ between two configurations, as `section.setting`.
    #[must_use]
    pub fn differing(&self, other: &Self) -> Vec<String> {
        let Self { http, mqtt, broker, data, backups, retention, site, log } = self;
        [
            http.differing(&other.http),
            mqtt.differing(&other.mqtt),
            broker.differing(&other.broker),
            data.differing(&other.data),
            backups.differing(&other.backups),
            retention.differing(&other.retention),
            site.differing(&other.site),
            log.differing(&other.log),
        ]
        .concat()
    }

    pub(crate) fn sections() -> Vec<Described> {
        let Self { http, mqtt, broker, data, backups, retention, site, log } = Self::default();
        vec![
            described(&http),
            described(&mqtt),
            described(&broker),
            described(&data),
            described(&backups),
            described(&retention),
            described(&site),
            described(&log),
        ]
    }
}

#[cfg(test)]
mod tests;
