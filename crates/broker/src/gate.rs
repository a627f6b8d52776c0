//! The gate of one connection: its log-in, and every question that the broker library asks about its rights.

use crate::attempts::{Attempts, Verdict};
use crate::embedded::{DAEMON_CLIENT_ID, DAEMON_USERNAME};
use crate::options::{Action, Credentials, Refusal};
use crate::registry::{Claim, Line, Registry};
use crate::retained::{Client, Retained};
use crate::rules::{Who, may_publish, may_subscribe};
use crate::topics::{Prefix, is_fixture_id};
use mqtt5::broker::auth::{AuthProvider, AuthResult};
use mqtt5::broker::events::{BrokerEventHandler, ClientPublishEvent, ClientSubscribeEvent, PublishAction};
use mqtt5::packet::connect::ConnectPacket;
use mqtt5::protocol::v5::reason_codes::ReasonCode;
use std::future::{Future, ready};
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use subtle::ConstantTimeEq;
use tokio::sync::mpsc;
use tokio::time::Instant;
use tracing::{debug, warn};

/// How long a wrong secret waits for its answer when its name is past the limit.
const LATE: Duration = Duration::from_secs(1);
/// The client ids, and so the sessions, that one fixture may have at one time.
const IDS_PER_FIXTURE: usize = 4;
/// The same for the daemon's own username, which local tools may use too.
const IDS_OF_DAEMON: usize = 1024;
/// The most bytes of a topic that are told in a [`Refusal`].
const TOLD_BYTES: usize = 256;

type Answer<'a, T> = Pin<Box<dyn Future<Output = T> + Send + 'a>>;

/// What all connections of one broker share.
pub(crate) struct House {
    pub(crate) prefix: Prefix,
    pub(crate) credentials: Arc<dyn Credentials>,
    pub(crate) daemon_secret: String,
    pub(crate) attempts: Mutex<Attempts>,
    pub(crate) registry: Arc<Registry>,
    pub(crate) refusals: Option<mpsc::Sender<Refusal>>,
}

impl House {
    fn attempts(&self) -> std::sync::MutexGuard<'_, Attempts> {
        self.attempts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn admits(&self, username: &str, secret: &[u8]) -> bool {
        if username == DAEMON_USERNAME {
            return bool::from(self.daemon_secret.as_bytes().ct_eq(secret));
        }
        is_fixture_id(username) && self.credentials.admits(username, secret)
    }

    fn tell(&self, username: &str, topic: &str, action: Action) {
        debug!(username, topic, ?action, "refused");
        if username == DAEMON_USERNAME {
            return;
        }
        if let Some(refusals) = &self.refusals {
            let cut = topic.floor_char_boundary(TOLD_BYTES);
            // Full means that the daemon is behind: it has others to tell about, and the broker must not wait for it.
            let _ = refusals.try_send(Refusal {
                fixture: username.to_owned(),
                topic: topic.get(..cut).unwrap_or_default().to_owned(),
                action,
            });
        }
    }
}

fn who(username: &str) -> Who<'_> {
    if username == DAEMON_USERNAME { Who::Daemon } else { Who::Fixture(username) }
}

/// The gate of one connection.
pub(crate) struct Gate {
    house: Arc<House>,
    peer: SocketAddr,
    line: Line,
    retained: Arc<Retained>,
}

impl Gate {
    pub(crate) fn new(house: Arc<House>, peer: SocketAddr, line: Line, retained: Arc<Retained>) -> Self {
        Self { house, peer, line, retained }
    }

    /// The client id under which the connection has logged in.
    pub(crate) fn client_id(&self) -> Option<&str> {
        self.retained.client().map(|client| client.client_id.as_str())
    }

