//! One connection from its beginning to its end.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;

use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, Incoming, MqttOptions, NetworkOptions, Outgoing,
    QoS, SubscribeFilter, SubscribeReasonCode,
};
use service::LinkState;
use tokio::sync::{Semaphore, mpsc};
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use crate::answer::Out;
use crate::flight::Flights;
use crate::handler::{Acknowledger, Handler};
use crate::options::{Options, Refused};
use crate::problem;
use crate::publisher::{IN_FLIGHT, Publisher};
use crate::resend::Resends;
use crate::shared::Shared;

/// Packets unacknowledged in either direction at most.
const INFLIGHT: u16 = 1024;
/// Publications waiting to be sent.
const REQUESTS: usize = 1024;
/// The largest packet in either direction.
const PACKET: usize = 64 * 1024;
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
        .set_max_packet_size(PACKET, PACKET);
    if let (Some(username), Some(password)) = (&options.username, &options.password) {
        mqtt.set_credentials(username, password);
    }
    mqtt
}

/// Runs one connection until it ends.
pub(crate) async fn run(shared: &Arc<Shared>, refusals: &Refusals, stop: &CancellationToken) -> End {
    let (client, mut events) = AsyncClient::new(mqtt_options(&shared.options), REQUESTS);
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true); // Nagle's algorithm costs 40 ms a round trip
    network.set_connection_timeout(CONNECT_SECONDS);
    events.set_network_options(network);
    let session = tokio::select! {
        () = stop.cancelled() => return End::Stopped,
        event = events.poll() => match event {
            Ok(Event::Incoming(Incoming::ConnAck(ack))) => ack.session_present,
            Ok(other) => return End::Failed { worked: false, why: format!("the broker began with {other:?}") },
            Err(error) => return End::Failed { worked: false, why: explained(&error) },
        },
    };
    let mut connection = Connection::begin(shared, client, session, refusals);
    let end = connection.poll(&mut events, stop).await;
    shared.service.set_link(LinkState::Down);
    connection.tasks.shutdown().await;
    end
}

/// What lives as long as the connection.
struct Connection {
    shared: Arc<Shared>,
    client: AsyncClient,
    flights: Arc<Flights>,
    incoming: mpsc::UnboundedSender<rumqttc::Publish>,
    tasks: JoinSet<()>,
}

impl Connection {
    fn begin(shared: &Arc<Shared>, client: AsyncClient, session: bool, refusals: &Refusals) -> Self {
        let (incoming, incoming_rx) = mpsc::unbounded_channel();
        let (outgoing, outgoing_rx) = mpsc::unbounded_channel();
        let (pending, pending_rx) = mpsc::unbounded_channel();
        let (landed, mut landed_rx) = mpsc::unbounded_channel();
        let flights = Arc::new(Flights::default());
        let resends = Arc::new(Resends::default());
        if !session {
            shared.unsure_of_all();
        }
        // whatever the old connection had in flight is published again; duplicates change nothing
        shared.service.outbox().again();
        let first = shared.options.resend_first;
        for fixture in shared.service.house().all() {
            if fixture.life.heard.is_some() && fixture.life.applied != fixture.desired.revision {
                resends.begin(fixture.key, first);
            }
        }
        let mut tasks = JoinSet::new();
        let handler = Handler {
            shared: Arc::clone(shared),
            incoming: incoming_rx,
            pending,
            outgoing: outgoing.clone(),
            said: HashMap::new(),
        };
        tasks.spawn(handler.run());
        let acknowledger = Acknowledger {
            shared: Arc::clone(shared),
            client: client.clone(),
            pending: pending_rx,
            outgoing: outgoing.clone(),
            resends: Arc::clone(&resends),
        };
        tasks.spawn(acknowledger.run());
        let publisher = Publisher {
            shared: Arc::clone(shared),
            client: client.clone(),
            flights: Arc::clone(&flights),
            resends,
            outgoing: outgoing_rx,
            landed,
            room: Arc::new(Semaphore::new(IN_FLIGHT)),
        };
        tasks.spawn(publisher.run());
        let service = Arc::clone(&shared.service);
        tasks.spawn(async move {
            while let Some((key, ticket)) = landed_rx.recv().await {
                service.published(key, ticket).await;
            }
        });
        tasks.spawn(tell_refusals(Arc::clone(refusals), outgoing));
        Self { shared: Arc::clone(shared), client, flights, incoming, tasks }
    }

    /// Polls the connection. Nothing here waits for anything but the network, and a poll is given up only to stop:
    /// given up halfway it could lose a packet.
    async fn poll(&mut self, events: &mut EventLoop, stop: &CancellationToken) -> End {
        // a session that was kept is subscribed already, but subscribing again brings the stored `alive` messages
        let filters = self.shared.topics.filters().map(|filter| SubscribeFilter::new(filter, QoS::AtLeastOnce));
        if self.client.try_subscribe_many(filters).is_err() {
            return End::Failed { worked: false, why: "the client takes no subscription".into() };
        }
        let mut worked = false;
        loop {
            let event = tokio::select! {
                () = stop.cancelled() => {
                    self.close(events).await;
                    return End::Stopped;
                }
                event = events.poll() => event,
            };
            match event {
                Ok(Event::Incoming(Incoming::Publish(publish))) => {
                    let _ = self.incoming.send(publish);
                }
                Ok(Event::Incoming(Incoming::PubAck(ack))) => self.flights.acknowledged(ack.pkid),
                Ok(Event::Outgoing(Outgoing::Publish(packet))) => self.flights.sent(packet),
                Ok(Event::Incoming(Incoming::SubAck(ack))) => {
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
                Ok(_) => {}
                Err(error) => return End::Failed { worked, why: explained(&error) },
            }
        }
    }

    /// Takes leave of the broker, so that it does not wait for the connection to time out.
    async fn close(&mut self, events: &mut EventLoop) {
        if self.client.try_disconnect().is_err() {
            return;
        }
        let leave = async { while events.poll().await.is_ok() {} };
        let _ = tokio::time::timeout(Duration::from_secs(1), leave).await;
    }
}

/// Says on the `problem` topic what the broker refused.
async fn tell_refusals(refusals: Refusals, outgoing: mpsc::UnboundedSender<Out>) {
    let mut refusals = refusals.lock().await;
    let Some(receiver) = &mut *refusals else { return };
    while let Some(refused) = receiver.recv().await {
        let payload = problem::refused(&refused);
        if outgoing.send(Out::Problem { id: refused.fixture, payload }).is_err() {
            return;
        }
    }
}

/// What an error means to the owner.
fn explained(error: &ConnectionError) -> String {
    match error {
        ConnectionError::ConnectionRefused(
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
        ) => "the broker refuses the daemon's user name and password: see broker.username and broker.password".into(),
        other => other.to_string(),
    }
}
