//! The line to the broker: what is handed to it goes out, many packets with one write; what comes in is handed on.
//!
//! The client library's own loop takes one request at a time and flushes after each. This one uses the library's
//! connecting, reading, keep-alive, packets and bookkeeping, and writes all that waits before it flushes.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;
use std::time::Duration;

use rumqttc::{
    ConnectionError, Disconnect, Event, EventLoop, Incoming, MqttOptions, MqttState, NetworkOptions, Outgoing, PubAck,
    Publish, QoS, Request, StateError, SubAck, Subscribe, SubscribeFilter,
};
use tokio::sync::mpsc;

use crate::answer::Letter;
use crate::flight::Flight;

/// Packets unacknowledged in either direction at most.
pub(crate) const INFLIGHT: u16 = 1024;
/// Parcels that wait for the line before their senders wait.
const PARCELS: usize = 64;
/// Publications written at most before what came in is read: a broker that writes to us must not wait for us to have
/// written all.
const AT_ONCE: usize = 64;
/// How long the broker may take to take what is written, in seconds.
const WRITE_SECONDS: u64 = 5;

/// Messages that go out together.
pub(crate) struct Parcel {
    pub(crate) letters: Vec<Letter>,
    /// What lands when all of them are acknowledged.
    pub(crate) flight: Option<Arc<Flight>>,
}

/// The senders' end of a line.
#[derive(Clone)]
pub(crate) struct Hand {
    parcels: mpsc::Sender<Parcel>,
    acks: mpsc::UnboundedSender<Vec<u16>>,
}

/// The line has ended.
#[derive(Debug)]
pub(crate) struct Over;

impl Hand {
    /// Hands messages over; waits while too many wait already.
    pub(crate) async fn send(&self, parcel: Parcel) -> Result<(), Over> {
        self.parcels.send(parcel).await.map_err(|_| Over)
    }

    /// Acknowledges messages by their packet ids, in this order.
    pub(crate) fn acknowledge(&self, packets: Vec<u16>) -> Result<(), Over> {
        self.acks.send(packets).map_err(|_| Over)
    }
}

/// What happened on the line.
pub(crate) enum News {
    /// These messages came in.
    Came(Vec<Publish>),
    /// The broker has answered the subscription.
    Subscribed(SubAck),
}

/// One connection to the broker.
pub(crate) struct Line {
    events: EventLoop,
    parcels: mpsc::Receiver<Parcel>,
    acks: mpsc::UnboundedReceiver<Vec<u16>>,
    /// Messages that wait for room in the window of unacknowledged packets.
    queue: VecDeque<(Letter, Option<Arc<Flight>>)>,
    /// Given to the client's bookkeeping, in the order in which it numbers them.
    numbering: VecDeque<Option<Arc<Flight>>>,
    /// Sent, by packet id.
    sent: HashMap<u16, Arc<Flight>>,
}

impl Line {
    /// Connects. Gives the line, its senders' end, and whether the broker has kept the session.
    pub(crate) async fn open(options: MqttOptions, network: NetworkOptions) -> Result<(Self, Hand, bool), String> {
        let mut events = EventLoop::new(options, 1);
        events.set_network_options(network);
        let session = match events.poll().await {
            Ok(Event::Incoming(Incoming::ConnAck(ack))) => ack.session_present,
            Ok(other) => return Err(format!("the broker began with {other:?}")),
            Err(error) => return Err(crate::connection::explained(&error)),
        };
        let (parcels, parcels_rx) = mpsc::channel(PARCELS);
        let (acks, acks_rx) = mpsc::unbounded_channel();
        let line = Self {
            events,
            parcels: parcels_rx,
            acks: acks_rx,
            queue: VecDeque::new(),
            numbering: VecDeque::new(),
            sent: HashMap::new(),
        };
        Ok((line, Hand { parcels, acks }, session))
    }

    /// Asks for messages.
    pub(crate) async fn subscribe(
        &mut self,
        filters: impl IntoIterator<Item = SubscribeFilter>,
    ) -> Result<(), ConnectionError> {
        self.write([Request::Subscribe(Subscribe::new_many(filters))]).await
    }

