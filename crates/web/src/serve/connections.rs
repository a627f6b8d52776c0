//! How many connections there are, in all and from whom.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::throttle::network;

/// How many connections there may be at a time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// In all; more wait in the system's queue.
    pub(super) all: usize,
    /// From other machines than this, together. The rest is kept for the machine itself.
    pub(super) from_outside: usize,
    /// From one address of another machine.
    pub(super) from_one: usize,
}

impl Default for Bounds {
    fn default() -> Self {
        Self { all: 1024, from_outside: 960, from_one: 64 }
    }
}

/// The connections that there are.
#[derive(Debug)]
pub(super) struct Connections {
    bounds: Bounds,
    room: Arc<Semaphore>,
    outside: Mutex<Outside>,
}

/// Those from other machines.
#[derive(Debug, Default)]
struct Outside {
    all: usize,
    from: HashMap<IpAddr, usize>,
}

/// A connection's place, given back when it is dropped.
#[derive(Debug)]
pub(super) struct Place {
    _room: OwnedSemaphorePermit,
    outside: Option<(Arc<Connections>, IpAddr)>,
}

impl Connections {
    pub(super) fn new(bounds: Bounds) -> Self {
        Self { bounds, room: Arc::new(Semaphore::new(bounds.all)), outside: Mutex::default() }
    }

    fn outside(&self) -> MutexGuard<'_, Outside> {
        self.outside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until there is room for one more.
    pub(super) async fn room(&self) -> std::io::Result<OwnedSemaphorePermit> {
        Arc::clone(&self.room).acquire_owned().await.map_err(std::io::Error::other)
    }

    /// The place of a connection from that address; `None` when there are too many from there.
    pub(super) fn place(self: &Arc<Self>, peer: IpAddr, room: OwnedSemaphorePermit) -> Option<Place> {
        if peer.to_canonical().is_loopback() {
            return Some(Place { _room: room, outside: None });
        }
        let from = network(peer);
        let mut outside = self.outside();
        let of_it = outside.from.get(&from).copied().unwrap_or(0);
        if outside.all >= self.bounds.from_outside || of_it >= self.bounds.from_one {
            return None;
        }
        outside.all += 1;
        outside.from.insert(from, of_it + 1);
        Some(Place { _room: room, outside: Some((Arc::clone(self), from)) })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let Some((connections, from)) = &self.outside else { return };
        let mut outside = connections.outside();
        outside.all = outside.all.saturating_sub(1);
        if let Some(count) = outside.from.get_mut(from) {
            *count = count.saturating_sub(1);
            if *count == 0 {
                outside.from.remove(from);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn place(connections: &Arc<Connections>, peer: &str) -> Option<Place> {
        let room = connections.room().await.unwrap();
        connections.place(peer.parse().unwrap(), room)
    }

    #[tokio::test]
    async fn one_address_has_64_places_and_the_others_and_the_machine_itself_have_theirs() {
        let connections = Arc::new(Connections::new(Bounds::default()));
        let mut held = Vec::new();
        for _ in 0..64 {
            held.push(place(&connections, "192.0.2.7").await.unwrap());
        }
        assert!(place(&connections, "192.0.2.7").await.is_none());
        assert!(place(&connections, "::ffff:192.0.2.7").await.is_none(), "the same address in another form");
        assert!(place(&connections, "192.0.2.8").await.is_some());
        for _ in 0..200 {
            held.push(place(&connections, "127.0.0.1").await.unwrap());
        }
        held.remove(0);
        assert!(place(&connections, "192.0.2.7").await.is_some(), "a place that was given back can be had again");
    }

    #[tokio::test]
    async fn a_whole_ipv6_network_is_one_address() {
        let connections = Arc::new(Connections::new(Bounds { from_one: 2, ..Bounds::default() }));
        let _held =
            (place(&connections, "2001:db8::1").await.unwrap(), place(&connections, "2001:db8::2").await.unwrap());
        assert!(place(&connections, "2001:db8::3").await.is_none());
        assert!(place(&connections, "2001:db8:0:1::3").await.is_some());
        assert!(place(&connections, "::1").await.is_some());
    }

    #[tokio::test]
    async fn all_others_together_leave_64_places_to_the_machine_itself() {
        let connections = Arc::new(Connections::new(Bounds::default()));
        let mut held = Vec::new();
        for n in 0..960 {
            held.push(place(&connections, &format!("198.51.100.{}", n / 10)).await.unwrap());
        }
        assert!(place(&connections, "203.0.113.1").await.is_none());
        for _ in 0..64 {
            held.push(place(&connections, "::1").await.unwrap());
        }
        assert_eq!(connections.room.available_permits(), 0);
        held.clear();
        assert_eq!(connections.room.available_permits(), 1024);
        let outside = connections.outside();
        assert_eq!((outside.all, outside.from.len()), (0, 0), "nothing is kept of who has gone");
    }
}
