//! A connection's stream, out of which every SUBSCRIBE is taken and handed to the broker library by another way.
//!
//! On that way it can be changed, which the library's hooks cannot do: see `retained`. All else passes as it is.

use crate::frames::{First, Frames, first};
use crate::retained::Retained;
use mqtt5::broker::client_handler::ExternalInput;
use mqtt5::broker::transport::{BrokerTransport, WebSocketTransport};
use mqtt5::packet::subscribe::SubscribePacket;
use mqtt5::{FixedHeader, Packet};
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::sync::mpsc;

/// The stream of one connection.
pub(crate) struct Detour<S> {
    stream: S,
    peer: SocketAddr,
    retained: Arc<Retained>,
    subscribes: mpsc::Sender<ExternalInput>,
    max_packet_bytes: usize,
    frames: Frames,
    /// Read, but not yet passed on. Begins with a SUBSCRIBE, or with what is behind one.
    held: Vec<u8>,
    /// Packets of ours that are not yet written.
    unsent: Vec<u8>,
    flushing: bool,
}

impl<S: AsyncRead + AsyncWrite + Send + Sync + Unpin + 'static> Detour<S> {
    /// The transport for the library, and the other way into it.
    pub(crate) fn transport(
        stream: S,
        peer: SocketAddr,
        retained: Arc<Retained>,
        max_packet_bytes: usize,
    ) -> (BrokerTransport, mpsc::Receiver<ExternalInput>) {
        // One is enough: nothing is read until it is answered.
        let (subscribes, receiver) = mpsc::channel(1);
        let detour = Self {
            stream,
            peer,
            retained,
            subscribes,
            max_packet_bytes,
            frames: Frames::new(),
            held: Vec::new(),
            unsent: Vec::new(),
            flushing: false,
        };
        // The library's only transport that may be of any type; all that it knows of WebSocket is this name.
        (BrokerTransport::WebSocket(Box::new(detour)), receiver)
    }

    /// Writes what is to be sent before anything else.
    fn poll_unsent(&mut self, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        if self.unsent.is_empty() {
            self.unsent = self.retained.take_unsent();
        }
        while !self.unsent.is_empty() {
            let written = ready!(Pin::new(&mut self.stream).poll_write(context, &self.unsent))?;
            if written == 0 {
                return Poll::Ready(Err(io::ErrorKind::WriteZero.into()));
            }
            self.unsent.drain(..written.min(self.unsent.len()));
            self.flushing = true;
        }
        if self.flushing {
            ready!(Pin::new(&mut self.stream).poll_flush(context))?;
            self.flushing = false;
        }
        Poll::Ready(Ok(()))
    }

    /// Looks at the SUBSCRIBE with which what is held begins. Says whether it is to be waited for more of it.
    fn take_subscribe(&mut self) -> io::Result<bool> {
        let length = match first(&self.held, self.max_packet_bytes) {
            First::Partial => return Ok(true),
            First::Whole(length) => length,
            First::Unfit => {
                self.frames.give_up();
                return Ok(false);
            }
        };
        let client = self.retained.client();
        let subscribe =
            client.zip(self.held.get(..length)).and_then(|(client, packet)| read(packet, client.protocol_version));
        if let Some(mut subscribe) = subscribe
            && self.retained.take_over(&mut subscribe)
        {
            self.held.drain(..length);
            let packet = ExternalInput::Packet(Packet::Subscribe(subscribe), None, None);
            self.subscribes.try_send(packet).map_err(|_| io::ErrorKind::BrokenPipe)?;
        } else {
            // Nothing to change, or nothing that can be read: that the library finds out by itself.
            self.frames.let_through(length);
        }
        Ok(false)
    }
}

/// A SUBSCRIBE, if the packet is one that has no fault.
fn read(mut packet: &[u8], protocol_version: u8) -> Option<SubscribePacket> {
    let header = FixedHeader::decode(&mut packet).ok()?;
    SubscribePacket::decode_body_with_version(&mut packet, &header, protocol_version).ok()
}

