//! The log on standard error.

use tracing_subscriber::filter::EnvFilter;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;
use tracing_subscriber::{Registry, fmt, reload};

use crate::config::{Log, LogFormat, LogLevel};

/// Changes how much is logged while the daemon runs.
#[derive(Debug, Clone)]
pub(crate) struct LogHandle(reload::Handle<EnvFilter, Registry>);

/// Our own crates. Libraries log at most what should be looked at, however much is asked of ours: they do not know
/// what is a secret here.
const OURS: [&str; 9] = ["sconced", "service", "store", "kernel", "courier", "broker", "web", "simulator", "almanac"];

fn filter(level: LogLevel) -> EnvFilter {
    let others = if level == LogLevel::Error { "error" } else { "warn" };
    let ours = OURS.map(|name| format!("{name}={}", level.as_str())).join(",");
    // the broker's library warns of every refused log-in: a controller with a wrong secret would fill the log, and our
    // own broker crate says what matters
    EnvFilter::new(format!("{others},mqtt5=error,{ours}"))
}

/// Starts the log. A second start within one process changes nothing.
pub(crate) fn start(log: &Log) -> LogHandle {
    let (filter, handle) = reload::Layer::new(filter(log.level));
    let registry = tracing_subscriber::registry().with(filter);
    let started = match log.format {
        LogFormat::Json => registry.with(fmt::layer().json().with_writer(std::io::stderr)).try_init(),
        LogFormat::Text => {
            let colour = std::io::IsTerminal::is_terminal(&std::io::stderr()) && std::env::var_os("NO_COLOR").is_none();
            registry.with(fmt::layer().with_ansi(colour).with_writer(std::io::stderr)).try_init()
        }
    };
    drop(started);
    LogHandle(handle)
}

impl LogHandle {
    /// Logs so much from now on.
    pub(crate) fn set(&self, level: LogLevel) {
        if let Err(error) = self.0.reload(filter(level)) {
            tracing::warn!(%error, "the log level could not be changed");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn libraries_stay_quiet_however_much_is_asked_of_our_own_crates() {
        let shown = filter(LogLevel::Trace).to_string();
        assert!(shown.contains("courier=trace") && shown.contains("warn"), "{shown}");
        assert!(!shown.split(',').any(|part| part == "trace"), "{shown}");
    }
}
