//! What happens by time alone: overrides end, and what shows changes. One task sleeps until the next deadline of any
//! fixture.
//!
//! What was published of a fixture at an instant is right until its deadline, since the kernel tells when it changes.
//! So nothing has to be remembered of what showed: at the deadline the fixture is renewed in the outbox, and the
//! courier makes its messages of what holds then. Whatever the clock does in the meantime, no step of the past is
//! sent: a clock that goes on past several changes finds the deadline passed, once; one that is set back is noticed by
//! the time that it showed before, and whoever was looked at later than it shows now is looked at anew.

mod deadlines;

use std::collections::VecDeque;
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};
use kernel::{Actor, Command, Fixture, FixtureKey, Timing};
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use crate::service::Service;
use deadlines::Deadlines;

/// How long to wait before an override that has ended but could not be cleared is tried again.
const AGAIN: SignedDuration = SignedDuration::from_secs(30);
/// So many fixtures are taken up before others get their turn …
const AT_ONCE: usize = 1_024;
/// … and so many of those that time changes, which are read and reckoned with.
const RECKONED_AT_ONCE: usize = 64;

/// Why a fixture is to be looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Why {
    /// What was published of it may not be right any more: it is published anew.
    Time,
    /// It may have changed without the scheduler hearing of it. A change is published by itself.
    Change,
}

struct Scheduler {
    service: Arc<Service>,
    deadlines: Deadlines,
    /// Who is to be looked at, the most urgent first.
    queue: VecDeque<(FixtureKey, Why)>,
    /// What the clock showed last.
    seen: Timestamp,
    /// How many timetables cannot be followed for want of a place; told once, when all were looked at.
    without_place: Option<usize>,
}

/// Runs until it is told to stop. What has ended or changed while the daemon was down is made up for at the start.
pub async fn run_scheduler(service: Arc<Service>, stop: CancellationToken) {
    let mut committed = service.committed();
    let seen = service.now();
    let mut scheduler = Scheduler {
        service: Arc::clone(&service),
        deadlines: Deadlines::default(),
        queue: VecDeque::new(),
        seen,
        without_place: Some(0),
    };
    scheduler.look_at_all(Why::Time);
    loop {
        let now = scheduler.now();
        if scheduler.deadlines.first().is_some_and(|due| due <= now) {
            scheduler.take_due(now);
        }
        tokio::select! {
            () = stop.cancelled() => return,
            hint = committed.recv() => match hint {
                Ok(changes) => {
                    let now = scheduler.now();
                    for fixture in changes.iter().filter_map(|change| change.after.as_deref()) {
                        scheduler.changed(fixture.key, now);
                    }
                }
                // hints were missed: look at everything
                Err(RecvError::Lagged(_)) => scheduler.look_at_all(Why::Change),
                Err(RecvError::Closed) => return,
            },
            () = std::future::ready(()), if !scheduler.queue.is_empty() => {
                scheduler.look_at_some().await;
                tokio::task::yield_now().await;
            }
            () = wait(&service, scheduler.deadlines.first(), now) => {}
        }
        scheduler.tell_without_place();
    }
}

async fn wait(service: &Service, next: Option<Timestamp>, seen: Timestamp) {
    match next {
        Some(when) => service.clock.until(when, seen).await,
        None => std::future::pending().await,
    }
}

impl Scheduler {
    /// The time now. Where the clock was set back, those are taken up that were looked at later than that.
    fn now(&mut self) -> Timestamp {
        let now = self.service.now();
        if now < self.seen {
            let later = self.deadlines.later_than(now);
            tracing::info!(from = %self.seen, to = %now, fixtures = later.len(), "the clock was set back");
            self.queue.extend(later.into_iter().map(|key| (key, Why::Time)));
        }
        self.seen = now;
        now
    }

    fn look_at_all(&mut self, why: Why) {
        self.queue.extend(self.service.house().all().into_iter().map(|fixture| (fixture.key, why)));
    }

    /// Takes up all that is due, before whatever waits already.
    fn take_due(&mut self, now: Timestamp) {
        for key in self.deadlines.due(now).into_iter().rev() {
            self.queue.push_front((key, Why::Time));
        }
    }

