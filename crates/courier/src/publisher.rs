//! The one task that publishes on a connection: answers first, then the outbox, then what is sent again.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use service::{Due, FixtureKey, Rejection};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::time::Instant;

use crate::answer::{Letter, Out, Outgoing};
use crate::flight::{Aloft, Flight};
use crate::line::{Hand, Over, Parcel};
use crate::problem;
use crate::resend::Resends;
use crate::shared::Shared;

/// Fixtures whose publication may be unacknowledged at a time. Beyond it the latest state of each waits and wins.
pub(crate) const IN_FLIGHT: usize = 256;
/// Fixtures of the outbox that are published in one turn.
const A_TURN: usize = 8;
/// With more fixtures than this on their way, each of them rests after its landing, so that a storm of edits leaves the
/// machine to the edits.
const MANY: usize = 16;
/// How long such a fixture rests before its next state goes out: nobody sees it, and the latest state wins.
const REST: Duration = Duration::from_millis(20);

pub(crate) struct Publisher {
    pub(crate) shared: Arc<Shared>,
    pub(crate) hand: Hand,
    pub(crate) aloft: Aloft,
    /// What waited for the landing of its fixture, and may go.
    pub(crate) ready: VecDeque<Due>,
    /// Fixtures whose publication has landed.
    pub(crate) free: mpsc::UnboundedReceiver<FixtureKey>,
    /// Fixtures that rest after their landing, and until when; in this order.
    pub(crate) resting: VecDeque<(Instant, FixtureKey)>,
    pub(crate) resends: Arc<Resends>,
    pub(crate) outgoing: mpsc::UnboundedReceiver<Out>,
    pub(crate) to_publisher: Outgoing,
    pub(crate) landed: mpsc::UnboundedSender<(FixtureKey, i64)>,
    pub(crate) room: Arc<Semaphore>,
}

impl Publisher {
    pub(crate) async fn run(mut self) {
        while self.turn().await.is_ok() {}
    }

    async fn turn(&mut self) -> Result<(), Over> {
        let shared = Arc::clone(&self.shared);
        tokio::select! {
            biased;
            out = self.outgoing.recv() => self.answer(out.ok_or(Over)?).await,
            key = self.free.recv() => {
                let key = key.ok_or(Over)?;
                if self.aloft.len() > MANY {
                    self.resting.push_back((Instant::now() + REST, key));
                } else {
                    self.ready.extend(self.aloft.landed(key));
                }
                Ok(())
            }
            () = rested(self.resting.front()) => {
                if let Some((_, key)) = self.resting.pop_front() {
                    self.ready.extend(self.aloft.landed(key));
                }
                Ok(())
            }
            room = room_for(&self.room, &shared, !self.ready.is_empty()) => self.publish(room?).await,
            (key, pause) = self.resends.due() => self.send_again(key, pause).await,
        }
    }

    async fn hand(&self, letters: Vec<Letter>, flight: Option<Arc<Flight>>) -> Result<(), Over> {
        self.hand.send(Parcel { letters, flight }).await
    }

    /// Publishes what waited for a landing and what came into the outbox, as much as there is room for.
    async fn publish(&mut self, first: OwnedSemaphorePermit) -> Result<(), Over> {
        // nobody else takes room, so there cannot be less of it by the time that it is taken
        let most = (1 + self.room.available_permits()).min(A_TURN);
        let mut dues: Vec<Due> = self.ready.drain(..most.min(self.ready.len())).collect();
        dues.extend(self.shared.service.outbox().take(most - dues.len()));
        let mut room = Some(first);
        for due in dues {
            let Some(due) = self.aloft.start(due) else { continue };
            let Some(room) = room.take().or_else(|| Arc::clone(&self.room).try_acquire_owned().ok()) else {
                return Err(Over);
            };
            self.publish_due(due, room).await?;
        }
        Ok(())
    }

    async fn answer(&self, out: Out) -> Result<(), Over> {
        match out {
            Out::State(key) => {
                self.to_publisher.answering(key);
                // looked up now, not when it was asked for: an answer must not be older than what is published
                let Some(fixture) = self.shared.service.house().by_key(key) else { return Ok(()) };
                self.hand(self.shared.state(&fixture, false), None).await?;
                self.resends.begin(fixture.key, self.shared.options.resend_first);
                Ok(())
            }
            Out::Problem { id, payload } => {
                let topic = self.shared.topics.down(&id, "problem");
                self.hand(vec![Letter { topic, retained: false, payload }], None).await
            }
        }
    }

    async fn publish_due(&self, due: Due, room: OwnedSemaphorePermit) -> Result<(), Over> {
        let house = self.shared.service.house();
        let letters = match house.by_key(due.key) {
            Some(fixture) => {
                self.resends.begin(fixture.key, self.shared.options.resend_first);
                self.shared.news(&fixture)
            }
            None => {
                self.shared.forget(due.key);
                // a fixture made anew under this id has retained messages of its own
                if house.get(due.id.as_str()).is_some() { Vec::new() } else { self.shared.withdrawal(&due.id) }
            }
        };
        if letters.is_empty() {
            let _ = self.landed.send((due.key, due.ticket));
            return Ok(());
        }
        let flight = Flight::new(due.key, due.ticket, letters.len(), self.landed.clone(), room);
        self.hand(letters, Some(flight)).await
    }

    async fn send_again(&self, key: FixtureKey, pause: Duration) -> Result<(), Over> {
        let Some(fixture) = self.shared.service.house().by_key(key) else { return Ok(()) };
        let life = &fixture.life;
        // nobody is there, or it has what it should have: nothing to send; its next boot begins anew
        if life.heard.is_none() || life.alive == Some(false) || life.applied == fixture.desired.revision {
            return Ok(());
        }
        self.hand(self.shared.again(&fixture), None).await?;
        if life.doubted {
            // it may hold a revision of before the house was restored, and would take no older one
            let current = fixture.desired.revision;
            let rejection = Rejection::NeverGiven { rev: current.next(), current };
            self.to_publisher.problem(fixture.id.as_str(), || problem::rejected(&rejection, ""));
        }
        self.resends.again(key, pause, self.shared.options.resend_longest);
        Ok(())
    }
}

/// When the first of those that rest has rested.
async fn rested(first: Option<&(Instant, FixtureKey)>) {
    match first {
        Some((until, _)) => tokio::time::sleep_until(*until).await,
        None => std::future::pending().await,
    }
}

/// Room for one more fixture in flight, once something is due.
async fn room_for(room: &Arc<Semaphore>, shared: &Shared, ready: bool) -> Result<OwnedSemaphorePermit, Over> {
    if !ready {
        shared.service.outbox().came().await;
    }
    Arc::clone(room).acquire_owned().await.map_err(|_| Over)
}
