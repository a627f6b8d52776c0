//! Listening, and one connection from its acceptance to its end.
//!
//! The listeners are ours, not the broker library's: so a connection counts from the moment it is accepted, one that
//! never logs in can be dropped, a slow WebSocket handshake holds nobody up, and any connection can be ended at once.

use crate::BrokerError;
use crate::addresses::Addresses;
use crate::detour::Detour;
use crate::gate::{Gate, House};
use crate::registry::Line;
use crate::retained::Retained;
use crate::sessions::Sessions;
use mqtt5::broker::client_handler::{ClientHandler, ExternalInput};
use mqtt5::broker::config::BrokerConfig;
use mqtt5::broker::resource_monitor::ResourceMonitor;
use mqtt5::broker::sys_topics::BrokerStats;
use mqtt5::broker::transport::BrokerTransport;
use mqtt5::broker::websocket_server::WebSocketStreamWrapper;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::broadcast;
use tokio::sync::mpsc::Receiver;
use tokio::time::Instant;
use tokio_tungstenite::tungstenite::handshake::server::{ErrorResponse, Request, Response};
use tokio_tungstenite::tungstenite::http::{HeaderValue, StatusCode, header};
use tokio_tungstenite::tungstenite::protocol::WebSocketConfig;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tracing::{debug, warn};

/// Connections that the kernel completes before they are accepted (it may cut this to its own `somaxconn`). A whole
/// house boots at once; what overflows is tried again by its TCP only after a second.
const BACKLOG: u32 = 4096;
/// How long a connection that is to be ended may take to say its last will and go.
const LAST_WORDS: Duration = Duration::from_secs(1);
/// How long to wait when the system has no sockets left, before accepting again.
const NO_SOCKETS: Duration = Duration::from_millis(100);

/// What a listener carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Wire {
    /// MQTT.
    Plain,
    /// MQTT inside WebSocket.
    WebSocket,
}

/// All that a connection needs.
pub(crate) struct Works {
    pub(crate) house: Arc<House>,
    pub(crate) config: BrokerConfig,
    pub(crate) sessions: Sessions,
    pub(crate) stats: Arc<BrokerStats>,
    pub(crate) monitor: Arc<ResourceMonitor>,
    pub(crate) addresses: Arc<Addresses>,
    pub(crate) connect_timeout: Duration,
    /// Tells connections to close in good order.
    pub(crate) closing: broadcast::Sender<()>,
    /// No new connections, and none that has not logged in.
    pub(crate) soft_stop: CancellationToken,
    /// Nothing at all.
    pub(crate) hard_stop: CancellationToken,
    pub(crate) tasks: TaskTracker,
    pub(crate) numbers: AtomicU64,
}

/// Opens a listener.
pub(crate) fn listen(addr: SocketAddr) -> Result<TcpListener, BrokerError> {
    let open = || {
        let socket = if addr.is_ipv4() { TcpSocket::new_v4()? } else { TcpSocket::new_v6()? };
        // A restart must not wait for the old connections' ports. On Windows this would let two programs share the
        // port, and is not needed.
        #[cfg(unix)]
        socket.set_reuseaddr(true)?;
        socket.bind(addr)?;
        socket.listen(BACKLOG)
    };
    open().map_err(|source: std::io::Error| {
        if source.kind() == std::io::ErrorKind::AddrInUse {
            BrokerError::AddressInUse { addr }
        } else {
            BrokerError::Bind { addr, source }
        }
    })
}

/// Accepts connections until the broker stops.
pub(crate) async fn accept(listener: TcpListener, wire: Wire, works: Arc<Works>) {
    loop {
        let accepted = tokio::select! {
            biased;
            () = works.soft_stop.cancelled() => return,
            accepted = listener.accept() => accepted,
        };
        let (stream, peer) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                warn!(%error, "a connection could not be accepted");
                tokio::time::sleep(NO_SOCKETS).await;
                continue;
            }
        };
        let place = match works.addresses.take(peer.ip()) {
            Ok(place) => place,
            Err(full) => {
                debug!(%peer, ?full, "a connection was dropped");
                continue;
            }
        };
        let serving = Arc::clone(&works);
        works.tasks.spawn(async move {
            serve(stream, peer, wire, &serving).await;
            drop(place);
        });
    }
}

