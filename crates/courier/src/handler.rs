//! What fixtures say: boots and questions are answered from memory at once; everything becomes a command, and the
//! broker is acknowledged when what the message causes is durable, in the order of commits.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use document::Revision;
use rumqttc::{AsyncClient, Publish, QoS};
use service::{Actor, Command, ExecuteError, Fixture, Message, Outcome, Rejection};
use tokio::sync::{mpsc, oneshot};

use crate::answer::Outgoing;
use crate::problem;
use crate::resend::Resends;
use crate::shared::Shared;
use crate::topics::Up;

/// A message that waits for its commit.
pub(crate) struct Pending {
    publish: Publish,
    /// What it waits for, and the command to give again should the database fail; `None` when nothing is to be done.
    work: Option<(oneshot::Receiver<Result<Outcome, ExecuteError>>, Command)>,
}

/// Reads what comes in on a connection.
pub(crate) struct Handler {
    pub(crate) shared: Arc<Shared>,
    pub(crate) incoming: mpsc::UnboundedReceiver<Publish>,
    pub(crate) pending: mpsc::UnboundedSender<Pending>,
    pub(crate) outgoing: Outgoing,
}

impl Handler {
    pub(crate) async fn run(mut self) {
        while let Some(publish) = self.incoming.recv().await {
            let work = self.take(&publish).await;
            if self.pending.send(Pending { publish, work }).is_err() {
                return;
            }
        }
    }

    async fn take(&mut self, publish: &Publish) -> Option<(oneshot::Receiver<Result<Outcome, ExecuteError>>, Command)> {
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
        let command = Command::Hear { id: fixture.id.clone(), message };
        match self.shared.service.submit(command.clone(), Actor::fixture(id)).await {
            Ok(answer) => Some((answer, command)),
            // the daemon is stopping: not acknowledged, so it comes again
            Err(_) => Some((oneshot::channel().1, command)),
        }
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

/// Acknowledges in order, each when it is durable or refused.
pub(crate) struct Acknowledger {
    pub(crate) shared: Arc<Shared>,
    pub(crate) client: AsyncClient,
    pub(crate) pending: mpsc::UnboundedReceiver<Pending>,
    pub(crate) outgoing: Outgoing,
    pub(crate) waiting: Arc<AtomicUsize>,
    pub(crate) resends: Arc<Resends>,
}

impl Acknowledger {
    pub(crate) async fn run(mut self) {
        while let Some(Pending { publish, work }) = self.pending.recv().await {
            self.waiting.fetch_sub(1, Ordering::Relaxed);
            if let Some((answer, command)) = work
                && !self.settle(&publish, answer, command).await
            {
                return; // stopping: what is not acknowledged comes again
            }
            if publish.qos != QoS::AtMostOnce && self.client.ack(&publish).await.is_err() {
                return;
            }
        }
    }

    /// Waits until a message is durable or refused; whether it may be acknowledged.
    async fn settle(
        &self,
        publish: &Publish,
        answer: oneshot::Receiver<Result<Outcome, ExecuteError>>,
        command: Command,
    ) -> bool {
        let mut answer = answer.await;
        let mut pause = Duration::from_millis(200);
        loop {
            match answer {
                Ok(Ok(outcome)) => {
                    self.after(&command, &outcome, publish);
                    return true;
                }
                Ok(Err(ExecuteError::Rejected(rejection))) => {
                    let id = command.fixture().to_string();
                    tracing::info!(fixture = id, topic = publish.topic, %rejection, "a message was refused");
                    self.outgoing.problem(&id, || problem::rejected(&rejection, &publish.topic));
                    return true;
                }
                Ok(Err(ExecuteError::Store(service::StoreError::Stopped))) | Err(_) => return false,
                // the disk is full or fails: keep the message and try again with growing pauses
                Ok(Err(ExecuteError::Store(error))) => {
                    tracing::warn!(%error, topic = publish.topic, "a message waits for the database");
                    tokio::time::sleep(pause).await;
                    pause = (pause * 2).min(Duration::from_secs(30));
                    let id = command.fixture().to_string();
                    answer = match self.shared.service.submit(command.clone(), Actor::fixture(&id)).await {
                        Ok(again) => again.await,
                        Err(_) => return false,
                    };
                }
            }
        }
    }

    /// A fixture that is back without a boot may have missed something; one that boots with a revision that was never
    /// given (the house was restored from an older backup) must forget it.
    fn after(&self, command: &Command, outcome: &Outcome, publish: &Publish) {
        let (Command::Hear { message, .. }, Some(fixture)) = (command, &outcome.fixture) else { return };
        let current = fixture.desired.revision;
        match message {
            Message::Alive { alive: true } | Message::Report { .. } if fixture.life.applied != current => {
                self.resends.begin(fixture.key, self.shared.options.resend_first);
            }
            Message::Boot { have, .. } if *have > current.get() || fixture.life.doubted => {
                let rejection = Rejection::NeverGiven { rev: Revision::new(*have), current };
                self.outgoing.problem(fixture.id.as_str(), || problem::rejected(&rejection, &publish.topic));
            }
            _ => {}
        }
    }
}
