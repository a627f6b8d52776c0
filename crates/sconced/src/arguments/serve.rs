//! The commands that run something: the daemon, the demo, simulated fixtures.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::config::{Flags, LogFormat};

/// `sconced serve`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Every setting is also in a TOML file (--config) and in the environment (SCONCED_HTTP__LISTEN and so on); \
`sconced example-config` prints such a file with every setting explained. When all is ready, one line \
comes on standard output: ready http=URL mqtt=HOST:PORT data=DIR. The log goes to standard error.

Examples:
  sconced serve
  sconced serve --config /etc/sconced.toml --log json
  sconced serve --data /srv/lights --http 127.0.0.1:8470 --mqtt 0.0.0.0:1883
  sconced serve --broker mqtt://broker.lan:1883")]
pub struct Serve {
    /// The configuration file
    #[arg(long, value_name = "FILE", env = "SCONCED_CONFIG", hide_env_values = true)]
    pub config: Option<PathBuf>,
    /// The address and port for HTTP [default: 127.0.0.1:8470]
    #[arg(long, value_name = "ADDR:PORT")]
    pub http: Option<SocketAddr>,
    /// The address and port of the broker inside the daemon [default: 127.0.0.1:1883]
    #[arg(long, value_name = "ADDR:PORT", conflicts_with = "broker")]
    pub mqtt: Option<SocketAddr>,
    /// A broker that runs on its own, as mqtt://HOST:PORT, in place of the one inside
    #[arg(long, value_name = "URL")]
    pub broker: Option<String>,
    /// Let everybody on this machine do everything without a token
    #[arg(long)]
    pub open_on_loopback: bool,
    /// How the log is written [default: text]
    #[arg(long, value_name = "FORMAT")]
    pub log: Option<LogFormat>,
}

impl Serve {
    /// What these arguments say of the configuration.
    #[must_use]
    pub fn flags(&self, data: Option<PathBuf>) -> Flags {
        Flags {
            config: self.config.clone(),
            data,
            http: self.http,
            mqtt: self.mqtt,
            broker: self.broker.clone(),
            open_on_loopback: self.open_on_loopback,
            log: self.log,
        }
    }
}

/// `sconced demo`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Heron House, its people and its history are invented. Everything lies in a temporary folder that is removed \
at the end, unless --data names one. While the demo runs, the other commands find it by themselves.

Examples:
  sconced demo
  sconced demo --data ./heron-house      keep it for the next time")]
pub struct Demo {
    /// The address and port for HTTP [default: 127.0.0.1:8470, or a free port when that is taken]
    #[arg(long, value_name = "ADDR:PORT")]
    pub http: Option<SocketAddr>,
    /// The address and port of the broker [default: a free port of 127.0.0.1]
    #[arg(long, value_name = "ADDR:PORT")]
    pub mqtt: Option<SocketAddr>,
    /// How the log is written [default: text]
    #[arg(long, value_name = "FORMAT")]
    pub log: Option<LogFormat>,
}

/// The size of a simulated fixture's firmware.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SimulatedFirmware {
    /// Takes what to show now, everything resolved
    Showing,
    /// Keeps the desired document and follows its agenda by its own clock
    Agenda,
    /// Keeps the desired document by patches alone
    Patch,
}

/// `sconced simulate`.
#[derive(Debug, Clone, Args)]
#[command(group = clap::ArgGroup::new("who").required(true).args(["secrets", "enrol"]))]
#[command(after_help = "\
The fixtures come from a file with one ID:SECRET on each line, or are made and enrolled through a running daemon. \
Without --broker they go to the broker that the daemon names. Stop with Ctrl-C.

Examples:
  sconced simulate --enrol 50
  sconced simulate --broker mqtt://127.0.0.1:1883 --secrets fixtures.txt --json")]
pub struct Simulate {
    /// The broker, as mqtt://HOST:PORT
    #[arg(long, value_name = "URL")]
    pub broker: Option<String>,
    /// A file with one ID:SECRET on each line
    #[arg(long, value_name = "FILE", requires = "broker")]
    pub secrets: Option<PathBuf>,
    /// Make and enrol so many fixtures, named simulated-1 and so on, through the daemon
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub enrol: Option<u32>,
    /// The first levels of the topics [default: what the daemon names, or fixtures]
    #[arg(long)]
    pub prefix: Option<String>,
    /// The size of their firmware
    #[arg(long, value_name = "SIZE", default_value = "agenda")]
    pub firmware: SimulatedFirmware,
    /// Let them speak QoS 0 alone, as the commonest small client library does
    #[arg(long)]
    pub qos0: bool,
    /// The longest random pause, in milliseconds, between power-on and the first connection
    #[arg(long, value_name = "MS", default_value_t = 500)]
    pub start_pause: u64,
    /// End by itself after so many seconds
    #[arg(long, value_name = "SECONDS")]
    pub seconds: Option<u64>,
}
