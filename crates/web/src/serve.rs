//! The server's loop: accepts connections, serves them, and stops within a bound.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;
use tracing::{debug, warn};

/// How long requests that are under way may take when the daemon stops.
const GRACE: Duration = Duration::from_secs(5);
/// How long the head of a request may take; also how long an idle connection is kept.
const HEAD: Duration = Duration::from_secs(60);
/// How many connections are served at a time; more wait in the system's queue.
const CONNECTIONS: usize = 1024;
/// How many headers a request may have.
const HEADERS: usize = 100;

/// Serves until it is told to stop; then takes no more connections, and gives requests that are under way five seconds.
///
/// # Errors
/// When the listener cannot be used at all. A connection that fails ends alone.
pub async fn serve(listener: TcpListener, router: Router, stop: CancellationToken) -> std::io::Result<()> {
    listener.local_addr()?;
    let graceful = GracefulShutdown::new();
    let room = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let accepted = tokio::select! {
            biased;
            () = stop.cancelled() => break,
            accepted = accept(&listener, &room) => accepted,
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
        if let Err(error) = stream.set_nodelay(true) {
            debug!(%peer, %error, "TCP_NODELAY could not be set");
        }
        let router = router.clone();
        let service = service_fn(move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo(peer));
            router.clone().oneshot(request.map(Body::new))
        });
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD)
            .max_headers(HEADERS)
            .serve_connection(TokioIo::new(stream), service);
        let watched = graceful.watch(connection);
        tokio::spawn(async move {
            if let Err(error) = watched.await {
                debug!(%peer, %error, "a connection ended");
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

async fn accept(
    listener: &TcpListener,
    room: &Arc<Semaphore>,
) -> std::io::Result<(TcpStream, SocketAddr, tokio::sync::OwnedSemaphorePermit)> {
    let place = Arc::clone(room).acquire_owned().await.map_err(std::io::Error::other)?;
    let (stream, peer) = listener.accept().await?;
    Ok((stream, peer, place))
}