    /// A fixture has changed, and is published by itself. What is published is made after the change, so it is right at
    /// that instant or later; it is not known whether it was made before what time has changed since. Gives whether
    /// that had to be reckoned.
    fn changed(&mut self, key: FixtureKey, now: Timestamp) -> bool {
        let Some(fixture) = self.service.house().by_key(key) else {
            self.deadlines.forget(key);
            return false;
        };
        if self.deadlines.knows(&fixture) {
            return false; // a sign of life
        }
        let at = fixture.desired.at.max(fixture.record_held.at).min(now);
        let timing = self.timing(&fixture, at);
        match timing {
            Some(timing) if timing.override_has_ended => self.deadlines.set(&fixture, at, Some(at)),
            Some(timing) => self.deadlines.set(&fixture, at, timing.next),
            None => self.deadlines.forget(key),
        }
        timing.is_some()
    }

    fn timing(&self, fixture: &Fixture, now: Timestamp) -> Option<Timing> {
        fixture.timing(self.service.site(), &self.service.running(fixture), now)
    }

    /// Looks at some of those that are to be looked at.
    async fn look_at_some(&mut self) {
        let now = self.now();
        let (mut renewed, mut ended) = (Vec::new(), Vec::new());
        let mut reckoned = 0;
        for _ in 0..AT_ONCE {
            if reckoned == RECKONED_AT_ONCE {
                break;
            }
            let Some((key, why)) = self.queue.pop_front() else { break };
            if why == Why::Change {
                reckoned += usize::from(self.changed(key, now));
                continue;
            }
            let fixture = self.service.house().by_key(key);
            let Some((fixture, timing)) =
                fixture.and_then(|fixture| self.timing(&fixture, now).map(|timing| (fixture, timing)))
            else {
                self.deadlines.forget(key);
                continue;
            };
            reckoned += 1;
            self.without_place = self.without_place.map(|count| count + usize::from(timing.lacks_place));
            if timing.override_has_ended {
                ended.push(fixture);
            } else {
                self.deadlines.set(&fixture, now, timing.next);
                renewed.push(fixture);
            }
        }
        self.service.outbox().renew(renewed.iter().map(AsRef::as_ref));
        self.clear(ended).await;
    }

    /// Clears the overrides of fixtures, with one commit if the writer has nothing else to do.
    async fn clear(&mut self, ended: Vec<Arc<Fixture>>) {
        let mut waiting = Vec::with_capacity(ended.len());
        for fixture in ended {
            let tick = Command::Tick { id: fixture.id.clone() };
            waiting.push((fixture, self.service.submit(tick, Actor::daemon()).await));
        }
        for (before, answer) in waiting {
            let done = match answer {
                Ok(answer) => answer.await.unwrap_or(Err(store::StoreError::Stopped.into())),
                Err(error) => Err(error.into()),
            };
            if let Err(error) = done {
                tracing::warn!(fixture = %before.id, %error, "an ended override could not be cleared");
            }
            self.cleared(before.key);
        }
    }

    /// Notes how a fixture stands whose override was to be cleared. One that could not be is published all the same,
    /// for it does not show any more.
    fn cleared(&mut self, key: FixtureKey) {
        let Some(fixture) = self.service.house().by_key(key) else { return self.deadlines.forget(key) };
        let now = self.now();
        match self.timing(&fixture, now) {
            None => self.deadlines.forget(key),
            Some(timing) if timing.override_has_ended => {
                let again = now.checked_add(AGAIN).unwrap_or(Timestamp::MAX);
                self.deadlines.set(&fixture, now, Some(timing.next.map_or(again, |next| next.min(again))));
                self.service.outbox().renew([&*fixture]);
            }
            Some(timing) => self.deadlines.set(&fixture, now, timing.next),
        }
    }

    /// Tells of timetables that are not followed, once, after the first look at everything.
    fn tell_without_place(&mut self) {
        if self.queue.is_empty()
            && let Some(count) = self.without_place.take()
            && count > 0
        {
            tracing::warn!(
                fixtures = count,
                "no place is known of fixtures with a timetable, so it is not followed: set site.latitude, site.longitude and site.zone, or a place in the record of each"
            );
        }
    }
}

#[cfg(test)]
mod tests;
