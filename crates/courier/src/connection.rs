//! One connection from its beginning to its end.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use rumqttc::{
    ConnectReturnCode, ConnectionError, MqttOptions, NetworkOptions, Publish, QoS, SubscribeFilter, SubscribeReasonCode,
};
use service::LinkState;
use tokio::sync::{Semaphore, mpsc};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::answer::Outgoing;
use crate::flight::Aloft;
use crate::handler::{Acknowledger, Handler};
use crate::line::{Hand, INFLIGHT, Line, News};
use crate::options::{Options, Refused};
use crate::problem;
use crate::publisher::{IN_FLIGHT, Publisher};
use crate::resend::Resends;
use crate::shared::Shared;

/// The largest packet that is sent.
const PACKET_OUT: usize = 64 * 1024;
/// The largest packet that is taken: the largest that MQTT knows (3.1.1 and 5.0, section 2.2.3 and 2.1.4). A client that
/// refuses a packet by its size is sent the same again by the broker, for ever; a message that is too long is refused
/// by the handler instead, who says so to the fixture.
const PACKET_IN: usize = 268_435_455;
/// Messages that wait before those of QoS 0 are dropped.
const WAITING: usize = 65_536;
/// How long a connect may take, in seconds.
const CONNECT_SECONDS: u64 = 5;

/// What the broker refused, if it says so; it outlasts connections.
pub(crate) type Refusals = Arc<tokio::sync::Mutex<Option<mpsc::Receiver<Refused>>>>;

/// How a connection ended.
pub(crate) enum End {
    /// It was told to stop.
    Stopped,
    /// It failed, and whether it had worked before.
    Failed { worked: bool, why: String },
}

fn mqtt_options(options: &Options) -> MqttOptions {
    let mut mqtt = MqttOptions::new(&options.client_id, &options.host, options.port);
    mqtt.set_keep_alive(Duration::from_secs(20))
        // the session is kept, so that what fixtures say while the daemon is away is taken up when it is back
        .set_clean_session(false)
        .set_manual_acks(true)
        .set_inflight(INFLIGHT)
        .set_max_packet_size(PACKET_IN, PACKET_OUT);
    if let (Some(username), Some(password)) = (&options.username, &options.password) {
        mqtt.set_credentials(username, password);
    }
    mqtt
}

/// Runs one connection until it ends.
pub(crate) async fn run(shared: &Arc<Shared>, refusals: &Refusals, stop: &CancellationToken) -> End {
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true); // Nagle's algorithm costs 40 ms a round trip
    network.set_connection_timeout(CONNECT_SECONDS);
    let (mut line, hand, session) = tokio::select! {
        () = stop.cancelled() => return End::Stopped,
        opened = Line::open(mqtt_options(&shared.options), network) => match opened {
            Ok(opened) => opened,
            Err(why) => return End::Failed { worked: false, why },
        },
    };
    // a session that was kept is subscribed already, but subscribing again brings the stored `alive` messages
    let filters = shared.topics.filters().map(|filter| SubscribeFilter::new(filter, QoS::AtLeastOnce));
    if let Err(error) = line.subscribe(filters).await {
        return End::Failed { worked: false, why: explained(&error) };
    }
    let mut connection = Connection::begin(shared, hand, session, refusals);
    let end = connection.follow(&mut line, stop).await;
    shared.service.set_link(LinkState::Down);
    connection.tasks.shutdown().await;
    end
}

/// What lives as long as the connection.
struct Connection {
    shared: Arc<Shared>,
    incoming: mpsc::UnboundedSender<Vec<Publish>>,
    waiting: Arc<AtomicUsize>,
    tasks: JoinSet<()>,
}

