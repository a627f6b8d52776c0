//! A client of MQTT 3.1.1 that costs little, so that thousands of them fit beside what is measured.

use std::net::SocketAddr;
use std::ops::Range;
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

use crate::error::BenchError;
use crate::packet::{self, Packet, Will};

/// How long a client waits for a packet at most.
const PATIENCE: Duration = Duration::from_secs(60);

/// A connection.
#[derive(Debug)]
pub(crate) struct Mqtt {
    stream: TcpStream,
    buffer: Vec<u8>,
    used: usize,
    out: Vec<u8>,
    id: u16,
}

impl Mqtt {
    /// Connects and logs in under the fixture's own id.
    pub(crate) async fn connect(
        address: SocketAddr,
        username: &str,
        secret: &str,
        will: Option<Will<'_>>,
    ) -> Result<Self, BenchError> {
        let stream = tokio::time::timeout(PATIENCE, TcpStream::connect(address))
            .await
            .map_err(|_| BenchError::TooLong("connecting to the broker"))?
            .map_err(BenchError::io("connecting to the broker"))?;
        stream.set_nodelay(true).map_err(BenchError::io("setting TCP_NODELAY"))?;
        let mut client = Self { stream, buffer: Vec::with_capacity(2048), used: 0, out: Vec::new(), id: 0 };
        client.out = packet::connect(username, username, secret, will);
        client.flush().await?;
        match client.next().await? {
            Packet::ConnAck(0) => Ok(client),
            other => Err(BenchError::unexpected("logging in at the broker", format!("{other:?} for {username}"))),
        }
    }

    /// Subscribes to one topic and waits until the broker says so.
    pub(crate) async fn subscribe(&mut self, filter: &str) -> Result<(), BenchError> {
        let id = self.number();
        self.out.extend(packet::subscribe(id, filter));
        self.flush().await?;
        match self.next().await? {
            Packet::SubAck(granted) if granted < 0x80 => Ok(()),
            other => Err(BenchError::unexpected("subscribing", format!("{other:?} for {filter}"))),
        }
    }

    fn number(&mut self) -> u16 {
        // 0 is no packet identifier (section 2.3.1)
        self.id = self.id.checked_add(1).unwrap_or(1);
        self.id
    }

    /// Lays a publication into the outgoing bytes; [`Mqtt::flush`] sends them.
    pub(crate) fn publish(&mut self, topic: &str, payload: &[u8]) {
        let id = self.number();
        packet::publish(&mut self.out, id, topic, payload);
    }

    /// Lays an acknowledgement into the outgoing bytes.
    pub(crate) fn acknowledge(&mut self, id: u16) {
        packet::puback(&mut self.out, id);
    }

    /// Sends what was laid in.
    pub(crate) async fn flush(&mut self) -> Result<(), BenchError> {
        if !self.out.is_empty() {
            self.stream.write_all(&self.out).await.map_err(BenchError::io("sending to the broker"))?;
            self.out.clear();
        }
        Ok(())
    }

    /// The next packet; ranges in it are good until the next call.
    pub(crate) async fn next(&mut self) -> Result<Packet, BenchError> {
        match tokio::time::timeout(PATIENCE, self.read()).await {
            Ok(packet) => packet,
            Err(_) => Err(BenchError::TooLong("waiting for a packet of the broker")),
        }
    }

    async fn read(&mut self) -> Result<Packet, BenchError> {
        self.buffer.drain(..self.used.min(self.buffer.len()));
        self.used = 0;
        loop {
            let whole = packet::read(&self.buffer).map_err(|what| BenchError::unexpected("reading a packet", what))?;
            if let Some((packet, end)) = whole {
                self.used = end;
                return Ok(packet);
            }
            let read = self.stream.read_buf(&mut self.buffer).await.map_err(BenchError::io("reading a packet"))?;
            if read == 0 {
                return Err(BenchError::unexpected("reading a packet", "the broker closed the connection"));
            }
        }
    }

    /// Waits for the next publication, acknowledges it (the acknowledgement goes out with the next flush), and tells
    /// its payload's place and whether it was stored. Other packets are passed over.
    pub(crate) async fn publication(&mut self) -> Result<(Range<usize>, bool), BenchError> {
        loop {
            if let Packet::Publish { payload, id, retain, .. } = self.next().await? {
                if let Some(id) = id {
                    self.acknowledge(id);
                }
                return Ok((payload, retain));
            }
        }
    }

    /// Bytes of the packet that was read last.
    pub(crate) fn bytes(&self, range: Range<usize>) -> &[u8] {
        self.buffer.get(range).unwrap_or_default()
    }
}
