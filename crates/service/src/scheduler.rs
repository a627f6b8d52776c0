//! What happens by time alone: overrides that end. One task sleeps until the next deadline of any fixture.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};
use kernel::{Actor, Command, Fixture, FixtureId};
use tokio::sync::broadcast::error::RecvError;
use tokio_util::sync::CancellationToken;

use crate::service::Service;

/// Deadlines in order, one a fixture.
#[derive(Default)]
struct Deadlines {
    order: BTreeSet<(Timestamp, FixtureId)>,
    of: HashMap<FixtureId, Timestamp>,
}

impl Deadlines {
    fn set(&mut self, id: &FixtureId, when: Option<Timestamp>) {
        if let Some(old) = self.of.remove(id) {
            self.order.remove(&(old, id.clone()));
        }
        if let Some(when) = when {
            self.of.insert(id.clone(), when);
            self.order.insert((when, id.clone()));
        }
    }

    fn first(&self) -> Option<Timestamp> {
        self.order.first().map(|(when, _)| *when)
    }

    fn due(&mut self, now: Timestamp) -> Vec<FixtureId> {
        let mut due = Vec::new();
        while let Some((when, id)) = self.order.first().cloned()
            && when <= now
        {
            self.set(&id, None);
            due.push(id);
        }
        due
    }
}

/// How long to wait before an override that has ended but could not be cleared is tried again.
const AGAIN: SignedDuration = SignedDuration::from_secs(30);

/// Runs until it is told to stop. Overrides that ended while the daemon was down are cleared at once.
pub async fn run_scheduler(service: Arc<Service>, stop: CancellationToken) {
    let mut committed = service.committed();
    let mut deadlines = Deadlines::default();
    look_at_all(&service, &mut deadlines).await;
    loop {
        let next = deadlines.first();
        tokio::select! {
            () = stop.cancelled() => return,
            hint = committed.recv() => match hint {
                Ok(changes) => {
                    let now = service.now();
                    for change in changes.iter() {
                        deadlines.set(&change.id, change.after.as_deref().and_then(|fixture| deadline(fixture, now)));
                    }
                }
                // hints were missed: look at everything
                Err(RecvError::Lagged(_)) => look_at_all(&service, &mut deadlines).await,
                Err(RecvError::Closed) => return,
            },
            () = wait(&service, next) => {
                for id in deadlines.due(service.now()) {
                    tick(&service, &mut deadlines, &id).await;
                }
            }
        }
    }
}

async fn wait(service: &Service, next: Option<Timestamp>) {
    match next {
        Some(when) => service.clock.until(when).await,
        None => std::future::pending().await,
    }
}

/// When to look at a fixture next. An override that has ended already is due at once: its end may have passed between
/// the commit that set it and the hint of that commit.
fn deadline(fixture: &Fixture, now: Timestamp) -> Option<Timestamp> {
    if fixture.override_has_ended(now) { Some(now) } else { fixture.next_deadline(now) }
}

async fn look_at_all(service: &Service, deadlines: &mut Deadlines) {
    *deadlines = Deadlines::default();
    for fixture in service.house().all() {
        tick(service, deadlines, &fixture.id).await;
    }
}

/// Clears a fixture's override if it has ended, and sets when to look at the fixture next.
async fn tick(service: &Service, deadlines: &mut Deadlines, id: &FixtureId) {
    let ended = |now| service.house().get(id.as_str()).is_some_and(|fixture| fixture.override_has_ended(now));
    if ended(service.now())
        && let Err(error) = service.execute(Command::Tick { id: id.clone() }, Actor::daemon(), None).await
    {
        tracing::warn!(fixture = %id, %error, "an ended override could not be cleared");
    }
    let now = service.now();
    let next = if ended(now) {
        now.checked_add(AGAIN).ok()
    } else {
        service.house().get(id.as_str()).and_then(|fixture| fixture.next_deadline(now))
    };
    deadlines.set(id, next);
}
