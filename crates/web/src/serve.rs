//! The server's loop: accepts connections, serves them, and stops within a bound.

mod connections;
mod pulse;
mod writes;

use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::{Request, Response};
use hyper::body::{Body as _, Incoming};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tracing::{debug, warn};

use self::connections::{Bounds, Connections, Place};
use self::pulse::Pulse;
use self::writes::BoundedWrites;
use crate::site::Site;

/// How long requests that are under way may take when the daemon stops.
const GRACE: Duration = Duration::from_secs(5);
/// How many headers a request may have.
const HEADERS: usize = 100;

/// How long a connection may keep the server waiting.
#[derive(Debug, Clone, Copy)]
struct Patience {
    /// For the head of its first request.
    first_head: Duration,
    /// For the head of every further one: also how long a connection that is idle is kept.
    head: Duration,
    /// While it takes nothing of an answer.
    write: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { first_head: Duration::from_secs(10), head: Duration::from_secs(60), write: Duration::from_secs(30) }
    }
}

/// Serves until it is told to stop; then takes no more connections, and gives requests that are under way five seconds.
///
/// At most 1,024 connections are served at a time, further ones wait in the system's queue. At most 960 of them come
/// from other machines, 64 from one address (with IPv6 from one /64), and what goes beyond that is closed: no stranger
/// can keep the machine itself or all others out. A connection is closed that does not send the head of its first
/// request within 10 seconds, sends none for 60 to 70 later on, or takes nothing of an answer for 30.
///
/// # Errors
/// When the listener cannot be used at all. A connection that fails ends alone.
pub async fn serve(listener: TcpListener, site: Site, stop: CancellationToken) -> std::io::Result<()> {
    let answer = move |peer, request| site.answer(peer, request);
    serve_within(listener, answer, stop, Bounds::default(), Patience::default()).await
}

async fn serve_within<A, F>(
    listener: TcpListener,
    answer: A,
    stop: CancellationToken,
    bounds: Bounds,
    patience: Patience,
) -> std::io::Result<()>
where
    A: Fn(IpAddr, Request<Body>) -> F + Clone + Send + 'static,
    F: Future<Output = Response<Body>> + Send + 'static,
{
    listener.local_addr()?;
    let graceful = GracefulShutdown::new();
    let connections = Arc::new(Connections::new(bounds));
    loop {
        let accepted = tokio::select! {
            biased;
            () = stop.cancelled() => break,
            accepted = accept(&listener, &connections) => accepted,
        };
        let (stream, peer, place) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                // such as no file descriptors left: it passes, and a busy loop would not help it
                warn!(%error, "a connection could not be accepted");
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let Some(place) = place else {
            debug!(%peer, "closed: there are too many connections from there");
            continue;
        };
        if let Err(error) = stream.set_nodelay(true) {
            debug!(%peer, %error, "TCP_NODELAY could not be set");
        }
        let (answer, pulse) = (answer.clone(), Arc::new(Pulse::default()));
        let beating = Arc::clone(&pulse);
        let service = service_fn(move |request: Request<Incoming>| {
            let asked = Pulse::asked(&beating);
            let work = answer(peer.ip(), request.map(body));
            async move {
                let response = work.await;
                drop(asked);
                Ok::<_, Infallible>(response)
            }
        });
        // hyper's own bound of a head would set a timer for every request
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(None)
            .max_headers(HEADERS)
            .serve_connection(TokioIo::new(BoundedWrites::new(stream, patience.write, Arc::clone(&pulse))), service);
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            tokio::select! {
                biased;
                ended = watched => if let Err(error) = ended {
                    debug!(%peer, %error, "a connection ended");
                },
                () = pulse::silence(&pulse, patience.first_head, patience.head) => {
                    debug!(%peer, "closed: it asked for nothing in time");
                }
            }
            drop(place);
        });
    }
    drop(listener);
    if tokio::time::timeout(GRACE, graceful.shutdown()).await.is_err() {
        warn!("requests were still under way when the time to stop was over");
    }
    Ok(())
}

/// The body of a request; one that has none needs no place.
fn body(incoming: Incoming) -> Body {
    if incoming.is_end_stream() { Body::empty() } else { Body::new(incoming) }
}

/// The next connection, with its place if it may have one.
async fn accept(
    listener: &TcpListener,
    connections: &Arc<Connections>,
) -> std::io::Result<(TcpStream, SocketAddr, Option<Place>)> {
    let room = connections.room().await?;
    let (stream, peer) = listener.accept().await?;
    let place = connections.place(peer.ip(), room);
    Ok((stream, peer, place))
}

#[cfg(test)]
mod tests;
