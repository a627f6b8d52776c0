//! How the web face is set up.

use std::fmt::Debug;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

/// How the web face is set up.
#[derive(Debug, Clone)]
pub struct WebOptions {
    /// Whether requests from the machine itself may do everything without a token. Never behind a proxy on the same
    /// machine: what says that it came through one (Forwarded, X-Forwarded-…, X-Real-IP, Via) does not count as coming
    /// from the machine itself, but a proxy need not say so.
    pub open_on_loopback: bool,
    /// What enrolment says of the broker.
    pub broker: BrokerFace,
    /// Cuts the power of the demo's fixtures; without it there is no `/v1/demo/power`.
    pub power_switch: Option<Arc<dyn PowerSwitch>>,
    /// Whether this is the demo: the page says that its house is invented.
    pub demo: bool,
    /// The daemon's version, for the page and the OpenAPI description.
    pub version: &'static str,
}

/// What fixtures need to know to reach the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerFace {
    /// Name or address. When it stands for all addresses (empty, `0.0.0.0` or `::`), the host that the caller of the
    /// enrolment reached the daemon by is named instead.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// The first level of all topics.
    pub prefix: String,
}

/// The switch that cuts the power of simulated fixtures. The demo brings one; a daemon at work has none.
pub trait PowerSwitch: Send + Sync + Debug {
    /// Cuts the power of all fixtures for that many seconds. Gives how many were cut; it need not wait for the power
    /// to come back.
    fn cut(&self, seconds: f64) -> Pin<Box<dyn Future<Output = usize> + Send + '_>>;
}
