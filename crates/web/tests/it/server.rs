//! The server itself, over a real socket.

use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;

use crate::house::House;

/// Long enough for anything that is going to happen at all.
const PATIENCE: Duration = Duration::from_secs(60);

struct Running {
    address: std::net::SocketAddr,
    stop: CancellationToken,
    task: tokio::task::JoinHandle<std::io::Result<()>>,
    _house: House,
}

async fn running() -> Running {
    let house = House::with_hall().await;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let (address, stop) = (listener.local_addr().unwrap(), CancellationToken::new());
    let task = tokio::spawn(web::serve(listener, house.router.clone(), stop.clone()));
    Running { address, stop, task, _house: house }
}

/// Sends bytes and reads until the other side closes.
async fn exchange(running: &Running, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(running.address).await.unwrap();
    stream.write_all(bytes).await.unwrap();
    let mut answer = Vec::new();
    // a reset after the answer is as good an end as any
    let _ = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await.unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}

#[tokio::test]
async fn it_serves_knows_its_peer_and_stops() {
    let running = running().await;
    let request =
        format!("GET /v1/fixtures/hall/desired HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", running.address);
    let answer = exchange(&running, request.as_bytes()).await;
    assert!(answer.starts_with("HTTP/1.1 200") && answer.contains("\"evening\""), "{answer}");
    running.stop.cancel();
    tokio::time::timeout(PATIENCE, running.task).await.unwrap().unwrap().unwrap();
    assert!(TcpStream::connect(running.address).await.is_err());
}

#[tokio::test]
async fn an_idle_connection_does_not_keep_it_from_stopping() {
    let running = running().await;
    let mut idle = TcpStream::connect(running.address).await.unwrap();
    idle.write_all(b"GET /heal").await.unwrap();
    let mut kept = TcpStream::connect(running.address).await.unwrap();
    kept.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n").await.unwrap();
    let mut some = [0; 12];
    kept.read_exact(&mut some).await.unwrap();
    running.stop.cancel();
    tokio::time::timeout(PATIENCE, running.task).await.unwrap().unwrap().unwrap();
}

#[tokio::test]
async fn chunked_bodies_are_read_and_too_large_ones_refused() {
    let running = running().await;
    let head = format!(
        "PATCH /v1/fixtures/hall/desired HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Type: application/merge-patch+json\r\nTransfer-Encoding: chunked\r\n\r\n",
        running.address
    );
    let good = exchange(&running, format!("{head}5\r\n{{\"fad\r\n5\r\ne\":9}}\r\n0\r\n\r\n").as_bytes()).await;
    assert!(good.starts_with("HTTP/1.1 200"), "{good}");
    let chunk = format!("4000\r\n{}\r\n", " ".repeat(0x4000));
    let large = exchange(&running, format!("{head}{}0\r\n\r\n", chunk.repeat(6)).as_bytes()).await;
    assert!(large.starts_with("HTTP/1.1 413") && large.contains("/problems/too-large"), "{large}");
}

#[tokio::test]
async fn nonsense_ends_its_own_connection_and_nothing_else() {
    let running = running().await;
    for bytes in [
        &b"\x00\x01\x02\x03\r\n\r\n"[..],
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"POST /v1/fixtures HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\n{}",
        b"GET /%zz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",
    ] {
        let answer = exchange(&running, bytes).await;
        assert!(answer.is_empty() || answer.starts_with("HTTP/1.1 4") || answer.starts_with("HTTP/1.0 4"), "{answer}");
    }
    let request = format!("GET /healthz HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", running.address);
    assert!(exchange(&running, request.as_bytes()).await.starts_with("HTTP/1.1 200"));
}

#[tokio::test]
async fn a_body_that_comes_after_its_request_was_refused_does_not_cost_the_connection() {
    let running = running().await;
    let mut stream = TcpStream::connect(running.address).await.unwrap();
    stream.set_nodelay(true).unwrap();
    let head = "PATCH /v1/fixtures/NO/desired HTTP/1.1\r\nHost: x\r\nContent-Type: application/merge-patch+json\r\nContent-Length: 7\r\n\r\n";
    stream.write_all(head.as_bytes()).await.unwrap();
    // long enough for a server that does not wait for the body to have refused the head
    tokio::time::sleep(Duration::from_millis(200)).await;
    stream.write_all(b"{\"a\":1}").await.unwrap();
    stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n").await.unwrap();
    let mut answers = Vec::new();
    tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answers)).await.unwrap().unwrap();
    let answers = String::from_utf8_lossy(&answers).into_owned();
    assert!(answers.starts_with("HTTP/1.1 4") && answers.contains("HTTP/1.1 200"), "{answers}");
}
