//! The settings of one simulated fixture.

use crate::{Clock, Firmware, SimulatorError, Strip};

/// How a simulated fixture is built and where it connects to. The MQTT user name and the client id are the fixture's
/// id, the password is its secret.
#[derive(Clone, PartialEq, Eq)]
pub struct FixtureOptions {
    /// The fixture's id.
    pub id: String,
    /// The secret from its enrolment.
    pub secret: String,
    /// Host and port of the broker.
    pub broker: (String, u16),
    /// The topic prefix, `fixtures` by default.
    pub prefix: String,
    /// The size of its firmware.
    pub firmware: Firmware,
    /// Whether it speaks QoS 0 alone. [`Firmware::Showing`] with QoS 0 stands for the commonest small client library:
    /// it also drops, in silence, every message that does not fit a buffer of 512 bytes.
    pub qos0: bool,
    /// Upper bound, in milliseconds, of the random pause between power-on and the first connection.
    pub start_pause_ms: u64,
    /// Whether it reports what it has applied; firmware that does not is one of the faults to be met.
    pub report: bool,
    /// The strip on its data line.
    pub strip: Strip,
    /// By what it counts its time.
    pub clock: Clock,
}

impl FixtureOptions {
    /// The usual fixture: default prefix, firmware that follows its agenda, QoS 1, no start pause, reporting, a metre of
    /// strip, and time as it passes.
    #[must_use]
    pub fn new(id: impl Into<String>, secret: impl Into<String>, broker: (String, u16)) -> Self {
        Self {
            id: id.into(),
            secret: secret.into(),
            broker,
            prefix: "fixtures".to_owned(),
            firmware: Firmware::Agenda,
            qos0: false,
            start_pause_ms: 0,
            report: true,
            strip: Strip::default(),
            clock: Clock::System,
        }
    }

    /// Whether a connection can be made with these settings at all.
    ///
    /// # Errors
    /// Names the first setting that stands in the way.
    pub fn check(&self) -> Result<(), SimulatorError> {
        if !is_fixture_id(&self.id) {
            return Err(SimulatorError::Id(self.id.clone()));
        }
        if !self.prefix.split('/').all(is_topic_level) {
            return Err(SimulatorError::Prefix(self.prefix.clone()));
        }
        let (host, port) = &self.broker;
        if host.is_empty() || *port == 0 {
            return Err(SimulatorError::Broker { host: host.clone(), port: *port });
        }
        Ok(())
    }
}

/// The secret stays out of logs.
impl std::fmt::Debug for FixtureOptions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("FixtureOptions")
            .field("id", &self.id)
            .field("secret", &"…")
            .field("broker", &self.broker)
            .field("prefix", &self.prefix)
            .field("firmware", &self.firmware)
            .field("qos0", &self.qos0)
            .field("start_pause_ms", &self.start_pause_ms)
            .field("report", &self.report)
            .field("strip", &self.strip)
            .field("clock", &self.clock)
            .finish()
    }
}

fn is_fixture_id(id: &str) -> bool {
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit();
    id.len() <= 64
        && id.bytes().all(|byte| plain(byte) || byte == b'-')
        && id.bytes().next().is_some_and(plain)
        && id.bytes().last().is_some_and(plain)
}

fn is_topic_level(level: &str) -> bool {
    !level.is_empty() && level.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options(id: &str) -> FixtureOptions {
        FixtureOptions::new(id, "s", ("127.0.0.1".to_owned(), 1883))
    }

    #[test]
    fn ids_with_wildcards_capitals_or_bad_ends_are_refused() {
        for good in ["a", "7", "hall", "breakfast-room", &"a".repeat(64)] {
            assert_eq!(options(good).check(), Ok(()), "{good}");
        }
        for bad in ["", "-a", "a-", "Hall", "a/b", "a+", "#", "a b", &"a".repeat(65)] {
            assert!(matches!(options(bad).check(), Err(SimulatorError::Id(_))), "{bad}");
        }
    }

    #[test]
    fn a_prefix_with_a_wildcard_or_an_empty_level_is_refused() {
        for (prefix, good) in [("fixtures", true), ("house/lights", true), ("", false), ("a//b", false), ("a/#", false)]
        {
            let options = FixtureOptions { prefix: prefix.to_owned(), ..options("hall") };
            assert_eq!(options.check().is_ok(), good, "{prefix}");
        }
    }

    #[test]
    fn a_broker_without_a_port_is_refused() {
        let options = FixtureOptions { broker: ("127.0.0.1".to_owned(), 0), ..options("hall") };
        assert!(matches!(options.check(), Err(SimulatorError::Broker { .. })));
    }

    #[test]
    fn the_secret_is_not_shown_in_debug_output() {
        let shown = format!("{:?}", FixtureOptions::new("hall", "pinewood", ("h".to_owned(), 1)));
        assert!(!shown.contains("pinewood"), "{shown}");
    }
}
