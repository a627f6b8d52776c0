//! What fixtures say: boots and questions are answered from memory at once; everything becomes a command, and the
//! broker is acknowledged when what the message causes is durable, in the order of commits.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use document::Revision;
use rumqttc::{Publish, QoS};
use service::{Actor, Command, ExecuteError, Fixture, FixtureId, Message, Outcome, Rejection};
use tokio::sync::oneshot::error::TryRecvError;
use tokio::sync::{mpsc, oneshot};

use crate::answer::Outgoing;
use crate::line::{Hand, Over};
use crate::problem;
use crate::resend::Resends;
use crate::shared::Shared;
use crate::topics::Up;

type Answer = oneshot::Receiver<Result<Outcome, ExecuteError>>;

/// A message that waits for its commit.
pub(crate) struct Pending {
    publish: Publish,
    /// What it waits for; `None` when nothing is to be done.
    work: Option<Work>,
}

/// What a message waits for.
struct Work {
    answer: Answer,
    id: FixtureId,
    up: Up,
    /// The revision that a boot says it holds.
    have: u64,
}

/// Reads what comes in on a connection.
pub(crate) struct Handler {
    pub(crate) shared: Arc<Shared>,
    pub(crate) incoming: mpsc::UnboundedReceiver<Vec<Publish>>,
    pub(crate) pending: mpsc::UnboundedSender<Pending>,
    pub(crate) outgoing: Outgoing,
}

impl Handler {
    pub(crate) async fn run(mut self) {
        while let Some(messages) = self.incoming.recv().await {
            for publish in messages {
                let work = self.take(&publish).await;
                if self.pending.send(Pending { publish, work }).is_err() {
                    return;
                }
            }
        }
    }

    async fn take(&mut self, publish: &Publish) -> Option<Work> {
        let (id, up) = self.shared.topics.read(&publish.topic)?;
        let Some(fixture) = self.shared.service.house().get(id) else {
            tracing::debug!(topic = publish.topic, "a message of a fixture that is not known");
            return None;
        };
        // only `alive` is retained by rights; anything else that was stored is old news
        if publish.retain && up != Up::Alive {
            return None;
        }
        // an empty retained message is how a broker is told to forget one
        if up == Up::Alive && publish.payload.is_empty() {
            return None;
        }
        let message = match read(up, &publish.payload) {
            Ok(message) => message,
            Err(finding) => {
                tracing::info!(
                    fixture = id,
                    topic = publish.topic,
                    fault = finding.text,
                    "a message could not be read"
                );
                self.outgoing.problem(id, || problem::unreadable(&finding, &publish.topic));
                return None;
            }
        };
        // a stored sign of life that says what is known already is none
        if publish.retain && matches!(message, Message::Alive { alive } if fixture.life.alive == Some(alive)) {
            return None;
        }
        if matches!(message, Message::Boot { .. } | Message::Ask { .. }) {
            self.outgoing.answer(fixture.key);
        }
        if publish.dup && is_that_boot(&fixture, &message) {
            return None; // taken before; its acknowledgement was lost
        }
        let have = if let Message::Boot { have, .. } = message { have } else { 0 };
        let command = Command::Hear { id: fixture.id.clone(), message };
        // when the daemon is stopping, nobody answers: the message is not acknowledged, so it comes again
        let answer = self.shared.service.submit(command, Actor::fixture(id)).await;
        Some(Work { answer: answer.unwrap_or_else(|_| oneshot::channel().1), id: fixture.id.clone(), up, have })
    }
}

fn read(up: Up, payload: &[u8]) -> Result<Message, service::Finding> {
    match up {
        Up::Boot => Message::boot(payload),
        Up::Ask => Message::ask(payload),
        Up::Reported => Message::reported(payload),
        Up::Event => Message::event(payload),
        Up::Wish => Message::wish(payload),
        Up::Alive => Message::alive(payload),
    }
}

/// Whether a boot that comes again is the last one that was taken. Only its count can tell: two boots of a firmware
/// that does not count are alike to the letter.
fn is_that_boot(fixture: &Fixture, message: &Message) -> bool {
    let Message::Boot { reason, have, boots: boots @ Some(_), .. } = message else { return false };
    fixture.life.boot.as_ref().is_some_and(|last| last.reason == *reason && last.have == *have && last.boots == *boots)
}

