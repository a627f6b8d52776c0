//! What is in flight: publications of the outbox until the broker has acknowledged every part of them.

use std::collections::{HashMap, VecDeque};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use service::FixtureKey;
use tokio::sync::{OwnedSemaphorePermit, mpsc};

/// A row of the outbox on its way; when its last part is acknowledged, the row may be cleared.
pub(crate) struct Flight {
    key: FixtureKey,
    ticket: i64,
    parts: AtomicUsize,
    landed: mpsc::UnboundedSender<(FixtureKey, i64)>,
    _room: OwnedSemaphorePermit,
}

impl Flight {
    pub(crate) fn new(
        key: FixtureKey,
        ticket: i64,
        parts: usize,
        landed: mpsc::UnboundedSender<(FixtureKey, i64)>,
        room: OwnedSemaphorePermit,
    ) -> Arc<Self> {
        Arc::new(Self { key, ticket, parts: AtomicUsize::new(parts), landed, _room: room })
    }

    fn part_landed(&self) {
        if self.parts.fetch_sub(1, Ordering::AcqRel) == 1 {
            let _ = self.landed.send((self.key, self.ticket));
        }
    }
}

#[derive(Default)]
struct Sky {
    /// Handed to the client, without a packet id yet, in the order in which the client will send them.
    handed: VecDeque<Option<Arc<Flight>>>,
    /// Sent, by packet id.
    sent: HashMap<u16, Arc<Flight>>,
}

/// All that is in flight on one connection.
#[derive(Default)]
pub(crate) struct Flights(Mutex<Sky>);

impl Flights {
    fn sky(&self) -> MutexGuard<'_, Sky> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// To be called before each publication is handed to the client, by the one task that does so.
    pub(crate) fn hand(&self, flight: Option<Arc<Flight>>) {
        self.sky().handed.push_back(flight);
    }

    /// The client has sent the next publication under this packet id.
    pub(crate) fn sent(&self, packet: u16) {
        let mut sky = self.sky();
        if let Some(Some(flight)) = sky.handed.pop_front() {
            sky.sent.insert(packet, flight);
        }
    }

    /// The broker has acknowledged this packet id.
    pub(crate) fn acknowledged(&self, packet: u16) {
        let flight = self.sky().sent.remove(&packet);
        if let Some(flight) = flight {
            flight.part_landed();
        }
    }
}