impl<S: AsyncRead + AsyncWrite + Send + Sync + Unpin + 'static> AsyncRead for Detour<S> {
    /// The library reads again only when it has done all that it has read, so a SUBSCRIBE is looked at when everything
    /// before it is done.
    fn poll_read(self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let this = self.get_mut();
        loop {
            ready!(this.retained.poll_idle(context));
            ready!(this.poll_unsent(context))?;
            if !this.held.is_empty() {
                if this.frames.before_subscribe(&this.held) {
                    if this.retained.awaits_session() {
                        // The library waits too, in the same task, and reads again when it has the session.
                        return Poll::Pending;
                    }
                    if !this.take_subscribe()? {
                        continue;
                    }
                } else {
                    let fits = this.held.len().min(buffer.remaining());
                    let passed = this.frames.pass(this.held.get(..fits).unwrap_or_default());
                    buffer.put_slice(this.held.drain(..passed).as_slice());
                    return Poll::Ready(Ok(()));
                }
            }
            let before = buffer.filled().len();
            ready!(Pin::new(&mut this.stream).poll_read(context, buffer))?;
            let new = buffer.filled().get(before..).unwrap_or_default();
            if new.is_empty() {
                return Poll::Ready(Ok(()));
            }
            let passed = if this.held.is_empty() { this.frames.pass(new) } else { 0 };
            this.held.extend_from_slice(new.get(passed..).unwrap_or_default());
            buffer.set_filled(before + passed);
            // Nothing passed would mean the end of the stream.
            if passed > 0 {
                return Poll::Ready(Ok(()));
            }
        }
    }
}

impl<S: AsyncRead + AsyncWrite + Send + Sync + Unpin + 'static> AsyncWrite for Detour<S> {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let this = self.get_mut();
        // Whole packets are written between whole packets: the library writes each to its end before it does anything
        // else, and what is unsent was put there by one of its hooks.
        ready!(this.poll_unsent(context))?;
        Pin::new(&mut this.stream).poll_write(context, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.get_mut().stream).poll_shutdown(context)
    }
}

impl<S: AsyncRead + AsyncWrite + Send + Sync + Unpin + 'static> WebSocketTransport for Detour<S> {
    fn peer_addr(&self) -> mqtt5::Result<SocketAddr> {
        Ok(self.peer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::retained::tests::{SHOWING, answer, connection};
    use mqtt5::QoS;
    use mqtt5::packet::MqttPacket;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    /// The stairs' own end, and the broker library's two.
    async fn opened() -> (tokio::io::DuplexStream, Arc<Retained>, BrokerTransport, mpsc::Receiver<ExternalInput>) {
        let (stairs, stream) = tokio::io::duplex(1024);
        let retained = Arc::new(connection().await);
        let peer = SocketAddr::from(([127, 0, 0, 1], 1));
        let (transport, subscribes) = Detour::transport(stream, peer, Arc::clone(&retained), 1024);
        (stairs, retained, transport, subscribes)
    }

    fn subscribe(qos: QoS) -> Vec<u8> {
        let mut bytes = Vec::new();
        SubscribePacket::new_v311(1).add_filter(SHOWING, qos).encode(&mut bytes).unwrap();
        bytes
    }

    fn poll(transport: &mut BrokerTransport) -> Poll<io::Result<()>> {
        let mut bytes = [0; 16];
        let mut context = Context::from_waker(std::task::Waker::noop());
        Pin::new(transport).poll_read(&mut context, &mut ReadBuf::new(&mut bytes))
    }

    #[tokio::test]
    async fn what_is_retained_at_qos_0_is_written_before_what_the_library_writes_next() {
        let (mut stairs, retained, mut transport, mut subscribes) = opened().await;
        stairs.write_all(&subscribe(QoS::AtMostOnce)).await.unwrap();
        assert!(poll(&mut transport).is_pending());
        subscribes.try_recv().unwrap();
        retained.subscribed(&answer(QoS::AtMostOnce)).await;
        transport.write_all(b"live").await.unwrap();
        drop(transport);
        let mut bytes = Vec::new();
        stairs.read_to_end(&mut bytes).await.unwrap();
        assert!(bytes.starts_with(&[0x31]) && bytes.ends_with(b"keptlive"), "{bytes:?}");
    }

    #[tokio::test]
    async fn a_subscribe_waits_until_the_session_is_the_connections_own() {
        let (mut stairs, retained, mut transport, mut subscribes) = opened().await;
        retained.queue().expect_bind(7);
        stairs.write_all(&subscribe(QoS::AtLeastOnce)).await.unwrap();
        assert!(poll(&mut transport).is_pending());
        assert!(subscribes.try_recv().is_err());
        retained.queue().mark_bound(7);
        assert!(poll(&mut transport).is_pending());
        assert!(subscribes.try_recv().is_ok());
    }
}
