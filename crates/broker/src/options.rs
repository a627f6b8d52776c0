//! What the broker is told at its start, and what it tells and asks the daemon.

use crate::BrokerError;
use crate::topics::Prefix;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::sync::mpsc;

/// Who may come in. Implemented by the daemon.
///
/// Both functions are called on the broker's own threads for every log-in: they must answer from memory and must not
/// block. They are asked about fixture ids only, never about the daemon's own username.
pub trait Credentials: Send + Sync + 'static {
    /// Whether a fixture with this id is enrolled and `secret` is its secret. The comparison must take the same time
    /// wherever the first difference is (compare hashes, for one).
    fn admits(&self, username: &str, secret: &[u8]) -> bool;

    /// Whether a fixture with this id exists. Keeps other clients from taking its id as their client id.
    fn knows(&self, username: &str) -> bool;
}

/// What a fixture tried and was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// It published.
    Publish,
    /// It subscribed.
    Subscribe,
    /// It wanted a last will there; the connection was refused.
    Will,
}

/// A fixture was refused something. MQTT 3.1.1 cannot tell a publisher so; the daemon can, on the fixture's `problem`
/// topic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The fixture's id (its username, with the right secret).
    pub fixture: String,
    /// The topic or filter that it wanted, cut after 256 bytes.
    pub topic: String,
    /// What it wanted to do there.
    pub action: Action,
}

/// How the broker is set up.
#[derive(Debug, Clone)]
pub struct Options {
    /// Where MQTT 3.1.1 and 5.0 are served. Port 0 takes a free one: see [`Embedded::local_addr`](crate::Embedded::local_addr).
    pub listen: SocketAddr,
    /// Where the same is served over WebSocket (path `/mqtt`, subprotocol `mqtt`), if at all.
    pub websocket: Option<SocketAddr>,
    /// The first levels of every topic.
    pub prefix: Prefix,
    /// The largest MQTT packet in bytes, 1024 to 1,048,576. A client that sends a larger one is disconnected.
    pub max_packet_bytes: usize,
    /// The most connections at one time, those that have not logged in yet included. Sixteen more are kept for this
    /// machine, so that the daemon always gets in.
    pub max_connections: usize,
    /// The most connections at one time from one address (for IPv6: from one /64 network). Not counted on loopback.
    pub connections_per_address: usize,
    /// How many log-ins may fail within one minute for one name, and from one address. Past it, a wrong secret for
    /// that name is answered a second late, and that address is turned away unasked, except for names that it has
    /// already logged in with. The address is not counted on loopback. A right secret from another address is never
    /// kept out.
    pub failed_logins_per_minute: u32,
    /// Count loopback like any other address. Off: all local clients, the daemon among them, share it.
    pub limit_loopback: bool,
    /// How long a connection may take until it has logged in, at most 10 s.
    pub connect_timeout: Duration,
    /// Where refusals are told. One that finds the channel full is dropped: the broker never waits for the daemon.
    pub refusals: Option<mpsc::Sender<Refusal>>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from(([127, 0, 0, 1], 0)),
            websocket: None,
            prefix: Prefix::default(),
            max_packet_bytes: 64 * 1024,
            max_connections: 10_000,
            connections_per_address: 256,
            failed_logins_per_minute: 30,
            limit_loopback: false,
            connect_timeout: Duration::from_secs(10),
            refusals: None,
        }
    }
}

impl Options {
    /// Checks every bound before anything is opened.
    pub(crate) fn check(&self) -> Result<(), BrokerError> {
        let bounds = [
            ("max_packet_bytes", self.max_packet_bytes, 1024, 1024 * 1024),
            ("max_connections", self.max_connections, 1, 1_000_000),
            ("connections_per_address", self.connections_per_address, 1, 1_000_000),
            (
                "failed_logins_per_minute",
                usize::try_from(self.failed_logins_per_minute).unwrap_or(usize::MAX),
                1,
                10_000,
            ),
        ];
        for (name, value, least, most) in bounds {
            if !(least..=most).contains(&value) {
                return Err(BrokerError::Setting(format!("{name} is {value}: it must be {least} to {most}")));
            }
        }
        if self.connect_timeout.is_zero() || self.connect_timeout > Duration::from_secs(10) {
            return Err(BrokerError::Setting(format!(
                "connect_timeout is {:?}: it must be above 0 and at most 10 s",
                self.connect_timeout
            )));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_defaults_are_loopback_only_and_within_bounds() {
        let options = Options::default();
        assert!(options.listen.ip().is_loopback());
        assert_eq!(options.websocket, None);
        assert_eq!(options.max_packet_bytes, 65_536);
        options.check().unwrap();
    }

    #[test]
    fn a_setting_out_of_bounds_is_named_with_its_bounds() {
        let cases = [
            (Options { max_packet_bytes: 1023, ..Options::default() }, "max_packet_bytes"),
            (Options { max_packet_bytes: 256 << 20, ..Options::default() }, "max_packet_bytes"),
            (Options { max_connections: 0, ..Options::default() }, "max_connections"),
            (Options { connections_per_address: 0, ..Options::default() }, "connections_per_address"),
            (Options { failed_logins_per_minute: 0, ..Options::default() }, "failed_logins_per_minute"),
            (Options { connect_timeout: Duration::ZERO, ..Options::default() }, "connect_timeout"),
            (Options { connect_timeout: Duration::from_secs(11), ..Options::default() }, "connect_timeout"),
        ];
        for (options, name) in cases {
            let said = options.check().unwrap_err().to_string();
            assert!(said.starts_with(name) && said.contains("must be"), "{said}");
        }
    }
}
