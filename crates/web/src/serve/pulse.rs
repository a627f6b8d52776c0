//! The pulse of a connection: what it does is counted, and a connection that has done nothing for too long is found by
//! looking at the count now and then. A timer for every request would cost more than most requests do.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::Relaxed};
use std::time::Duration;

/// What a connection has done. Its own task alone writes here.
#[derive(Debug, Default)]
pub(super) struct Pulse {
    requests: AtomicU64,
    writes: AtomicU64,
    answering: AtomicBool,
}

/// A request that is being answered, until this is dropped.
#[derive(Debug)]
pub(super) struct Answering(Arc<Pulse>);

impl Drop for Answering {
    fn drop(&mut self) {
        self.0.answering.store(false, Relaxed);
    }
}

impl Pulse {
    /// The head of a request has come whole.
    pub(super) fn asked(pulse: &Arc<Self>) -> Answering {
        pulse.requests.store(pulse.requests.load(Relaxed).wrapping_add(1), Relaxed);
        pulse.answering.store(true, Relaxed);
        Answering(Arc::clone(pulse))
    }

    /// Something of an answer was taken.
    pub(super) fn wrote(&self) {
        self.writes.store(self.writes.load(Relaxed).wrapping_add(1), Relaxed);
    }
}

/// Resolves when the head of the first request has not come within `first`, or when nothing was asked for `further` after
/// the last answer was taken. It looks every `first`, or every quarter of `further` if that is less, and may be late
/// by as much. Bytes of a head that is not whole do not count: a head that drips is no request.
pub(super) async fn silence(pulse: &Pulse, first: Duration, further: Duration) {
    let mut watch = Watch { first, further, step: first.min(further / 4), seen: (0, 0), quiet: Duration::ZERO };
    loop {
        tokio::time::sleep(watch.step).await;
        if watch.finds_silence(pulse) {
            return;
        }
    }
}

/// Somebody who looks at a pulse once every step.
#[derive(Debug)]
struct Watch {
    first: Duration,
    further: Duration,
    step: Duration,
    /// Requests and writes, as of the last look.
    seen: (u64, u64),
    quiet: Duration,
}

impl Watch {
    /// Looks, a step after the last look or the beginning.
    fn finds_silence(&mut self, pulse: &Pulse) -> bool {
        let now = (pulse.requests.load(Relaxed), pulse.writes.load(Relaxed));
        if now != self.seen || pulse.answering.load(Relaxed) {
            (self.seen, self.quiet) = (now, Duration::ZERO);
            return false;
        }
        self.quiet += self.step;
        self.quiet >= if now.0 == 0 { self.first } else { self.further }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watch() -> Watch {
        let [first, further] = [10, 60].map(Duration::from_secs);
        Watch { first, further, step: first, seen: (0, 0), quiet: Duration::ZERO }
    }

    #[test]
    fn a_connection_that_never_asks_is_found_after_the_first_bound() {
        assert!(watch().finds_silence(&Pulse::default()));
    }

    #[test]
    fn one_that_has_asked_is_found_a_step_after_the_further_bound_at_the_latest() {
        let (pulse, mut watch) = (Arc::new(Pulse::default()), watch());
        drop(Pulse::asked(&pulse));
        let looks: Vec<bool> = (0..7).map(|_| watch.finds_silence(&pulse)).collect();
        assert_eq!(looks, [false, false, false, false, false, false, true]);
    }

    #[test]
    fn neither_an_answer_under_way_nor_one_that_is_being_taken_is_silence() {
        let (pulse, mut watch) = (Arc::new(Pulse::default()), watch());
        let asked = Pulse::asked(&pulse);
        assert!((0..100).all(|_| !watch.finds_silence(&pulse)));
        drop(asked);
        for _ in 0..20 {
            assert!((0..5).all(|_| !watch.finds_silence(&pulse)));
            pulse.wrote();
        }
        assert!((0..6).all(|_| !watch.finds_silence(&pulse)));
        assert!(watch.finds_silence(&pulse));
    }
}
