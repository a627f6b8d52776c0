//! Connections that would keep the server waiting, over real sockets.

use axum::Router;
use axum::routing::get;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tower::ServiceExt;

use super::*;

/// Long enough for anything that is going to happen at all.
const BOUND: Duration = Duration::from_secs(60);
/// Never, as far as a test is concerned.
const NEVER: Duration = Duration::from_secs(3600);

/// An answer that no system's buffers take whole.
const LARGE: usize = 64 * 1024 * 1024;

struct Server {
    address: SocketAddr,
    stop: CancellationToken,
    task: tokio::task::JoinHandle<std::io::Result<()>>,
}

impl Server {
    async fn start(bounds: Bounds, patience: Patience) -> Self {
        let router = Router::new().route("/", get(async || "here")).route("/large", get(async || vec![b'x'; LARGE]));
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let (address, stop) = (listener.local_addr().unwrap(), CancellationToken::new());
        let answer = move |_, request| {
            let router = router.clone();
            async move { router.oneshot(request).await.unwrap() }
        };
        let task = tokio::spawn(serve_within(listener, answer, stop.clone(), bounds, patience));
        Self { address, stop, task }
    }

    async fn send(&self, bytes: &[u8]) -> TcpStream {
        let mut stream = TcpStream::connect(self.address).await.unwrap();
        stream.write_all(bytes).await.unwrap();
        stream
    }

    async fn end(self) {
        self.stop.cancel();
        tokio::time::timeout(BOUND, self.task).await.unwrap().unwrap().unwrap();
    }
}

/// Reads what comes until the other side closes.
async fn rest(mut stream: TcpStream) -> String {
    let mut text = Vec::new();
    // a reset is as good an end as any
    let _ = tokio::time::timeout(BOUND, stream.read_to_end(&mut text)).await.expect("it is not closed");
    String::from_utf8(text).unwrap()
}

const HERE: &[u8] = b"GET / HTTP/1.1\r\nHost: x\r\n\r\n";

#[tokio::test]
async fn a_connection_that_asks_for_nothing_is_closed_soon_and_one_that_has_asked_is_kept() {
    let quick = Patience { first_head: Duration::from_millis(50), head: NEVER, write: NEVER };
    let server = Server::start(Bounds::default(), quick).await;
    let mut kept = server.send(HERE).await;
    assert_eq!(rest(server.send(b"").await).await, "");
    assert_eq!(rest(server.send(b"GET / HTTP/1.1\r\nHo").await).await, "", "half a head is nothing either");
    let mut answer = [0; 12];
    tokio::time::timeout(BOUND, kept.read_exact(&mut answer)).await.unwrap().unwrap();
    kept.write_all(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").await.unwrap();
    assert!(rest(kept).await.contains("HTTP/1.1 200"), "the first has been kept all the while");
    server.end().await;
}

#[tokio::test]
async fn a_connection_that_stays_idle_is_closed() {
    let quick = Patience { first_head: NEVER, head: Duration::from_millis(50), write: NEVER };
    let server = Server::start(Bounds::default(), quick).await;
    assert!(rest(server.send(HERE).await).await.starts_with("HTTP/1.1 200"));
    server.end().await;
}

#[tokio::test]
async fn a_head_that_drips_does_not_keep_a_connection() {
    let quick = Patience { first_head: NEVER, head: Duration::from_millis(200), write: NEVER };
    let server = Server::start(Bounds::default(), quick).await;
    let mut stream = server.send(HERE).await;
    stream.write_all(b"GET / HTTP/1.1\r\nX: ").await.unwrap();
    let (mut from, mut to) = stream.split();
    let drip = async {
        while to.write_all(b"x").await.is_ok() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    let mut answer = Vec::new();
    tokio::select! {
        () = drip => {}
        // a reset is as good an end as any
        _ = from.read_to_end(&mut answer) => {}
        () = tokio::time::sleep(BOUND) => panic!("it is still open"),
    }
    server.end().await;
}

#[tokio::test]
async fn a_connection_that_takes_nothing_of_its_answer_is_closed_and_gives_its_place_back() {
    let quick = Patience { first_head: NEVER, head: NEVER, write: Duration::from_millis(50) };
    let one = Bounds { all: 1, ..Bounds::default() };
    let server = Server::start(one, quick).await;
    let stuck = server.send(b"GET /large HTTP/1.1\r\nHost: x\r\n\r\n").await;
    // there is room for it only when the first one's place is given back
    let second = server.send(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").await;
    assert!(rest(second).await.starts_with("HTTP/1.1 200"));
    assert!(rest(stuck).await.len() < LARGE, "it was cut");
    server.end().await;
}
