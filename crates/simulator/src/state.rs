//! What can be seen of a simulated fixture from outside.

use std::time::Duration;

use document::Value;

/// A snapshot of a simulated fixture.
///
/// The first part is what the controller holds; it is gone after a power cut. The counters belong to the observer and
/// count on over power cuts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FixtureState {
    /// Whether it has power.
    pub powered: bool,
    /// Whether the broker has accepted its connection and it still stands.
    pub connected: bool,
    /// The revision that it holds, 0 for none.
    pub rev: u64,
    /// The desired document that it holds. Firmware that lives on `showing` keeps none.
    pub document: Option<Value>,
    /// The agenda that it holds: Unix seconds and look.
    pub agenda: Vec<(u64, String)>,
    /// The dark hours that it holds, in which it keeps the floor of its document: Unix seconds, from and to.
    pub dark: Vec<(u64, u64)>,
    /// The look that it shows. Nothing until the daemon or the broker has told it anything: it then shows what was
    /// compiled into it.
    pub look: Option<String>,
    /// Whether it keeps a floor beneath that.
    pub floored: bool,
    /// How often it has changed look or floor by its own clock, following its agenda.
    pub changes: u64,
    /// The last `showing` payload that it took.
    pub showing: Option<Value>,
    /// The most current that it may draw, as last told, in milliamps. Until then the one compiled into it holds.
    pub ceiling_milliamps: Option<u64>,
    /// Whether it knows the time.
    pub clock_set: bool,
    /// From the boot message of this power-on to the first live message of state after it; nothing while no answer has
    /// come.
    pub boot_answer: Option<Duration>,
    /// From power-on to the first state that it could show, stored or live.
    pub first_state: Option<Duration>,
    /// How often it was powered. Kept in the controller's flash, so that it survives power cuts.
    pub boots: u64,
    /// Connections that the broker has accepted.
    pub connections: u64,
    /// Messages received, of any kind.
    pub messages: u64,
    /// Messages that it could not read, or that did not fit its buffer.
    pub dropped: u64,
    /// `problem` messages received.
    pub problems: u64,
    /// The last `problem` received.
    pub last_problem: Option<Value>,
    /// `ask` messages sent.
    pub asks: u64,
    /// `reported` messages sent.
    pub reports: u64,
    /// Why there is no connection, in words, since the last attempt that failed.
    pub fault: Option<String>,
}

impl FixtureState {
    /// The power is gone, and with it all that the controller held.
    pub(crate) fn lose_power(&mut self) {
        *self = Self {
            boots: self.boots,
            connections: self.connections,
            messages: self.messages,
            dropped: self.dropped,
            problems: self.problems,
            last_problem: self.last_problem.take(),
            asks: self.asks,
            reports: self.reports,
            ..Self::default()
        };
    }
}