async fn serve(stream: TcpStream, peer: SocketAddr, wire: Wire, works: &Works) {
    // A delayed acknowledgement and Nagle's algorithm together cost 40 ms for every message of one exchange.
    if let Err(error) = stream.set_nodelay(true) {
        debug!(%peer, %error, "TCP_NODELAY was not set");
    }
    let deadline = Instant::now() + works.connect_timeout;
    let retained = Arc::new(Retained::new(works.sessions.clone()));
    let opening = open(stream, peer, wire, Arc::clone(&retained), works.config.max_packet_size);
    let opened = tokio::select! {
        biased;
        () = works.soft_stop.cancelled() => return,
        opened = tokio::time::timeout_at(deadline, opening) => opened,
    };
    let (transport, subscribes) = match opened {
        Ok(Ok(opened)) => opened,
        Ok(Err(error)) => {
            debug!(%peer, %error, "the WebSocket handshake failed");
            return;
        }
        Err(_) => {
            debug!(%peer, "the WebSocket handshake took too long");
            return;
        }
    };
    let line = Line { number: works.numbers.fetch_add(1, Ordering::Relaxed), cancel: CancellationToken::new() };
    let cancel = line.cancel.clone();
    let gate = Arc::new(Gate::new(Arc::clone(&works.house), peer, line, retained));
    let _until_gone = gate.until_gone();
    // The library's event of a subscription does not say on which connection it is, so each has its own hooks.
    let config = BrokerConfig { event_handler: Some(Arc::clone(&gate) as _), ..works.config.clone() };
    let handler = ClientHandler::new_with_external_packets(
        transport,
        peer,
        Arc::new(config),
        Arc::clone(&works.sessions.router),
        Arc::clone(&gate) as _,
        Some(Arc::clone(&works.sessions.storage)),
        Arc::clone(&works.stats),
        Arc::clone(&works.monitor),
        works.closing.subscribe(),
        Some(subscribes),
    );
    // Boxed: the library's future is large, and an idle connection should not carry it twice.
    let mut running = Box::pin(handler.run());
    tokio::select! {
        biased;
        () = works.hard_stop.cancelled() => {}
        () = cancel.cancelled() => last_words(&mut running, &gate, works).await,
        () = unless_logged_in(&gate, tokio::time::sleep_until(deadline)) => {
            debug!(%peer, "dropped: no log-in within the time for it");
        }
        () = unless_logged_in(&gate, works.soft_stop.cancelled()) => {}
        outcome = &mut running => match outcome {
            Ok(()) => debug!(%peer, "closed"),
            Err(error) => debug!(%peer, %error, "closed"),
        },
    }
}

/// Waits for `moment`, and for ever if the connection has logged in by then.
async fn unless_logged_in(gate: &Gate, moment: impl Future<Output = ()>) {
    moment.await;
    if gate.client_id().is_some() {
        std::future::pending::<()>().await;
    }
}

/// Lets a connection that is to be ended publish its last will, but not for longer than [`LAST_WORDS`].
async fn last_words<T>(running: &mut (impl Future<Output = T> + Unpin), gate: &Gate, works: &Works) {
    let Some(client_id) = gate.client_id() else {
        return;
    };
    let until = Instant::now() + LAST_WORDS;
    while Instant::now() < until {
        // Repeated, since a connection that is just logging in may not have registered yet.
        works.sessions.router.disconnect_client(client_id).await;
        if tokio::time::timeout(LAST_WORDS / 20, &mut *running).await.is_ok() {
            return;
        }
    }
}

async fn open(
    stream: TcpStream,
    peer: SocketAddr,
    wire: Wire,
    retained: Arc<Retained>,
    max_packet_bytes: usize,
) -> Result<(BrokerTransport, Receiver<ExternalInput>), tokio_tungstenite::tungstenite::Error> {
    if wire == Wire::Plain {
        return Ok(Detour::transport(stream, peer, retained, max_packet_bytes));
    }
    // The library's own handshake would take messages of 64 MiB from clients that have not logged in. A message may
    // hold several packets (MQTT 5.0, section 6), so a few are allowed.
    let most = max_packet_bytes.saturating_mul(4);
    let config = WebSocketConfig::default().max_message_size(Some(most)).max_frame_size(Some(most));
    let stream = tokio_tungstenite::accept_hdr_async_with_config(stream, shake_hands, Some(config)).await?;
    Ok(Detour::transport(WebSocketStreamWrapper::new(stream), peer, retained, max_packet_bytes))
}

/// Path `/mqtt` and the subprotocol `mqtt`, which MQTT asks for (MQTT 5.0, section 6, MQTT-6.0.0-3 and -4).
#[allow(clippy::result_large_err, reason = "the signature is the handshake's")]
fn shake_hands(request: &Request, mut response: Response) -> Result<Response, ErrorResponse> {
    let refuse = |status| {
        let mut refusal = ErrorResponse::new(None);
        *refusal.status_mut() = status;
        Err(refusal)
    };
    if request.uri().path() != "/mqtt" {
        return refuse(StatusCode::NOT_FOUND);
    }
    let offers_mqtt = request
        .headers()
        .get_all(header::SEC_WEBSOCKET_PROTOCOL)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .any(|protocol| protocol.trim() == "mqtt");
    if !offers_mqtt {
        return refuse(StatusCode::BAD_REQUEST);
    }
    response.headers_mut().insert(header::SEC_WEBSOCKET_PROTOCOL, HeaderValue::from_static("mqtt"));
    Ok(response)
}