    /// Gives the client id back when the answer is dropped: the connection has ended, however it ended. (Not when the
    /// gate is dropped: a delayed last will keeps the gate for as long as its delay.)
    pub(crate) fn until_gone(&self) -> impl Drop + '_ {
        struct Gone<'a>(&'a Gate);
        impl Drop for Gone<'_> {
            fn drop(&mut self) {
                if let Some(client_id) = self.0.client_id() {
                    self.0.house.registry.release(client_id, self.0.line.number);
                }
            }
        }
        Gone(self)
    }

    async fn log_in(&self, connect: &ConnectPacket) -> Result<String, ReasonCode> {
        let username = connect.username.as_deref().unwrap_or_default();
        let address = self.peer.ip();
        if self.house.attempts().turned_away(address, username, Instant::now()) {
            debug!(peer = %self.peer, "turned away: too many failed log-ins from there within a minute");
            return Err(ReasonCode::ConnectionRateExceeded);
        }
        let secret = connect.password.as_deref().unwrap_or_default();
        if username.is_empty() || secret.is_empty() {
            return Err(self.failed(None, ReasonCode::NotAuthorized).await);
        }
        loop {
            let withdrawals = self.house.registry.withdrawals();
            if !self.house.admits(username, secret) {
                return Err(self.failed(Some(username), ReasonCode::BadUsernameOrPassword).await);
            }
            self.house.attempts().succeeded(address, username);
            self.check_client_id(username, &connect.client_id)?;
            self.check_will(username, connect)?;
            let most = if username == DAEMON_USERNAME { IDS_OF_DAEMON } else { IDS_PER_FIXTURE };
            let registry = &self.house.registry;
            match registry.claim(username, &connect.client_id, &self.line, withdrawals, most).await {
                Claim::Granted => break,
                Claim::Taken => {
                    warn!(username, client_id = connect.client_id, peer = %self.peer, "refused: that client id is another's");
                    return Err(ReasonCode::ClientIdentifierNotValid);
                }
                Claim::AskAgain => {}
            }
        }
        let client = Client {
            client_id: connect.client_id.clone(),
            protocol_version: connect.protocol_version,
            max_packet_bytes: connect.properties.get_maximum_packet_size(),
        };
        if let Err(twice) = self.retained.logged_in(client) {
            // A second CONNECT on one connection: the library ends it before it comes here. Give the id back anyway.
            self.house.registry.release(&twice.client_id, self.line.number);
            return Err(ReasonCode::ProtocolError);
        }
        Ok(username.to_owned())
    }

    /// Counts the failure, makes a flood wait, and gives the answer.
    async fn failed(&self, username: Option<&str>, answer: ReasonCode) -> ReasonCode {
        let known = username
            .filter(|name| *name == DAEMON_USERNAME || (is_fixture_id(name) && self.house.credentials.knows(name)));
        let verdict = self.house.attempts().failed(self.peer.ip(), known, Instant::now());
        match verdict {
            Verdict::Within => debug!(peer = %self.peer, username = known, "log-in failed"),
            Verdict::Reached => {
                warn!(peer = %self.peer, username = known, "many failed log-ins within a minute: further ones are answered late");
            }
            Verdict::Past => tokio::time::sleep(LATE).await,
        }
        answer
    }

    /// Fixtures may use any client id (many firmware libraries make their own) but those that stand for somebody else.
    fn check_client_id(&self, username: &str, client_id: &str) -> Result<(), ReasonCode> {
        if username == DAEMON_USERNAME {
            return Ok(());
        }
        // the daemon's own client id first: it has the form of a fixture's id, and a fixture may bear it
        let others = client_id.starts_with('@')
            || client_id == DAEMON_CLIENT_ID
            || (client_id != username && is_fixture_id(client_id) && self.house.credentials.knows(client_id));
        if others {
            warn!(username, client_id, peer = %self.peer, "refused: that client id stands for another");
            return Err(ReasonCode::ClientIdentifierNotValid);
        }
        Ok(())
    }

    fn check_will(&self, username: &str, connect: &ConnectPacket) -> Result<(), ReasonCode> {
        match &connect.will {
            Some(will) if !may_publish(&self.house.prefix, who(username), &will.topic) => {
                self.house.tell(username, &will.topic, Action::Will);
                Err(ReasonCode::NotAuthorized)
            }
            _ => Ok(()),
        }
    }
}

impl AuthProvider for Gate {
    fn authenticate<'a>(
        &'a self,
        connect: &'a ConnectPacket,
        _client_addr: SocketAddr,
    ) -> Answer<'a, mqtt5::error::Result<AuthResult>> {
        Box::pin(async move {
            Ok(match self.log_in(connect).await {
                Ok(username) => AuthResult::success_with_user(username),
                Err(reason) => AuthResult::fail(reason),
            })
        })
    }

    fn authorize_publish<'a>(&'a self, _client_id: &str, user_id: Option<&'a str>, topic: &'a str) -> Answer<'a, bool> {
        let username = user_id.unwrap_or_default();
        let may = may_publish(&self.house.prefix, who(username), topic);
        if !may {
            self.house.tell(username, topic, Action::Publish);
        }
        // MQTT 3.1.1 (section 3.3.5) knows no refusal: acknowledge or close. The library would answer with an
        // acknowledgement in the form of 5.0, which a 3.1.1 client cannot read. So its publication passes here, and
        // `on_client_publish` has it acknowledged without handing it to anybody.
        let cannot_be_told = self.retained.client().is_some_and(|client| client.protocol_version < 5);
        Box::pin(ready(may || cannot_be_told))
    }

    fn authorize_subscribe<'a>(
        &'a self,
        _client_id: &str,
        user_id: Option<&'a str>,
        topic_filter: &'a str,
    ) -> Answer<'a, bool> {
        let username = user_id.unwrap_or_default();
        let may = may_subscribe(&self.house.prefix, who(username), topic_filter);
        if !may {
            self.house.tell(username, topic_filter, Action::Subscribe);
        }
        Box::pin(async move {
            if may {
                self.retained.subscribing(topic_filter).await;
            }
            may
        })
    }
}

impl BrokerEventHandler for Gate {
    /// Drops, after the library has acknowledged it, whatever a client may not publish. See
    /// [`Gate::authorize_publish`].
    fn on_client_publish<'a>(&'a self, event: ClientPublishEvent) -> Answer<'a, PublishAction> {
        let username = event.user_id.as_deref().unwrap_or_default();
        Box::pin(ready(if may_publish(&self.house.prefix, who(username), &event.topic) {
            PublishAction::Continue
        } else {
            PublishAction::Handled
        }))
    }

    fn on_client_subscribe<'a>(&'a self, event: ClientSubscribeEvent) -> Answer<'a, ()> {
        Box::pin(async move { self.retained.subscribed(&event.subscriptions).await })
    }
}
