//! When the boot message is due, and when to ask again because no answer came.

use crate::Pause;

/// What a controller still has to say in order to hear its state.
///
/// Pauses grow and carry jitter, and they start again from the shortest once an answer was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Asking {
    errand: Errand,
    pause: Pause,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Errand {
    /// The boot message has not gone out since power-on.
    Boot,
    /// An ask goes out at this uptime unless an answer comes first.
    AskAt(u64),
    /// The answer was heard.
    Quiet,
}

impl Asking {
    /// Right after power-on: the boot message is due.
    pub(crate) fn after_power_on() -> Self {
        Self { errand: Errand::Boot, pause: Pause::default() }
    }

    /// Whether the boot message is due.
    pub(crate) fn boot_due(&self) -> bool {
        self.errand == Errand::Boot
    }

    /// Whether an ask is due at `uptime_ms`.
    pub(crate) fn ask_due(&self, uptime_ms: u64) -> bool {
        matches!(self.errand, Errand::AskAt(at) if at <= uptime_ms)
    }

    /// The uptime at which the next ask is due unless an answer comes first.
    pub(crate) fn next_ask(&self) -> Option<u64> {
        match self.errand {
            Errand::AskAt(at) => Some(at),
            Errand::Boot | Errand::Quiet => None,
        }
    }

    /// Whether an answer is awaited.
    pub(crate) fn is_waiting(&self) -> bool {
        self.errand != Errand::Quiet
    }

    /// A boot or an ask has gone out at `uptime_ms`: the answer may take one growing pause.
    pub(crate) fn sent(&mut self, uptime_ms: u64, random: u32) {
        self.errand = Errand::AskAt(uptime_ms.saturating_add(self.pause.next(random)));
    }

    /// The boot message was lost on its way: it is due again.
    pub(crate) fn boot_lost(&mut self) {
        self.errand = Errand::Boot;
    }

    /// Something turned out to be missing: ask at once, unless an answer is awaited anyhow.
    pub(crate) fn want(&mut self, uptime_ms: u64) {
        if self.errand == Errand::Quiet {
            self.errand = Errand::AskAt(uptime_ms);
        }
    }

    /// A new connection, over which nothing was heard yet: ask at once, unless the boot message is due.
    pub(crate) fn reconnected(&mut self, uptime_ms: u64) {
        if self.errand != Errand::Boot {
            self.pause.reset();
            self.errand = Errand::AskAt(uptime_ms);
        }
    }

    /// The answer was heard. A boot message that has not gone out stays due.
    pub(crate) fn answered(&mut self) {
        if self.errand != Errand::Boot {
            self.pause.reset();
            self.errand = Errand::Quiet;
        }
    }
}
