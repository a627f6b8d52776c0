//! Failed log-ins of the last minute, by address and by name.
//!
//! Fixtures' secrets are 256 random bits: nobody guesses one however often they try. The limits are there so that a
//! flood of wrong log-ins costs little and fills no log, and must therefore never keep a fixture with the right
//! secret out:
//!
//! * by name, nothing is refused unasked. Whoever knows a fixture's id could else lock it out by failing on purpose.
//!   Past the limit a wrong secret is answered late, so each of the flooder's connections gets a guess a second;
//! * by address, everything is turned away unasked past the limit, except names that this address has logged in with
//!   before: behind one router's address, one controller with an outdated secret must not lock out its neighbours.

use crate::addresses::limit_key;
use std::collections::{HashMap, HashSet, VecDeque};
use std::net::IpAddr;
use std::time::Duration;
use tokio::time::Instant;

const WINDOW: Duration = Duration::from_secs(60);
/// The most addresses and names remembered. Past it, all is forgotten: a flood from more addresses than this is beyond
/// what counting can help against, and memory must stay bounded.
const MOST_REMEMBERED: usize = 16_384;

/// What a failed log-in means for the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Within the limit.
    Within,
    /// This one reached the limit: worth one line in the log.
    Reached,
    /// Past the limit.
    Past,
}

/// The moments of the last failures, oldest first, never more than the limit.
#[derive(Debug, Default)]
struct Failures(VecDeque<Instant>);

impl Failures {
    fn forget_old(&mut self, now: Instant) {
        while self.0.front().is_some_and(|&at| now.saturating_duration_since(at) >= WINDOW) {
            self.0.pop_front();
        }
    }

    fn count(&mut self, now: Instant, limit: usize) -> Verdict {
        self.forget_old(now);
        if self.0.len() >= limit {
            // Sliding: the newest failures are the ones that count.
            self.0.pop_front();
            self.0.push_back(now);
            return Verdict::Past;
        }
        self.0.push_back(now);
        if self.0.len() == limit { Verdict::Reached } else { Verdict::Within }
    }
}

/// Counts failed log-ins.
#[derive(Debug)]
pub(crate) struct Attempts {
    limit: usize,
    limit_loopback: bool,
    by_address: HashMap<IpAddr, Failures>,
    by_name: HashMap<String, Failures>,
    good: HashSet<(IpAddr, String)>,
}

impl Attempts {
    pub(crate) fn new(limit_per_minute: u32, limit_loopback: bool) -> Self {
        Self {
            limit: usize::try_from(limit_per_minute).unwrap_or(usize::MAX).max(1),
            limit_loopback,
            by_address: HashMap::new(),
            by_name: HashMap::new(),
            good: HashSet::new(),
        }
    }

    /// Whether a log-in from `address` as `name` is to be turned away without a look at its secret.
    pub(crate) fn turned_away(&mut self, address: IpAddr, name: &str, now: Instant) -> bool {
        let key = limit_key(address);
        let Some(failures) = self.by_address.get_mut(&key) else {
            return false;
        };
        failures.forget_old(now);
        failures.0.len() >= self.limit && !self.good.contains(&(key, name.to_owned()))
    }

    /// Counts a failed log-in. `name` is `None` for a name that nobody has: those share one count, so that invented
    /// names take no memory. The answer is about the name; what the address has used up is told by
    /// [`Self::turned_away`].
    pub(crate) fn failed(&mut self, address: IpAddr, name: Option<&str>, now: Instant) -> Verdict {
        let key = limit_key(address);
        if self.limit_loopback || !key.is_loopback() {
            if self.by_address.len() >= MOST_REMEMBERED && !self.by_address.contains_key(&key) {
                self.by_address.clear();
            }
            self.by_address.entry(key).or_default().count(now, self.limit);
        }
        let name = name.unwrap_or_default();
        if self.by_name.len() >= MOST_REMEMBERED && !self.by_name.contains_key(name) {
            self.by_name.clear();
        }
        self.by_name.entry(name.to_owned()).or_default().count(now, self.limit)
    }

