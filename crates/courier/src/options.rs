//! How the courier is set up.

use std::time::Duration;

/// How the courier reaches the broker, and how patient it is.
#[derive(Debug, Clone)]
pub struct Options {
    /// The broker's host.
    pub host: String,
    /// The broker's port.
    pub port: u16,
    /// The daemon's user name, if the broker asks for one.
    pub username: Option<String>,
    /// Its password.
    pub password: Option<String>,
    /// The daemon's client id; its session is kept under it.
    pub client_id: String,
    /// What all topics begin with.
    pub prefix: String,
    /// The pause before a state that was not reported as applied is sent again for the first time.
    pub resend_first: Duration,
    /// The longest such pause; they double up to it.
    pub resend_longest: Duration,
}

/// Something that the broker refused a fixture; said to it on its `problem` topic, since MQTT 3.1.1 cannot say it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// The fixture.
    pub fixture: String,
    /// The topic or filter.
    pub topic: String,
    /// What it wanted: `publish`, `subscribe` or `will`.
    pub action: &'static str,
}
