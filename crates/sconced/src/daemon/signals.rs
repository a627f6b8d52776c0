//! The signals that the daemon listens to.

use tokio::signal::unix::{Signal, SignalKind, signal};

use crate::error::Failure;

/// What a signal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Asked {
    /// SIGTERM or SIGINT.
    Stop,
    /// SIGHUP.
    Reload,
}

/// The signals, taken from the start on, so that none ends the process unasked.
#[derive(Debug)]
pub(crate) struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    /// Takes the signals. Has to be called within a tokio runtime.
    pub(crate) fn take() -> Result<Self, Failure> {
        let take = |kind| signal(kind).map_err(|error| Failure::System(format!("signals cannot be taken: {error}")));
        Ok(Self {
            terminate: take(SignalKind::terminate())?,
            interrupt: take(SignalKind::interrupt())?,
            hang_up: take(SignalKind::hangup())?,
        })
    }

    /// The next one.
    pub(crate) async fn next(&mut self) -> Asked {
        tokio::select! {
            _ = self.terminate.recv() => Asked::Stop,
            _ = self.interrupt.recv() => Asked::Stop,
            _ = self.hang_up.recv() => Asked::Reload,
        }
    }

    /// The next one that asks to stop.
    pub(crate) async fn stop(&mut self) {
        while self.next().await != Asked::Stop {}
    }
}
