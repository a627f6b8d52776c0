//! Failed log-ins are slowed: the answer to each comes later than to the one before, by address. Nobody is locked out.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use tokio::time::Instant;

/// The longest pause before a failed log-in is answered.
const LONGEST: Duration = Duration::from_secs(2);
/// The longest for the machine itself, where a script with a wrong token is likelier than a stranger.
const LONGEST_LOOPBACK: Duration = Duration::from_millis(200);
/// The first pause.
const FIRST: Duration = Duration::from_millis(50);
/// After so long without failure an address begins anew.
const FORGOTTEN: Duration = Duration::from_secs(300);
/// So many addresses are kept in mind; past that the oldest go.
const ADDRESSES: usize = 4096;

/// Counts failed log-ins by address.
#[derive(Debug, Default)]
pub(crate) struct Throttle(Mutex<HashMap<IpAddr, (u32, Instant)>>);

impl Throttle {
    /// Notes a failed log-in and says how long its answer has to wait.
    pub(crate) fn failed(&self, address: IpAddr, now: Instant) -> Duration {
        let key = network(address);
        let mut counts = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if counts.len() >= ADDRESSES && !counts.contains_key(&key) {
            counts.retain(|_, (_, last)| now.saturating_duration_since(*last) < FORGOTTEN);
            if counts.len() >= ADDRESSES
                && let Some(oldest) = counts.iter().min_by_key(|(_, (_, last))| *last).map(|(key, _)| *key)
            {
                counts.remove(&oldest);
            }
        }
        let (count, last) = counts.entry(key).or_insert((0, now));
        if now.saturating_duration_since(*last) >= FORGOTTEN {
            *count = 0;
        }
        let longest = if address.is_loopback() { LONGEST_LOOPBACK } else { LONGEST };
        let pause = FIRST.saturating_mul(1 << (*count).min(10)).min(longest);
        *count = count.saturating_add(1);
        *last = now;
        pause
    }

    /// A log-in succeeded: the address begins anew.
    pub(crate) fn succeeded(&self, address: IpAddr) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&network(address));
    }
}

/// What counts as one address: with IPv6 a whole /64, since a single host has all of it.
pub(crate) fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(v6) if !v6.is_loopback() => {
            IpAddr::V6(std::net::Ipv6Addr::from_bits(v6.to_bits() & !u128::from(u64::MAX)))
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn pauses_grow_to_two_seconds_and_no_further() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        let pauses: Vec<u128> = (0..9).map(|_| throttle.failed(address("192.0.2.7"), now).as_millis()).collect();
        assert_eq!(pauses, [50, 100, 200, 400, 800, 1600, 2000, 2000, 2000]);
    }

    #[test]
    fn the_machine_itself_waits_a_little_only() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        let last = (0..20).map(|_| throttle.failed(address("127.0.0.1"), now)).last();
        assert_eq!(last, Some(LONGEST_LOOPBACK));
    }

    #[test]
    fn a_success_or_five_quiet_minutes_begin_anew() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        let a = address("192.0.2.7");
        throttle.failed(a, now);
        throttle.failed(a, now);
        throttle.succeeded(a);
        assert_eq!(throttle.failed(a, now), FIRST);
        assert_eq!(throttle.failed(a, now + FORGOTTEN), FIRST);
    }

    #[test]
    fn all_addresses_of_one_ipv6_network_count_as_one() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        throttle.failed(address("2001:db8::1"), now);
        assert_eq!(throttle.failed(address("2001:db8::2"), now), FIRST * 2);
        assert_eq!(throttle.failed(address("2001:db8:0:1::2"), now), FIRST);
    }

    #[test]
    fn a_flood_of_addresses_is_not_all_kept() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        for n in 0..10_000_u32 {
            throttle.failed(IpAddr::V4(std::net::Ipv4Addr::from_bits(0x0a00_0000 + n)), now);
        }
        assert!(throttle.0.lock().unwrap().len() <= ADDRESSES);
    }
}