/// Acknowledgements that are handed over together at most.
const TOGETHER: usize = 64;

/// Acknowledges in order, each when it is durable or refused.
pub(crate) struct Acknowledger {
    pub(crate) shared: Arc<Shared>,
    pub(crate) hand: Hand,
    pub(crate) pending: mpsc::UnboundedReceiver<Pending>,
    pub(crate) outgoing: Outgoing,
    pub(crate) waiting: Arc<AtomicUsize>,
    pub(crate) resends: Arc<Resends>,
}

impl Acknowledger {
    pub(crate) async fn run(mut self) {
        let mut settled = Vec::new();
        while let Some(Pending { publish, work }) = self.pending.recv().await {
            self.waiting.fetch_sub(1, Ordering::Relaxed);
            if let Some(work) = work
                && !self.settle(&publish, work, &mut settled).await
            {
                let _ = self.acknowledge(&mut settled);
                return; // stopping: what is not acknowledged comes again
            }
            if publish.qos != QoS::AtMostOnce {
                settled.push(publish.pkid);
            }
            // what one commit made durable is acknowledged together
            let more = settled.len() < TOGETHER && !self.pending.is_empty();
            if !more && self.acknowledge(&mut settled).is_err() {
                return;
            }
        }
    }

    fn acknowledge(&self, settled: &mut Vec<u16>) -> Result<(), Over> {
        if settled.is_empty() { Ok(()) } else { self.hand.acknowledge(std::mem::take(settled)) }
    }

    /// Waits until a message is durable or refused; whether it may be acknowledged. Those before it are acknowledged
    /// before it waits.
    async fn settle(&self, publish: &Publish, mut work: Work, settled: &mut Vec<u16>) -> bool {
        let mut pause = Duration::from_millis(200);
        loop {
            let answer = match work.answer.try_recv() {
                Err(TryRecvError::Empty) => {
                    if self.acknowledge(settled).is_err() {
                        return false;
                    }
                    (&mut work.answer).await
                }
                Ok(answer) => Ok(answer),
                Err(TryRecvError::Closed) => return false,
            };
            match answer {
                Ok(Ok(outcome)) => {
                    if let Some(fixture) = &outcome.fixture {
                        self.after(fixture, work.up, work.have, publish);
                    }
                    return true;
                }
                Ok(Err(ExecuteError::Rejected(rejection))) => {
                    let id = work.id.as_str();
                    tracing::info!(fixture = id, topic = publish.topic, %rejection, "a message was refused");
                    self.outgoing.problem(id, || problem::rejected(&rejection, &publish.topic));
                    return true;
                }
                Ok(Err(ExecuteError::Store(service::StoreError::Stopped))) | Err(_) => return false,
                // the disk is full or fails: keep the message and try again with growing pauses
                Ok(Err(ExecuteError::Store(error))) => {
                    tracing::warn!(%error, topic = publish.topic, "a message waits for the database");
                    tokio::time::sleep(pause).await;
                    pause = (pause * 2).min(Duration::from_secs(30));
                    // what could be read once can be read again
                    let Ok(message) = read(work.up, &publish.payload) else { return true };
                    let command = Command::Hear { id: work.id.clone(), message };
                    work.answer = match self.shared.service.submit(command, Actor::fixture(work.id.as_str())).await {
                        Ok(again) => again,
                        Err(_) => return false,
                    };
                }
            }
        }
    }

    /// A fixture that is back without a boot may have missed something; one that boots with a revision that was never
    /// given (the house was restored from an older backup) must forget it.
    fn after(&self, fixture: &Fixture, up: Up, have: u64, publish: &Publish) {
        let current = fixture.desired.revision;
        match up {
            // of a will that says that it is gone, nothing is sent again
            Up::Alive | Up::Reported if fixture.life.applied != current && fixture.life.alive != Some(false) => {
                self.resends.begin(fixture.key, self.shared.options.resend_first);
            }
            Up::Boot if have > current.get() || fixture.life.doubted => {
                let rejection = Rejection::NeverGiven { rev: Revision::new(have), current };
                self.outgoing.problem(fixture.id.as_str(), || problem::rejected(&rejection, &publish.topic));
            }
            _ => {}
        }
    }
}
