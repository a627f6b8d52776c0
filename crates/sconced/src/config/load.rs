//! Reading the configuration from its three sources.

use std::collections::HashMap;
use std::ffi::OsString;
use std::net::SocketAddr;
use std::path::PathBuf;

use config::{Config, Environment, File, FileFormat, Value, ValueKind};
use serde::Deserialize as _;

use super::section::Fault;
use super::{LogFormat, Settings};

/// What the command line says of the configuration.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Flags {
    /// The configuration file.
    pub config: Option<PathBuf>,
    /// `--data`.
    pub data: Option<PathBuf>,
    /// `--http`.
    pub http: Option<SocketAddr>,
    /// `--mqtt`: the broker inside the daemon, whatever else says that there is an external one.
    pub mqtt: Option<SocketAddr>,
    /// `--broker`.
    pub broker: Option<String>,
    /// `--open-on-loopback`.
    pub open_on_loopback: bool,
    /// `--log`.
    pub log: Option<LogFormat>,
}

/// Why the configuration cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("the configuration file {path} cannot be read: {why}; name one that can be read with --config", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// The file is no TOML.
    #[error("the configuration file {path} is not written in TOML: {why}", path = .path.display())]
    Syntax {
        /// The file.
        path: PathBuf,
        /// Where and why.
        why: String,
    },
    /// A setting is unknown or of the wrong type.
    #[error("{0}")]
    Setting(String),
    /// A setting has a value that cannot be used.
    #[error(transparent)]
    Fault(#[from] Fault),
}

/// The sources of the configuration. They are kept, so that they can be read again.
#[derive(Debug, Clone)]
pub struct Sources {
    flags: Flags,
    environment: Vec<(OsString, OsString)>,
}

/// What the names of all settings in the environment begin with.
const PREFIX: &str = "SCONCED_";

impl Sources {
    /// These flags, and this environment.
    #[must_use]
    pub fn new(flags: Flags, environment: impl IntoIterator<Item = (OsString, OsString)>) -> Self {
        let is_ours =
            |name: &OsString| name.to_str().is_some_and(|name| name.starts_with(PREFIX) && name.contains("__"));
        Self { flags, environment: environment.into_iter().filter(|(name, _)| is_ours(name)).collect() }
    }

    /// Reads all sources and checks what they say.
    ///
    /// # Errors
    /// [`ConfigError`], with the setting named and with what to write.
    pub fn read(&self) -> Result<Settings, ConfigError> {
        let setting = |error: config::ConfigError| ConfigError::Setting(told(&error));
        let mut builder = Config::builder();
        if let Some(path) = &self.flags.config {
            let text = std::fs::read_to_string(path)
                .map_err(|error| ConfigError::File { path: path.clone(), why: error.to_string() })?;
            // read once for itself: its errors say line and column
            if let Err(error) = text.parse::<toml::Table>() {
                return Err(ConfigError::Syntax { path: path.clone(), why: error.to_string().trim_end().to_owned() });
            }
            builder = builder.add_source(File::from_str(&text, FileFormat::Toml));
        }
        builder = builder.add_source(self.environment()?);
        let flags = &self.flags;
        let data = flags.data.as_ref().map(|path| path.to_str().ok_or("--data is not UTF-8")).transpose();
        let data = data.map_err(|error| ConfigError::Setting(error.to_owned()))?;
        let overrides = [
            ("data.folder", data.map(ToOwned::to_owned)),
            ("http.listen", flags.http.map(|addr| addr.to_string())),
            ("mqtt.listen", flags.mqtt.map(|addr| addr.to_string())),
            ("broker.url", flags.broker.clone().or(flags.mqtt.map(|_| String::new()))),
            ("http.open_on_loopback", flags.open_on_loopback.then(|| "true".to_owned())),
            ("log.format", flags.log.map(|format| format.as_str().to_owned())),
        ];
        for (name, value) in overrides {
            builder = builder.set_override_option(name, value).map_err(setting)?;
        }
        let built = builder.build().map_err(setting)?;
        let mut sections = built.try_deserialize::<HashMap<String, Value>>().map_err(setting)?;
        sections.values_mut().for_each(drop_empty_texts);
        let settings = Settings::deserialize(Value::new(None, ValueKind::Table(sections.into_iter().collect())));
        let settings = settings.map_err(setting)?;
        settings.check()?;
        Ok(settings)
    }

    fn environment(&self) -> Result<Environment, ConfigError> {
        let mut texts = config::Map::new();
        for (name, value) in &self.environment {
            let (Some(name), Some(value)) = (name.to_str(), value.to_str()) else {
                let name = name.display();
                return Err(ConfigError::Setting(format!(
                    "the environment variable {name} is not UTF-8; write it anew"
                )));
            };
            texts.insert(name.to_owned(), value.to_owned());
        }
        Ok(Environment::with_prefix("SCONCED").prefix_separator("_").separator("__").source(Some(texts)))
    }
}

/// An empty text stands for a setting that is not set; so a flag or the environment can take a file's setting back.
fn drop_empty_texts(section: &mut Value) {
    if let ValueKind::Table(settings) = &mut section.kind {
        settings.retain(|_, value| !matches!(&value.kind, ValueKind::String(text) if text.is_empty()));
    }
}

/// The library's error with the setting first and what to write last.
fn told(error: &config::ConfigError) -> String {
    use config::ConfigError as E;
    let (key, problem) = match error {
        E::Type { key: Some(key), unexpected, expected, .. } => {
            (key.clone(), format!("{unexpected} is not {expected}"))
        }
        E::At { key: Some(key), error, .. } => (key.clone(), error.to_string()),
        other => (String::new(), other.to_string()),
    };
    if let Some((name, _)) = problem.strip_prefix("unknown field `").and_then(|rest| rest.split_once('`')) {
        return unknown(&key, name);
    }
    match Settings::sections().iter().find(|section| section.name == key) {
        Some(_) => format!("{key} is a section and no setting; write [{key}] and its settings below it"),
        None if key.is_empty() => format!("the configuration cannot be used: {problem}"),
        None => format!("the setting {key} cannot be used: {problem}; {}", advice(&key)),
    }
}

/// A name that no setting has. The library's path may or may not lead to the name itself.
fn unknown(path: &str, name: &str) -> String {
    let sections = Settings::sections();
    let section = path.split_once('.').map_or(path, |(section, _)| section);
    match sections.iter().find(|known| known.name == section) {
        Some(known) => {
            let names = known.settings.iter().map(|setting| setting.name).collect::<Vec<_>>().join(", ");
            format!("there is no setting {section}.{name}; the section {section} has {names}")
        }
        None => {
            let names = sections.iter().map(|known| known.name).collect::<Vec<_>>().join(", ");
            format!("there is no section {name}; there are {names}")
        }
    }
}

fn advice(key: &str) -> String {
    let name = format!("{PREFIX}{}", key.replace('.', "__").to_uppercase());
    for section in Settings::sections() {
        for setting in section.settings {
            if format!("{}.{}", section.name, setting.name) == key {
                let example = setting.default.or(setting.example.map(ToOwned::to_owned)).unwrap_or_default();
                return format!("write such as {} = {example} (or in the environment: {name})", setting.name);
            }
        }
    }
    "`sconced example-config` shows every setting".to_owned()
}
