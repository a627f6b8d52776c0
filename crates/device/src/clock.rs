//! Unix time from uptime, set by the daemon's messages.

/// A controller's idea of Unix time. It knows none after power-on, until a live message or a time server sets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Clock {
    set: Option<Setting>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Setting {
    now_ms: u64,
    uptime_ms: u64,
}

impl Clock {
    /// A clock that has not been set.
    #[must_use]
    pub const fn unset() -> Self {
        Self { set: None }
    }

    /// Hears the `now_ms` (Unix time, milliseconds) of a message that was taken at `uptime_ms`. A retained message is
    /// stored news of unknown age, so its time is not used.
    pub fn hear(&mut self, now_ms: u64, retained: bool, uptime_ms: u64) {
        if !retained {
            self.set(now_ms, uptime_ms);
        }
    }

    /// Sets the clock to Unix time `now_ms` as it is at `uptime_ms`, as a time server does.
    pub fn set(&mut self, now_ms: u64, uptime_ms: u64) {
        self.set = Some(Setting { now_ms, uptime_ms });
    }

    /// Whether the clock has been set since power-on.
    #[must_use]
    pub const fn is_set(&self) -> bool {
        self.set.is_some()
    }

    /// Unix time in milliseconds at `uptime_ms`; nothing while the clock is not set.
    #[must_use]
    pub fn unix_ms(&self, uptime_ms: u64) -> Option<u64> {
        let set = self.set?;
        Some(set.now_ms.saturating_add(uptime_ms.saturating_sub(set.uptime_ms)))
    }

    /// Unix time in whole seconds at `uptime_ms`, as the agenda counts it; nothing while the clock is not set.
    #[must_use]
    pub fn unix_seconds(&self, uptime_ms: u64) -> Option<u64> {
        self.unix_ms(uptime_ms).map(|ms| ms / 1_000)
    }

    /// The uptime at which Unix second `at` begins; nothing while the clock is not set, and the present setting's own
    /// uptime for a second that lay before it.
    #[must_use]
    pub fn uptime_of(&self, at: u64) -> Option<u64> {
        let set = self.set?;
        let ahead = at.saturating_mul(1_000).saturating_sub(set.now_ms);
        Some(set.uptime_ms.saturating_add(ahead))
    }
}
