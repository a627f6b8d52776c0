//! Whether the house can be served: database and link to the broker.

use std::sync::atomic::{AtomicU8, Ordering};

/// How the link to the broker stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LinkState {
    /// Not connected yet, or not any more; it is being tried again.
    Down,
    /// Connected and subscribed.
    Up,
}

/// What health says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Health {
    /// Whether the database takes edits.
    pub database: bool,
    /// How the link to the broker stands.
    pub broker: LinkState,
}

#[derive(Debug, Default)]
pub(crate) struct Link(AtomicU8);

impl Link {
    pub(crate) fn set(&self, state: LinkState) {
        self.0.store(u8::from(state == LinkState::Up), Ordering::Relaxed);
    }

    pub(crate) fn get(&self) -> LinkState {
        if self.0.load(Ordering::Relaxed) == 1 { LinkState::Up } else { LinkState::Down }
    }
}
