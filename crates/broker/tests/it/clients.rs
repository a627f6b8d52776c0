//! A broker with two fixtures enrolled, and rumqttc clients that say what they hear.

use broker::{Credentials, DAEMON_CLIENT_ID, DAEMON_USERNAME, Embedded, Options, Refusal};
use bytes_of::payload;
use rumqttc::{AsyncClient, ConnAck, ConnectReturnCode, ConnectionError, Event, MqttOptions, Packet, QoS};
use rumqttc::{SubscribeFilter, SubscribeReasonCode};
use std::collections::HashMap;
use std::future::Future;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// The two fixtures of most tests and their secrets.
pub(crate) const STAIRS: (&str, &str) = ("stairs", "secret of the stairs");
pub(crate) const HALL: (&str, &str) = ("hall", "secret of the hall");

/// Waits for something that must happen, however slow the machine is, but not for ever.
pub(crate) async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    tokio::time::timeout(Duration::from_secs(60), future)
        .await
        .unwrap_or_else(|_| panic!("waited for a minute: {what}"))
}

/// The fixtures that may come in.
#[derive(Default)]
pub(crate) struct Enrolled(Mutex<HashMap<String, String>>);

impl Enrolled {
    pub(crate) fn enrol(&self, fixture: &str, secret: &str) {
        self.0.lock().unwrap().insert(fixture.to_owned(), secret.to_owned());
    }

    pub(crate) fn remove(&self, fixture: &str) {
        self.0.lock().unwrap().remove(fixture);
    }
}

impl Credentials for Enrolled {
    fn admits(&self, username: &str, secret: &[u8]) -> bool {
        assert_ne!(username, DAEMON_USERNAME, "the daemon's own name is not asked about");
        self.0.lock().unwrap().get(username).is_some_and(|theirs| theirs.as_bytes() == secret)
    }

    fn knows(&self, username: &str) -> bool {
        self.0.lock().unwrap().contains_key(username)
    }
}

/// A broker with stairs and hall enrolled.
pub(crate) struct House {
    pub(crate) broker: Embedded,
    pub(crate) enrolled: Arc<Enrolled>,
    pub(crate) refusals: mpsc::Receiver<Refusal>,
}

impl House {
    pub(crate) async fn open() -> Self {
        Self::with(Options::default()).await
    }

    pub(crate) async fn with(options: Options) -> Self {
        let enrolled = Arc::new(Enrolled::default());
        for (fixture, secret) in [STAIRS, HALL] {
            enrolled.enrol(fixture, secret);
        }
        let (sender, refusals) = mpsc::channel(64);
        let options = Options { refusals: Some(sender), ..options };
        let broker = Embedded::start(options, Arc::clone(&enrolled) as _).await.unwrap();
        Self { broker, enrolled, refusals }
    }

    pub(crate) fn addr(&self) -> SocketAddr {
        self.broker.local_addr()
    }

    /// How a client with this id and these credentials would connect.
    pub(crate) fn options(&self, client_id: &str, (username, secret): (&str, &str)) -> MqttOptions {
        let addr = self.addr();
        let mut options = MqttOptions::new(client_id, addr.ip().to_string(), addr.port());
        options.set_credentials(username, secret);
        options.set_max_packet_size(1 << 20, 1 << 20);
        options
    }

    pub(crate) fn daemon_options(&self) -> MqttOptions {
        self.options(DAEMON_CLIENT_ID, (self.broker.daemon_username(), self.broker.daemon_secret()))
    }

    /// The daemon, hearing every fixture.
    pub(crate) async fn daemon(&self) -> Client {
        let mut daemon = Client::connect(self.daemon_options()).await;
        for filter in self.broker.prefix().up_filters() {
            assert!(daemon.subscribe(&filter).await, "{filter} was refused");
        }
        daemon
    }

    pub(crate) async fn fixture(&self, (fixture, secret): (&str, &str)) -> Client {
        Client::connect(self.options(fixture, (fixture, secret))).await
    }

    /// The next refusal that the daemon is told.
    pub(crate) async fn refusal(&mut self) -> Refusal {
        within("a refusal", self.refusals.recv()).await.unwrap()
    }
}

/// A message that arrived.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Heard {
    pub(crate) topic: String,
    pub(crate) payload: String,
    pub(crate) retain: bool,
}

mod bytes_of {
    pub(super) fn payload(bytes: &[u8]) -> String {
        String::from_utf8_lossy(bytes).into_owned()
    }
}

/// A 3.1.1 client. Dropping it cuts its socket without a word.
pub(crate) struct Client {
    asks: AsyncClient,
    events: mpsc::UnboundedReceiver<Result<Packet, ConnectionError>>,
    polling: JoinHandle<()>,
    waiting: Vec<Heard>,
    pub(crate) welcome: ConnAck,
}

