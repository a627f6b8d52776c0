//! MQTT over WebSocket (MQTT 5.0, section 6).

use crate::clients::{House, STAIRS, within};
use crate::raw::{connect, publish};
use broker::Options;
use futures_util::{SinkExt, StreamExt};
use std::net::SocketAddr;
use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio_tungstenite::WebSocketStream;
use tokio_tungstenite::tungstenite::client::IntoClientRequest;
use tokio_tungstenite::tungstenite::http::HeaderValue;
use tokio_tungstenite::tungstenite::{Error, Message};

async fn shake(
    addr: SocketAddr,
    path: &str,
    protocol: Option<&'static str>,
) -> Result<WebSocketStream<TcpStream>, Error> {
    let stream = TcpStream::connect(addr).await.unwrap();
    let mut request = format!("ws://{addr}{path}").into_client_request().unwrap();
    if let Some(protocol) = protocol {
        request.headers_mut().insert("Sec-WebSocket-Protocol", HeaderValue::from_static(protocol));
    }
    within("the handshake", tokio_tungstenite::client_async(request, stream)).await.map(|(stream, _)| stream)
}

async fn house() -> (House, SocketAddr) {
    let house =
        House::with(Options { websocket: Some(SocketAddr::from(([127, 0, 0, 1], 0))), ..Options::default() }).await;
    let addr = house.broker.websocket_addr().unwrap();
    assert_ne!(addr, house.addr());
    (house, addr)
}

async fn next(stream: &mut WebSocketStream<TcpStream>) -> Option<Message> {
    within("a frame", stream.next()).await.and_then(Result::ok)
}

#[tokio::test]
async fn there_is_no_websocket_unless_it_is_asked_for() {
    let house = House::open().await;
    assert_eq!(house.broker.websocket_addr(), None);
}

#[tokio::test]
async fn messages_come_through_a_websocket_under_the_same_rules() {
    let (mut house, addr) = house().await;
    let mut daemon = house.daemon().await;
    let mut stream = shake(addr, "/mqtt", Some("mqtt")).await.unwrap();
    stream.send(Message::Binary(connect(4, "stairs", STAIRS).into())).await.unwrap();
    assert_eq!(next(&mut stream).await, Some(Message::Binary(vec![0x20, 2, 0, 0].into())));
    stream.send(Message::Binary(publish(4, "fixtures/hall/boot", b"x", 0).into())).await.unwrap();
    assert_eq!(house.refusal().await.topic, "fixtures/hall/boot");
    stream.send(Message::Binary(publish(4, "fixtures/stairs/boot", b"marker", 0).into())).await.unwrap();
    daemon.hear_next("fixtures/stairs/boot", "marker").await;
}

#[tokio::test]
async fn a_wrong_secret_is_refused_over_websocket_too() {
    let (_house, addr) = house().await;
    let mut stream = shake(addr, "/mqtt", Some("mqtt")).await.unwrap();
    let connect = connect(4, "stairs", ("stairs", "guess"));
    stream.send(Message::Binary(connect.into())).await.unwrap();
    assert_eq!(next(&mut stream).await, Some(Message::Binary(vec![0x20, 2, 0, 4].into())));
}

#[tokio::test]
async fn another_path_or_subprotocol_is_refused() {
    let (_house, addr) = house().await;
    for (path, protocol, status) in
        [("/", Some("mqtt"), 404), ("/mqtt/", Some("mqtt"), 404), ("/mqtt", None, 400), ("/mqtt", Some("chat"), 400)]
    {
        match shake(addr, path, protocol).await {
            Err(Error::Http(answer)) => assert_eq!(answer.status(), status, "{path} {protocol:?}"),
            other => panic!("{path} {protocol:?}: {other:?}"),
        }
    }
}

#[tokio::test]
async fn a_message_larger_than_any_packet_ends_the_connection_before_log_in() {
    let (house, addr) = house().await;
    let mut stream = shake(addr, "/mqtt", Some("mqtt")).await.unwrap();
    // Good packets every one: a log-in, then half a million pings. Only their message is too large.
    let mut message = connect(4, "stairs", STAIRS);
    message.extend([0xC0, 0].repeat(1 << 19));
    // The broker may hang up while it is being sent.
    let _ = stream.send(Message::Binary(message.into())).await;
    while let Some(frame) = next(&mut stream).await {
        assert!(matches!(frame, Message::Close(_)), "{frame:?}");
    }
    house.fixture(STAIRS).await;
}

#[tokio::test]
async fn a_slow_handshake_holds_nobody_up() {
    let (_house, addr) = house().await;
    let mut slow = TcpStream::connect(addr).await.unwrap();
    slow.write_all(b"GET /mqtt HTTP/1.1\r\n").await.unwrap();
    shake(addr, "/mqtt", Some("mqtt")).await.unwrap();
}