    /// Remembers that `name` logged in from `address`.
    pub(crate) fn succeeded(&mut self, address: IpAddr, name: &str) {
        let key = limit_key(address);
        if !self.limit_loopback && key.is_loopback() {
            return;
        }
        if self.good.len() >= MOST_REMEMBERED {
            self.good.clear();
        }
        self.good.insert((key, name.to_owned()));
    }

    /// Forgets what is older than the window.
    pub(crate) fn forget_old(&mut self, now: Instant) {
        fn any_left(failures: &mut Failures, now: Instant) -> bool {
            failures.forget_old(now);
            !failures.0.is_empty()
        }
        self.by_address.retain(|_, failures| any_left(failures, now));
        self.by_name.retain(|_, failures| any_left(failures, now));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn an_address_is_turned_away_at_its_limit_and_let_in_a_minute_later() {
        let mut attempts = Attempts::new(3, false);
        let start = Instant::now();
        for second in 0..3 {
            assert!(!attempts.turned_away(ip("192.0.2.1"), "stairs", start));
            attempts.failed(ip("192.0.2.1"), None, start + Duration::from_secs(second));
        }
        let at = |second| start + Duration::from_secs(second);
        assert!(attempts.turned_away(ip("192.0.2.1"), "stairs", at(3)));
        assert!(!attempts.turned_away(ip("192.0.2.2"), "stairs", at(3)));
        assert!(attempts.turned_away(ip("192.0.2.1"), "stairs", at(59)));
        assert!(!attempts.turned_away(ip("192.0.2.1"), "stairs", at(60)));
    }

    #[test]
    fn a_name_that_has_logged_in_from_an_address_is_not_turned_away_there() {
        let mut attempts = Attempts::new(2, false);
        let now = Instant::now();
        attempts.succeeded(ip("192.0.2.1"), "stairs");
        for _ in 0..5 {
            attempts.failed(ip("192.0.2.1"), Some("hall"), now);
        }
        assert!(attempts.turned_away(ip("192.0.2.1"), "hall", now));
        assert!(!attempts.turned_away(ip("192.0.2.1"), "stairs", now));
    }

    #[test]
    fn a_name_is_never_turned_away_only_answered_late() {
        let mut attempts = Attempts::new(2, false);
        let now = Instant::now();
        let verdicts: Vec<_> =
            (0..4).map(|n| attempts.failed(ip(&format!("192.0.2.{n}")), Some("stairs"), now)).collect();
        assert_eq!(verdicts, [Verdict::Within, Verdict::Reached, Verdict::Past, Verdict::Past]);
        assert!(!attempts.turned_away(ip("192.0.2.9"), "stairs", now));
        assert_eq!(attempts.failed(ip("192.0.2.9"), Some("hall"), now), Verdict::Within);
    }

    #[test]
    fn a_steady_flood_stays_past_the_limit() {
        let mut attempts = Attempts::new(2, false);
        let start = Instant::now();
        let last =
            (0..600).map(|n| attempts.failed(ip("192.0.2.1"), Some("stairs"), start + Duration::from_secs(n))).last();
        assert_eq!(last, Some(Verdict::Past));
        attempts.forget_old(start + Duration::from_secs(660));
        assert!(attempts.by_address.is_empty() && attempts.by_name.is_empty());
    }

    #[test]
    fn loopback_is_counted_by_name_only() {
        let mut attempts = Attempts::new(1, false);
        let now = Instant::now();
        assert_eq!(attempts.failed(ip("127.0.0.1"), Some("stairs"), now), Verdict::Reached);
        assert_eq!(attempts.failed(ip("::1"), Some("stairs"), now), Verdict::Past);
        assert!(!attempts.turned_away(ip("127.0.0.1"), "stairs", now));
    }

    #[test]
    fn invented_names_and_addresses_take_bounded_memory() {
        let mut attempts = Attempts::new(1, false);
        let now = Instant::now();
        for n in 0..40_000_u32 {
            attempts.failed(IpAddr::from(n.to_be_bytes()), None, now);
            attempts.succeeded(IpAddr::from(n.to_be_bytes()), "stairs");
        }
        assert!(attempts.by_address.len() <= MOST_REMEMBERED);
        assert!(attempts.good.len() <= MOST_REMEMBERED);
        assert_eq!(attempts.by_name.len(), 1);
    }
}