impl Drop for Client {
    fn drop(&mut self) {
        self.polling.abort();
    }
}

impl Client {
    /// Connects or says why not.
    pub(crate) async fn try_connect(options: MqttOptions) -> Result<Self, ConnectionError> {
        let (asks, mut loop_) = AsyncClient::new(options, 1000);
        let welcome = loop {
            match within("an answer to CONNECT", loop_.poll()).await? {
                Event::Incoming(Packet::ConnAck(welcome)) => break welcome,
                Event::Incoming(other) => panic!("{other:?} before CONNACK"),
                Event::Outgoing(_) => {}
            }
        };
        let (sender, events) = mpsc::unbounded_channel();
        let polling = tokio::spawn(async move {
            loop {
                match loop_.poll().await {
                    Ok(Event::Incoming(packet)) => {
                        if sender.send(Ok(packet)).is_err() {
                            return;
                        }
                    }
                    Ok(Event::Outgoing(_)) => {}
                    Err(error) => {
                        let _ = sender.send(Err(error));
                        return;
                    }
                }
            }
        });
        Ok(Self { asks, events, polling, waiting: Vec::new(), welcome })
    }

    pub(crate) async fn connect(options: MqttOptions) -> Self {
        Self::try_connect(options).await.unwrap()
    }

    /// The refusal that the broker answers to a log-in.
    pub(crate) async fn refused(options: MqttOptions) -> ConnectReturnCode {
        match Self::try_connect(options).await {
            Err(ConnectionError::ConnectionRefused(code)) => code,
            Err(other) => panic!("not refused but: {other}"),
            Ok(_) => panic!("was let in"),
        }
    }

    async fn next(&mut self) -> Result<Packet, ConnectionError> {
        within("a packet", self.events.recv()).await.expect("the client has already ended")
    }

    /// Waits for a packet, keeping the messages that arrive meanwhile.
    async fn wait_for<T>(&mut self, mut take: impl FnMut(&Packet) -> Option<T>) -> T {
        loop {
            let packet = self.next().await.expect("the connection ended");
            if let Packet::Publish(publish) = &packet {
                self.waiting.push(Heard {
                    topic: publish.topic.clone(),
                    payload: payload(&publish.payload),
                    retain: publish.retain,
                });
            }
            if let Some(taken) = take(&packet) {
                return taken;
            }
        }
    }

    /// Subscribes at QoS 1; whether it was granted.
    pub(crate) async fn subscribe(&mut self, filter: &str) -> bool {
        // rumqttc checks filters itself on `subscribe`, and some of ours are meant to be bad.
        let filter = SubscribeFilter::new(filter.to_owned(), QoS::AtLeastOnce);
        self.asks.subscribe_many([filter]).await.unwrap();
        self.wait_for(|packet| match packet {
            Packet::SubAck(ack) => Some(matches!(ack.return_codes[..], [SubscribeReasonCode::Success(_)])),
            _ => None,
        })
        .await
    }

    /// Publishes at QoS 1 and waits for its acknowledgement.
    pub(crate) async fn publish(&mut self, topic: &str, payload: &str, retain: bool) {
        self.asks.publish(topic, QoS::AtLeastOnce, retain, payload).await.unwrap();
        self.wait_for(|packet| matches!(packet, Packet::PubAck(_)).then_some(())).await;
    }

    /// Publishes at QoS 0: nothing comes back.
    pub(crate) async fn send(&mut self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.asks.publish(topic, QoS::AtMostOnce, false, payload).await.unwrap();
    }

    /// Publishes at QoS 2 and waits for the end of its exchange.
    pub(crate) async fn publish_exactly_once(&mut self, topic: &str, payload: &str) {
        self.asks.publish(topic, QoS::ExactlyOnce, false, payload).await.unwrap();
        self.wait_for(|packet| matches!(packet, Packet::PubComp(_)).then_some(())).await;
    }

    /// The next message.
    pub(crate) async fn hear(&mut self) -> Heard {
        if self.waiting.is_empty() {
            self.wait_for(|packet| matches!(packet, Packet::Publish(_)).then_some(())).await;
        }
        self.waiting.remove(0)
    }

    /// The next message, which must be on this topic with this payload: nothing else came before it.
    pub(crate) async fn hear_next(&mut self, topic: &str, payload: &str) {
        let heard = self.hear().await;
        assert_eq!((heard.topic.as_str(), heard.payload.as_str()), (topic, payload));
    }

    /// Says goodbye in good order.
    pub(crate) async fn leave(mut self) {
        self.asks.disconnect().await.unwrap();
        self.ended().await;
    }

    /// Waits until the connection has ended.
    pub(crate) async fn ended(&mut self) -> ConnectionError {
        loop {
            if let Err(error) = self.next().await {
                return error;
            }
        }
    }
}
