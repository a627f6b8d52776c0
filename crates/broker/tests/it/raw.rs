//! MQTT packets as bytes, for what a client library would not send.
//! Layouts: MQTT 3.1.1 and MQTT 5.0 (OASIS), chapters 2 and 3.

use crate::clients::within;
use std::net::SocketAddr;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// A string with its two bytes of length.
pub(crate) fn string(text: &[u8]) -> Vec<u8> {
    let length = u16::try_from(text.len()).unwrap();
    [&length.to_be_bytes()[..], text].concat()
}

/// A packet: first byte, length, body.
pub(crate) fn packet(first: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![first];
    let mut left = body.len();
    loop {
        let low = u8::try_from(left % 128).unwrap();
        left /= 128;
        bytes.push(if left > 0 { low | 0x80 } else { low });
        if left == 0 {
            break;
        }
    }
    bytes.extend_from_slice(body);
    bytes
}

/// CONNECT with a clean session and a keep-alive of a minute. `version` is 4 or 5.
pub(crate) fn connect(version: u8, client_id: &str, (username, secret): (&str, &str)) -> Vec<u8> {
    let mut body = [&string(b"MQTT")[..], &[version, 0xC2, 0, 60]].concat();
    if version == 5 {
        body.push(0);
    }
    for field in [client_id, username, secret] {
        body.extend(string(field.as_bytes()));
    }
    packet(0x10, &body)
}

/// PUBLISH; a QoS above 0 has the packet id 1.
pub(crate) fn publish(version: u8, topic: &str, payload: &[u8], qos: u8) -> Vec<u8> {
    let mut body = string(topic.as_bytes());
    if qos > 0 {
        body.extend([0, 1]);
    }
    if version == 5 {
        body.push(0);
    }
    body.extend(payload);
    packet(0x30 | (qos << 1), &body)
}

/// SUBSCRIBE with the packet id 7 and, in 5.0, these properties. Each filter has its options byte (section 3.8.3.1).
pub(crate) fn subscribe(version: u8, properties: &[u8], filters: &[(&str, u8)]) -> Vec<u8> {
    let mut body = vec![0, 7];
    if version == 5 {
        body.push(u8::try_from(properties.len()).unwrap());
        body.extend(properties);
    }
    for (filter, options) in filters {
        body.extend(string(filter.as_bytes()));
        body.push(*options);
    }
    packet(0x82, &body)
}

/// A PUBLISH that has come.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Message {
    pub(crate) topic: String,
    pub(crate) qos: u8,
    pub(crate) retain: bool,
    pub(crate) properties: Vec<u8>,
    pub(crate) payload: String,
}

impl Message {
    fn read(version: u8, first: u8, body: &[u8]) -> (Self, Option<[u8; 2]>) {
        let (topic, mut rest) = body[2..].split_at(usize::from(u16::from_be_bytes([body[0], body[1]])));
        let qos = first >> 1 & 3;
        let mut id = None;
        if qos > 0 {
            id = Some([rest[0], rest[1]]);
            rest = &rest[2..];
        }
        let mut properties = Vec::new();
        if version == 5 {
            // two bytes of length at the most: no test has more
            let (low, high) = (usize::from(rest[0]), usize::from(rest[1]));
            let (length, behind) = if low < 128 { (low, &rest[1..]) } else { (low - 128 + 128 * high, &rest[2..]) };
            properties.extend_from_slice(&behind[..length]);
            rest = &behind[length..];
        }
        let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
        (Self { topic: text(topic), qos, retain: first & 1 == 1, properties, payload: text(rest) }, id)
    }
}

/// A socket that speaks MQTT by hand.
pub(crate) struct Raw(pub(crate) TcpStream);

impl Raw {
    pub(crate) async fn open(addr: SocketAddr) -> Self {
        Self(TcpStream::connect(addr).await.unwrap())
    }

    /// Opens and logs in.
    pub(crate) async fn log_in(addr: SocketAddr, version: u8, client_id: &str, who: (&str, &str)) -> Self {
        let mut raw = Self::open(addr).await;
        raw.send(&connect(version, client_id, who)).await;
        let (first, body) = raw.read().await.expect("no CONNACK");
        assert_eq!((first, body[1]), (0x20, 0), "refused: {body:?}");
        raw
    }

    pub(crate) async fn send(&mut self, bytes: &[u8]) {
        // The broker may have hung up already; what it did is seen by reading.
        let _ = self.0.write_all(bytes).await;
    }

    /// The next packet, or nothing if the broker has hung up.
    pub(crate) async fn read(&mut self) -> Option<(u8, Vec<u8>)> {
        within("a packet from the broker", async {
            let first = self.0.read_u8().await.ok()?;
            let (mut length, mut shift) = (0_usize, 0);
            loop {
                let byte = self.0.read_u8().await.ok()?;
                length |= usize::from(byte & 0x7F) << shift;
                shift += 7;
                if byte & 0x80 == 0 {
                    break;
                }
            }
            let mut body = vec![0; length];
            self.0.read_exact(&mut body).await.ok()?;
            Some((first, body))
        })
        .await
    }

    /// The next packet, which must be a message; acknowledged.
    pub(crate) async fn hear(&mut self, version: u8) -> Message {
        let (first, body) = self.read().await.unwrap();
        assert_eq!(first >> 4, 3, "not a PUBLISH: {first:#x} {body:?}");
        let (message, id) = Message::read(version, first, &body);
        if let Some([high, low]) = id {
            let answer = if message.qos == 1 { 0x40 } else { 0x50 };
            self.send(&packet(answer, &[high, low])).await;
            if message.qos == 2 {
                assert_eq!(self.read().await.unwrap(), (0x62, vec![high, low]));
                self.send(&packet(0x70, &[high, low])).await;
            }
        }
        message
    }

    /// Subscribes and gives the answer's codes.
    pub(crate) async fn subscribe(&mut self, version: u8, properties: &[u8], filters: &[(&str, u8)]) -> Vec<u8> {
        self.send(&subscribe(version, properties, filters)).await;
        let (first, body) = self.read().await.unwrap();
        assert_eq!((first, &body[..2]), (0x90, &[0, 7][..]));
        body[body.len() - filters.len()..].to_vec()
    }

    /// Publishes, retained or not, and waits until the broker has taken it.
    pub(crate) async fn publish(&mut self, version: u8, topic: &str, payload: &str, qos: u8, retain: bool) {
        let mut bytes = publish(version, topic, payload.as_bytes(), qos);
        bytes[0] |= u8::from(retain);
        self.send(&bytes).await;
        if qos == 2 {
            assert_eq!(self.read().await.unwrap().0, 0x50);
            self.send(&packet(0x62, &[0, 1])).await;
        }
        // a ping for what has no answer of its own
        if qos == 0 {
            self.send(&[0xC0, 0]).await;
        }
        let expected = [0xD0, 0x40, 0x70][usize::from(qos)];
        assert_eq!(self.read().await.unwrap().0, expected);
    }

    /// Reads until the broker hangs up.
    pub(crate) async fn hung_up(&mut self) -> Vec<u8> {
        let mut rest = Vec::new();
        // A reset is a hang-up too.
        let _ = within("the broker to hang up", self.0.read_to_end(&mut rest)).await;
        rest
    }
}