impl Connection {
    fn begin(shared: &Arc<Shared>, hand: Hand, session: bool, refusals: &Refusals) -> Self {
        let (incoming, incoming_rx) = mpsc::unbounded_channel();
        let (outgoing, outgoing_rx) = Outgoing::new();
        let waiting = Arc::new(AtomicUsize::new(0));
        let (pending, pending_rx) = mpsc::unbounded_channel();
        let (landed, mut landed_rx) = mpsc::unbounded_channel();
        let (free, free_rx) = mpsc::unbounded_channel();
        let resends = Arc::new(Resends::default());
        let mut tasks = JoinSet::new();
        if !session {
            tasks.spawn(publish_all(Arc::clone(shared)));
        }
        // whatever the old connection had in flight is published again; duplicates change nothing
        shared.service.outbox().again();
        let first = shared.options.resend_first;
        for fixture in shared.service.house().all() {
            if fixture.life.heard.is_some() && fixture.life.applied != fixture.desired.revision {
                resends.begin(fixture.key, first);
            }
        }
        let handler =
            Handler { shared: Arc::clone(shared), incoming: incoming_rx, pending, outgoing: outgoing.clone() };
        tasks.spawn(handler.run());
        let acknowledger = Acknowledger {
            shared: Arc::clone(shared),
            hand: hand.clone(),
            pending: pending_rx,
            outgoing: outgoing.clone(),
            waiting: Arc::clone(&waiting),
            resends: Arc::clone(&resends),
        };
        tasks.spawn(acknowledger.run());
        let publisher = Publisher {
            shared: Arc::clone(shared),
            hand,
            aloft: Aloft::default(),
            ready: VecDeque::new(),
            resting: VecDeque::new(),
            free: free_rx,
            resends,
            outgoing: outgoing_rx,
            to_publisher: outgoing.clone(),
            landed,
            room: Arc::new(Semaphore::new(IN_FLIGHT)),
        };
        tasks.spawn(publisher.run());
        let service = Arc::clone(&shared.service);
        tasks.spawn(async move {
            while let Some((key, ticket)) = landed_rx.recv().await {
                // the publisher does not wait for the database
                let _ = free.send(key);
                service.published(key, ticket).await;
            }
        });
        tasks.spawn(tell_refusals(Arc::clone(refusals), outgoing));
        Self { shared: Arc::clone(shared), incoming, waiting, tasks }
    }

    /// Follows the line until it ends. Nothing here waits for anything but the network.
    async fn follow(&mut self, line: &mut Line, stop: &CancellationToken) -> End {
        let mut worked = false;
        loop {
            let news = tokio::select! {
                () = stop.cancelled() => {
                    line.close().await;
                    return End::Stopped;
                }
                news = line.next() => news,
            };
            match news {
                Ok(News::Came(messages)) => self.take(messages),
                Ok(News::Subscribed(ack)) => {
                    if ack.return_codes.contains(&SubscribeReasonCode::Failure) {
                        let why = format!(
                            "the broker refuses the daemon its subscriptions: let its user read {}/+/boot, ask, reported, event, wish and alive",
                            self.shared.options.prefix
                        );
                        return End::Failed { worked, why };
                    }
                    worked = true;
                    self.shared.service.set_link(LinkState::Up);
                }
                Err(error) => return End::Failed { worked, why: explained(&error) },
            }
        }
    }

    /// Hands messages on. The broker bounds what it sends at QoS 1 by what is acknowledged; QoS 0 has no such bound.
    fn take(&self, mut messages: Vec<Publish>) {
        messages.retain(|publish| {
            let taken = publish.qos != QoS::AtMostOnce || self.waiting.load(Ordering::Relaxed) < WAITING;
            if taken {
                self.waiting.fetch_add(1, Ordering::Relaxed);
            } else {
                tracing::warn!(topic = publish.topic, "too much waits for the database: a message of QoS 0 is dropped");
            }
            taken
        });
        let _ = self.incoming.send(messages);
    }
}

/// Says on the `problem` topic what the broker refused.
async fn tell_refusals(refusals: Refusals, outgoing: Outgoing) {
    let mut refusals = refusals.lock().await;
    let Some(receiver) = &mut *refusals else { return };
    while let Some(refused) = receiver.recv().await {
        outgoing.problem(&refused.fixture, || problem::refused(&refused));
    }
}

/// The broker kept no session, so it may have lost every retained message: everything goes into the outbox, which
/// outlasts this connection and this process.
async fn publish_all(shared: Arc<Shared>) {
    let mut pause = Duration::from_millis(200);
    while let Err(error) = shared.service.publish_all().await {
        tracing::warn!(%error, "what the broker may have lost could not be put into the outbox; it is tried again");
        tokio::time::sleep(pause).await;
        pause = (pause * 2).min(Duration::from_secs(30));
    }
}

/// What an error means to the owner.
pub(crate) fn explained(error: &ConnectionError) -> String {
    match error {
        ConnectionError::ConnectionRefused(
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
        ) => "the broker refuses the daemon's user name and password: see broker.username and broker.password".into(),
        other => other.to_string(),
    }
}