    /// Writes and reads until something happened that others have to know. Given up only to take leave: what it was
    /// writing is not written again.
    pub(crate) async fn next(&mut self) -> Result<News, ConnectionError> {
        loop {
            if let Some(news) = self.take_events() {
                return Ok(news);
            }
            self.write_queue().await?;
            let idle = self.queue.is_empty();
            let more = !idle && has_room(&self.events.state);
            tokio::select! {
                // A poll is given up whenever there is something to write. What it read is kept by the library until it
                // is asked for; what it writes itself (a ping) goes into a buffer that is empty when it begins, since
                // every write here ends with a flush, and so is never given up halfway.
                event = self.events.poll() => {
                    let event = event?;
                    self.events.state.events.push_front(event);
                }
                Some(packets) = self.acks.recv() => self.write_acks(packets).await?,
                Some(parcel) = self.parcels.recv(), if idle => {
                    self.queue_up(parcel);
                    while self.queue.len() < AT_ONCE && let Ok(parcel) = self.parcels.try_recv() {
                        self.queue_up(parcel);
                    }
                }
                // there is more to write: what is there to be read was looked at, and is not waited for
                () = std::future::ready(()), if more => {}
            }
        }
    }

    fn queue_up(&mut self, Parcel { letters, flight }: Parcel) {
        self.queue.extend(letters.into_iter().map(|letter| (letter, flight.clone())));
    }

    /// Takes what the client has noted of packets that went and came.
    fn take_events(&mut self) -> Option<News> {
        let mut came = Vec::new();
        while let Some(event) = self.events.state.events.pop_front() {
            match event {
                Event::Incoming(Incoming::Publish(publish)) => came.push(publish),
                Event::Incoming(Incoming::PubAck(ack)) => {
                    if let Some(flight) = self.sent.remove(&ack.pkid) {
                        flight.part_landed();
                    }
                }
                Event::Outgoing(Outgoing::Publish(packet)) => {
                    if let Some(Some(flight)) = self.numbering.pop_front() {
                        self.sent.insert(packet, flight);
                    }
                }
                Event::Incoming(Incoming::SubAck(ack)) => {
                    if came.is_empty() {
                        return Some(News::Subscribed(ack));
                    }
                    self.events.state.events.push_front(Event::Incoming(Incoming::SubAck(ack)));
                    break;
                }
                _ => {}
            }
        }
        (!came.is_empty()).then_some(News::Came(came))
    }

    async fn write_acks(&mut self, mut packets: Vec<u16>) -> Result<(), ConnectionError> {
        while let Ok(more) = self.acks.try_recv() {
            packets.extend(more);
        }
        self.write(packets.into_iter().map(|packet| Request::PubAck(PubAck::new(packet)))).await
    }

    /// Writes what waits, as far as the broker's acknowledgements leave room.
    async fn write_queue(&mut self) -> Result<(), ConnectionError> {
        if self.queue.is_empty() {
            return Ok(());
        }
        let Self { events, queue, numbering, .. } = self;
        let Some(network) = &mut events.network else { return Err(ConnectionError::NetworkTimeout) };
        let state = &mut events.state;
        bounded(async {
            let mut written = 0;
            while written < AT_ONCE && has_room(state) {
                let Some((letter, flight)) = queue.pop_front() else { break };
                let mut publish = Publish::new(letter.topic, QoS::AtLeastOnce, letter.payload);
                publish.retain = letter.retained;
                numbering.push_back(flight);
                if let Some(packet) = state.handle_outgoing_packet(Request::Publish(publish))? {
                    network.write(packet).await?;
                }
                written += 1;
            }
            if written > 0 { network.flush().await } else { Ok(()) }
        })
        .await
    }

    /// Writes packets that need no room, and flushes once.
    async fn write(&mut self, requests: impl IntoIterator<Item = Request>) -> Result<(), ConnectionError> {
        let Some(network) = &mut self.events.network else { return Err(ConnectionError::NetworkTimeout) };
        let state = &mut self.events.state;
        bounded(async {
            for request in requests {
                if let Some(packet) = state.handle_outgoing_packet(request)? {
                    network.write(packet).await?;
                }
            }
            network.flush().await
        })
        .await
    }

    /// Takes leave of the broker, so that it does not wait for the connection to time out.
    pub(crate) async fn close(&mut self) {
        if self.write([Request::Disconnect(Disconnect)]).await.is_err() {
            return;
        }
        let leave = async { while self.events.poll().await.is_ok() {} };
        let _ = tokio::time::timeout(Duration::from_secs(1), leave).await;
    }
}

/// Whether one more publication may be sent. One whose number is still taken stops all that follow until that number
/// is free.
fn has_room(state: &MqttState) -> bool {
    state.collision.is_none() && state.inflight() < INFLIGHT
}

/// Writing, for as long as the broker may take.
async fn bounded(writing: impl Future<Output = Result<(), StateError>>) -> Result<(), ConnectionError> {
    match tokio::time::timeout(Duration::from_secs(WRITE_SECONDS), writing).await {
        Ok(written) => Ok(written?),
        Err(_) => Err(ConnectionError::FlushTimeout),
    }
}

#[cfg(test)]
mod tests;
