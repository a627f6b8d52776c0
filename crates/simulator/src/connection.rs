//! One fixture's connection to the broker: polls it, tells what happened, and comes back with growing pauses.
//!
//! It never publishes: whoever publishes waits in another task, since a publication that waits for room in the
//! client's queue can only be relieved by polling. Each attempt gets a client of its own, so that nothing left over
//! from a broken connection is sent on the next one.

use std::sync::Arc;
use std::time::Duration;

use device::Pause;
use rumqttc::{AsyncClient, Event, EventLoop, LastWill, MqttOptions, Outgoing, Packet, Publish, QoS};
use rumqttc::{NetworkOptions, SubscribeReasonCode};
use tokio::sync::{Notify, mpsc};
use tokio::time::Instant;

use crate::FixtureOptions;
use crate::messages::NOT_ALIVE;
use crate::randomness::Randomness;
use crate::topics::Up;

/// What happened on the connection, in order.
#[derive(Debug)]
pub(crate) enum Signal {
    /// Accepted; publish and subscribe through this client until `Down`.
    Up(AsyncClient),
    /// The oldest publication not yet reported here went out; 0 at QoS 0, which nobody will acknowledge.
    Sent(u16),
    /// The broker acknowledged the publication of this packet id.
    Acked(u16),
    /// The broker refused a subscription.
    SubscriptionRefused,
    /// A message came.
    Message(Publish),
    /// The connection broke or could not be made, and why.
    Down(String),
}

/// The first and the longest pause between two attempts to connect, in milliseconds.
const RECONNECT_MS: (u32, u32) = (250, 15_000);
/// A connection that ends sooner than this does not shorten the pause again: two clients under one name would throw
/// each other out without end.
const STOOD: Duration = Duration::from_secs(5);
/// Room in the client's queue of requests; the publisher waits when it is full.
const REQUESTS: usize = 64;
/// The largest packet read or written; rumqttc's own limit of 10 KiB is below a full document with its agenda.
const PACKET_BYTES: usize = 64 * 1024;
const KEEP_ALIVE: Duration = Duration::from_secs(30);

pub(crate) fn qos(options: &FixtureOptions) -> QoS {
    if options.qos0 { QoS::AtMostOnce } else { QoS::AtLeastOnce }
}

/// Connects after the start pause and stays connected until the task is ended or a goodbye was said. Each notice on
/// `broken` breaks the connection without a goodbye.
pub(crate) async fn stay_connected(
    options: Arc<FixtureOptions>,
    signals: mpsc::UnboundedSender<Signal>,
    broken: Arc<Notify>,
    mut random: Randomness,
) {
    tokio::time::sleep(Duration::from_millis(random.below(options.start_pause_ms.saturating_add(1)))).await;
    let mut pause = Pause::new(RECONNECT_MS.0, RECONNECT_MS.1);
    loop {
        let (client, events) = open(&options);
        let begun = Instant::now();
        let end = tokio::select! {
            end = follow(client, events, &signals) => end,
            () = broken.notified() => End::Broken("the connection was cut".to_owned()),
        };
        let (why, leaving) = match end {
            End::Broken(why) => (why, false),
            End::Left => ("disconnected".to_owned(), true),
        };
        if signals.send(Signal::Down(why)).is_err() || leaving {
            return;
        }
        if begun.elapsed() >= STOOD {
            pause.reset();
        }
        tokio::time::sleep(Duration::from_millis(pause.next(random.next_u32()))).await;
    }
}

enum End {
    Broken(String),
    Left,
}

/// Polls one connection to its end.
async fn follow(client: AsyncClient, mut events: EventLoop, signals: &mpsc::UnboundedSender<Signal>) -> End {
    let mut leaving = false;
    loop {
        let signal = match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => Signal::Up(client.clone()),
            Ok(Event::Incoming(Packet::Publish(publish))) => Signal::Message(publish),
            Ok(Event::Incoming(Packet::PubAck(ack))) => Signal::Acked(ack.pkid),
            Ok(Event::Incoming(Packet::SubAck(ack))) if ack.return_codes.contains(&SubscribeReasonCode::Failure) => {
                Signal::SubscriptionRefused
            }
            Ok(Event::Outgoing(Outgoing::Publish(pkid))) => Signal::Sent(pkid),
            Ok(Event::Outgoing(Outgoing::Disconnect)) => {
                leaving = true;
                continue;
            }
            Ok(_) => continue,
            Err(_) if leaving => return End::Left,
            Err(error) => return End::Broken(error.to_string()),
        };
        if signals.send(signal).is_err() {
            return End::Broken("the fixture has stopped".to_owned());
        }
    }
}

fn open(options: &FixtureOptions) -> (AsyncClient, EventLoop) {
    let (host, port) = &options.broker;
    let bare_ipv6 = host.contains(':') && !host.starts_with('[');
    let host = if bare_ipv6 { format!("[{host}]") } else { host.clone() };
    let mut mqtt = MqttOptions::new(&options.id, host, *port);
    mqtt.set_credentials(&options.id, &options.secret)
        .set_keep_alive(KEEP_ALIVE)
        .set_clean_session(true)
        .set_max_packet_size(PACKET_BYTES, PACKET_BYTES)
        .set_last_will(LastWill::new(Up::Alive.topic(options), NOT_ALIVE, qos(options), true));
    let (client, mut events) = AsyncClient::new(mqtt, REQUESTS);
    let mut network = NetworkOptions::new();
    // Nagle's algorithm would hold back each small answer for tens of milliseconds.
    network.set_tcp_nodelay(true);
    events.set_network_options(network);
    (client, events)
}
