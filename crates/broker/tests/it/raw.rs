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

    /// Reads until the broker hangs up.
    pub(crate) async fn hung_up(&mut self) -> Vec<u8> {
        let mut rest = Vec::new();
        // A reset is a hang-up too.
        let _ = within("the broker to hang up", self.0.read_to_end(&mut rest)).await;
        rest
    }
}
