//! How many connections there are, in all and from each address.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, PoisonError};

/// Connections kept free for this machine above the limit, so that strangers who fill the broker cannot keep the
/// daemon itself out.
const KEPT_FOR_LOOPBACK: usize = 16;

/// The address that limits count by: IPv4 as it is (also when written inside IPv6), IPv6 by its /64 network, since one
/// machine commonly has all of it.
pub(crate) fn limit_key(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) if !v6.is_loopback() => {
            let network = u128::from(v6) & (u128::MAX << 64);
            IpAddr::V6(Ipv6Addr::from(network))
        }
        other => other,
    }
}

/// Counts open connections.
#[derive(Debug)]
pub(crate) struct Addresses {
    most: usize,
    most_per_address: usize,
    limit_loopback: bool,
    open: Mutex<Open>,
}

#[derive(Debug, Default)]
struct Open {
    total: usize,
    by_address: HashMap<IpAddr, usize>,
}

/// One open connection's place in the count. Dropping it frees the place.
#[derive(Debug)]
pub(crate) struct Place {
    addresses: Arc<Addresses>,
    key: IpAddr,
}

/// Why there is no place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Full {
    /// The broker has as many connections as it may have.
    Broker,
    /// This address has as many as it may have.
    Address,
}

impl Addresses {
    pub(crate) fn new(most: usize, most_per_address: usize, limit_loopback: bool) -> Arc<Self> {
        Arc::new(Self { most, most_per_address, limit_loopback, open: Mutex::default() })
    }

    pub(crate) fn take(self: &Arc<Self>, address: IpAddr) -> Result<Place, Full> {
        let key = limit_key(address);
        let local = key.is_loopback();
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let most = if local { self.most.saturating_add(KEPT_FOR_LOOPBACK) } else { self.most };
        if open.total >= most {
            return Err(Full::Broker);
        }
        let here = open.by_address.get(&key).copied().unwrap_or(0);
        if here >= self.most_per_address && (self.limit_loopback || !local) {
            return Err(Full::Address);
        }
        open.total += 1;
        open.by_address.insert(key, here + 1);
        Ok(Place { addresses: Arc::clone(self), key })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut open = self.addresses.open.lock().unwrap_or_else(PoisonError::into_inner);
        open.total = open.total.saturating_sub(1);
        if let Some(here) = open.by_address.get_mut(&self.key) {
            *here = here.saturating_sub(1);
            if *here == 0 {
                open.by_address.remove(&self.key);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn one_address_cannot_take_every_place() {
        let addresses = Addresses::new(10, 2, false);
        let first = addresses.take(ip("192.0.2.1")).unwrap();
        let _second = addresses.take(ip("192.0.2.1")).unwrap();
        assert_eq!(addresses.take(ip("192.0.2.1")).unwrap_err(), Full::Address);
        let _other = addresses.take(ip("192.0.2.2")).unwrap();
        drop(first);
        let _again = addresses.take(ip("192.0.2.1")).unwrap();
    }

    #[test]
    fn a_full_broker_still_lets_this_machine_in() {
        let addresses = Addresses::new(1, 1, false);
        let _only = addresses.take(ip("192.0.2.1")).unwrap();
        assert_eq!(addresses.take(ip("192.0.2.2")).unwrap_err(), Full::Broker);
        let kept: Vec<_> = (0..KEPT_FOR_LOOPBACK).map(|_| addresses.take(ip("127.0.0.1")).unwrap()).collect();
        assert_eq!(addresses.take(ip("::1")).unwrap_err(), Full::Broker);
        drop(kept);
        assert_eq!(addresses.open.lock().unwrap().by_address.len(), 1);
    }

    #[test]
    fn loopback_is_counted_only_when_asked() {
        let free = Addresses::new(10, 1, false);
        let _places = [free.take(ip("127.0.0.1")).unwrap(), free.take(ip("127.0.0.1")).unwrap()];
        let counted = Addresses::new(10, 1, true);
        let _place = counted.take(ip("127.0.0.1")).unwrap();
        assert_eq!(counted.take(ip("127.0.0.1")).unwrap_err(), Full::Address);
    }

    #[test]
    fn addresses_of_one_ipv6_network_count_together() {
        assert_eq!(limit_key(ip("2001:db8::1")), limit_key(ip("2001:db8::ffff:2")));
        assert_ne!(limit_key(ip("2001:db8::1")), limit_key(ip("2001:db8:0:1::1")));
        assert_eq!(limit_key(ip("::ffff:192.0.2.1")), ip("192.0.2.1"));
        assert!(limit_key(ip("::1")).is_loopback());
        assert!(limit_key(ip("::ffff:127.0.0.1")).is_loopback());
    }
}
