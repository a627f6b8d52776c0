//! The line against a broker of a few bytes (MQTT 3.1.1, sections 2.2, 3.2, 3.3 and 3.4).

use service::FixtureKey;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;

use super::*;

const PUBLISH: u8 = 3;
const PUBACK: u8 = 4;

/// The broker's end of a connection.
struct Broker(TcpStream);

impl Broker {
    /// The next packet: its type and what follows the fixed header.
    async fn read(&mut self) -> (u8, Vec<u8>) {
        let first = self.0.read_u8().await.unwrap();
        let (mut length, mut shift) = (0_usize, 0);
        loop {
            let byte = self.0.read_u8().await.unwrap();
            length |= usize::from(byte & 0x7f) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        self.0.read_exact(&mut body).await.unwrap();
        (first >> 4, body)
    }

    /// The next packet, which is a publication: its topic and packet id.
    async fn published(&mut self) -> (String, u16) {
        let (kind, body) = self.read().await;
        assert_eq!(kind, PUBLISH);
        let end = 2 + usize::from(u16::from_be_bytes([body[0], body[1]]));
        let topic = String::from_utf8(body[2..end].to_vec()).unwrap();
        (topic, u16::from_be_bytes([body[end], body[end + 1]]))
    }

    async fn acknowledge(&mut self, packet: u16) {
        let [high, low] = packet.to_be_bytes();
        self.0.write_all(&[PUBACK << 4, 2, high, low]).await.unwrap();
    }

    /// Sends a message of QoS 1 on the topic `t`.
    async fn publish(&mut self, packet: u16, payload: u8) {
        let [high, low] = packet.to_be_bytes();
        self.0.write_all(&[PUBLISH << 4 | 2, 6, 0, 1, b't', high, low, payload]).await.unwrap();
    }
}

/// A line that runs, what hands things to it, what came in on it, and the broker's end.
async fn connected() -> (Hand, mpsc::UnboundedReceiver<Publish>, Broker) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut options = MqttOptions::new("daemon", "127.0.0.1", listener.local_addr().unwrap().port());
    options.set_inflight(INFLIGHT).set_manual_acks(true);
    let broker = async {
        let mut broker = Broker(listener.accept().await.unwrap().0);
        broker.read().await;
        broker.0.write_all(&[0x20, 2, 0, 0]).await.unwrap();
        broker
    };
    let (opened, broker) = tokio::join!(Line::open(options, NetworkOptions::new()), broker);
    let Ok((mut line, hand, session)) = opened else { panic!("the line did not open") };
    assert!(!session);
    let (came, incoming) = mpsc::unbounded_channel();
    tokio::spawn(async move {
        while let Ok(News::Came(messages)) = line.next().await {
            messages.into_iter().for_each(|message| came.send(message).unwrap());
        }
    });
    (hand, incoming, broker)
}

fn letters(count: usize) -> Vec<Letter> {
    (0..count).map(|n| Letter { topic: format!("t/{n}"), retained: n == 0, payload: "x".repeat(n) }).collect()
}

#[tokio::test]
async fn a_parcel_lands_when_its_last_message_is_acknowledged() {
    let (hand, mut incoming, mut broker) = connected().await;
    let (landed, mut landings) = mpsc::unbounded_channel();
    let room = Arc::new(Semaphore::new(3));
    for key in 1..=3 {
        let permit = Arc::clone(&room).acquire_owned().await.unwrap();
        let flight = Some(Flight::new(FixtureKey(key), key * 10, 2, landed.clone(), permit));
        hand.send(Parcel { letters: letters(2), flight }).await.unwrap();
    }
    let mut packets = Vec::new();
    for n in 0..6 {
        let (topic, packet) = broker.published().await;
        assert_eq!(topic, format!("t/{}", n % 2), "in the order in which they were handed over");
        packets.push(packet);
    }
    // the second parcel first, then all but the last message
    for at in [2, 3, 0, 1, 4] {
        broker.acknowledge(packets[at]).await;
    }
    assert_eq!(landings.recv().await, Some((FixtureKey(2), 20)));
    assert_eq!(landings.recv().await, Some((FixtureKey(1), 10)));
    // what comes in after those acknowledgements is there: the third has not landed with the first of its messages
    broker.publish(7, 1).await;
    assert_eq!(incoming.recv().await.unwrap().payload[..], [1]);
    assert!(landings.try_recv().is_err());
    broker.acknowledge(packets[5]).await;
    assert_eq!(landings.recv().await, Some((FixtureKey(3), 30)));
}

#[tokio::test]
async fn messages_come_in_order_and_are_acknowledged_in_the_order_given() {
    let (hand, mut incoming, mut broker) = connected().await;
    for n in 1..=200_u8 {
        broker.publish(u16::from(n), n).await;
    }
    for n in 1..=200_u8 {
        let message = incoming.recv().await.unwrap();
        assert_eq!((message.pkid, message.payload[..].to_vec()), (u16::from(n), vec![n]));
    }
    hand.acknowledge((1..=150).collect()).unwrap();
    hand.acknowledge((151..=200).collect()).unwrap();
    for n in 1..=200_u16 {
        assert_eq!(broker.read().await, (PUBACK, n.to_be_bytes().to_vec()));
    }
}

#[tokio::test]
async fn no_more_is_sent_than_may_be_unacknowledged_and_acknowledgements_do_not_wait_for_it() {
    let (hand, _incoming, mut broker) = connected().await;
    let most = usize::from(INFLIGHT);
    hand.send(Parcel { letters: letters(most + 10), flight: None }).await.unwrap();
    let mut packets = Vec::new();
    for n in 0..most {
        let (topic, packet) = broker.published().await;
        assert_eq!(topic, format!("t/{n}"));
        packets.push(packet);
    }
    hand.acknowledge(vec![77]).unwrap();
    assert_eq!(broker.read().await, (PUBACK, vec![0, 77]), "no publication goes beyond the window");
    for (n, packet) in packets.into_iter().take(10).enumerate() {
        broker.acknowledge(packet).await;
        assert_eq!(broker.published().await, (format!("t/{}", most + n), packet), "the next takes its number");
    }
}

#[tokio::test]
async fn a_number_that_is_still_taken_stops_what_follows_until_it_is_free() {
    let (hand, _incoming, mut broker) = connected().await;
    let most = usize::from(INFLIGHT);
    hand.send(Parcel { letters: letters(most + 3), flight: None }).await.unwrap();
    let mut packets = Vec::new();
    for _ in 0..most {
        packets.push(broker.published().await.1);
    }
    // a broker that acknowledges out of order: the numbers of the next three are taken by the first three
    for at in [10, 11, 12] {
        broker.acknowledge(packets[at]).await;
    }
    hand.acknowledge(vec![78]).unwrap();
    assert_eq!(broker.read().await, (PUBACK, vec![0, 78]), "nothing goes out of turn");
    for at in [0, 1, 2] {
        broker.acknowledge(packets[at]).await;
        assert_eq!(broker.published().await, (format!("t/{}", most + at), packets[at]));
    }
}
