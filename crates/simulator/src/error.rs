//! What can be wrong with the settings of a simulated fixture.

/// A setting that no connection can be made with.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SimulatorError {
    /// The id is no fixture id.
    #[error(
        "{0:?} is no fixture id: use 1 to 64 of a-z, 0-9 and hyphens, beginning and ending with a letter or a digit"
    )]
    Id(String),
    /// The topic prefix holds a wildcard, a control character or an empty level.
    #[error("{0:?} is no topic prefix: use levels of letters, digits, hyphens and underscores, joined by /")]
    Prefix(String),
    /// The broker's host name is empty or its port is 0.
    #[error("{host:?} port {port} is no broker address: give a host name or an address, and a port from 1 to 65535")]
    Broker {
        /// The host as given.
        host: String,
        /// The port as given.
        port: u16,
    },
}
