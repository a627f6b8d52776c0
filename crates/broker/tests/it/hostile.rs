//! Bytes that no client should send, before and after log-in, in both versions. Whatever they do to their own
//! connection, everybody else is served on, and no task of the broker panics.

use crate::clients::{Client, HALL, House, STAIRS};
use crate::raw::{Raw, connect, packet, publish, string};
use broker::Options;
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};
use tokio::io::AsyncWriteExt;

/// Panics that came from inside the broker library or this crate.
static PANICS: AtomicUsize = AtomicUsize::new(0);

fn count_panics() {
    static SET: Once = Once::new();
    SET.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            let ours = panic.location().is_some_and(|at| {
                at.file().contains("mqtt5") || at.file().contains("tungstenite") || at.file().contains("broker/src")
            });
            if ours {
                PANICS.fetch_add(1, Ordering::SeqCst);
            }
            usual(panic);
        }));
    });
}

/// Each with what is wrong with it. Sections are those of MQTT 5.0.
fn table() -> Vec<(&'static str, Vec<u8>)> {
    let text = |bytes: &[u8]| string(bytes);
    let own = b"fixtures/hall/boot";
    let body = |parts: &[&[u8]]| parts.concat();
    vec![
        ("nothing at all", vec![]),
        ("one byte", vec![0x10]),
        ("a web request", b"GET / HTTP/1.1\r\nHost: x\r\n\r\n".to_vec()),
        ("a TLS hello", vec![0x16, 3, 1, 2, 0, 1, 0, 1, 0xFC, 3, 3]),
        ("zeros", vec![0; 64]),
        ("ones", vec![0xFF; 64]),
        ("the reserved packet type 0 (2.1.2)", vec![0x00, 0]),
        ("the reserved packet type 15", vec![0xF0, 0]),
        ("a length of five bytes (1.5.5)", vec![0x30, 0xFF, 0xFF, 0xFF, 0xFF, 0x7F]),
        ("a length that never ends", vec![0x30, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80]),
        ("a length not in its shortest form", vec![0xC0, 0x80, 0x80, 0x00]),
        ("256 MiB announced", vec![0x30, 0xFF, 0xFF, 0xFF, 0x7F, 0, 1, b'x']),
        ("65 KiB announced", vec![0x30, 0x80, 0x88, 0x04, 0, 1, b'x']),
        ("CONNECT without a body", packet(0x10, &[])),
        ("CONNECT with flags in its first byte", packet(0x1F, &body(&[&text(b"MQTT"), &[4, 2, 0, 60], &text(b"x")]))),
        ("CONNECT of another protocol", packet(0x10, &body(&[&text(b"MQTTX"), &[4, 2, 0, 60], &text(b"x")]))),
        ("CONNECT of version 0", packet(0x10, &body(&[&text(b"MQTT"), &[0, 2, 0, 60], &text(b"x")]))),
        ("CONNECT of version 3", packet(0x10, &body(&[&text(b"MQIsdp"), &[3, 2, 0, 60], &text(b"x")]))),
        ("CONNECT of version 255", packet(0x10, &body(&[&text(b"MQTT"), &[255, 2, 0, 60], &text(b"x")]))),
        (
            "CONNECT with the reserved flag (3.1.2.3)",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 3, 0, 60], &text(b"x")])),
        ),
        (
            "CONNECT with a will of QoS 3",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 0x1E, 0, 60], &text(b"x"), &text(b"t"), &text(b"p")])),
        ),
        (
            "CONNECT with a will's QoS and no will",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 0x0A, 0, 60], &text(b"x")])),
        ),
        (
            "CONNECT with a will and no topic for it",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 0x06, 0, 60], &text(b"x")])),
        ),
        ("CONNECT whose username is missing", packet(0x10, &body(&[&text(b"MQTT"), &[4, 0xC2, 0, 60], &text(b"x")]))),
        (
            "CONNECT whose id is longer than the packet",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 2, 0, 60], &[0xFF, 0xFF, b'x']])),
        ),
        ("CONNECT whose id is not UTF-8", packet(0x10, &body(&[&text(b"MQTT"), &[4, 2, 0, 60], &text(&[0xC3, 0x28])]))),
        ("CONNECT whose id has a NUL", packet(0x10, &body(&[&text(b"MQTT"), &[4, 2, 0, 60], &text(b"a\0b")]))),
        (
            "CONNECT whose id climbs folders",
            packet(0x10, &body(&[&text(b"MQTT"), &[4, 0xC2, 0, 60], &text(b"../../x"), &text(b"hall"), &text(b"x")])),
        ),
        (
            "CONNECT with properties longer than the packet",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 0xFF, 0xFF, 0x7F], &text(b"x")])),
        ),
        (
            "CONNECT with an unknown property",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 2, 0x7E, 0], &text(b"x")])),
        ),
        (
            "CONNECT with a receive maximum of 0 (3.1.2.11.3)",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 3, 0x21, 0, 0], &text(b"x")])),
        ),
        (
            "CONNECT with a maximum packet size of 0",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 5, 0x27, 0, 0, 0, 0], &text(b"x")])),
        ),
        (
            "CONNECT with one property twice",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 10, 0x11, 0, 0, 0, 1, 0x11, 0, 0, 0, 1], &text(b"x")])),
        ),
        (
            "CONNECT with an authentication method",
            packet(0x10, &body(&[&text(b"MQTT"), &[5, 2, 0, 60, 6, 0x15, 0, 3, b'P', b'L', b'X'], &text(b"x")])),
        ),
        ("CONNECT with bytes after its end", [connect(4, "hall", ("hall", "x")), vec![0; 9]].concat()),
        ("CONNECT cut off", connect(4, "hall", HALL)[..20].to_vec()),
        ("CONNACK from a client", packet(0x20, &[0, 0])),
        ("CONNACK with every flag", packet(0x20, &[0xFF, 0xFF, 0xFF])),
        ("PUBLISH without a body", packet(0x30, &[])),
        ("PUBLISH of QoS 3", packet(0x36, &body(&[&text(own), &[0, 1]]))),
        ("PUBLISH marked as a duplicate at QoS 0", packet(0x38, &body(&[&text(own), b"x"]))),
        ("PUBLISH without a packet id", packet(0x32, &text(own))),
        ("PUBLISH with the packet id 0", packet(0x32, &body(&[&text(own), &[0, 0], &[0]]))),
        ("PUBLISH of QoS 2 with the packet id 0", packet(0x34, &body(&[&text(own), &[0, 0], &[0]]))),
        ("PUBLISH with an empty topic", packet(0x30, &body(&[&text(b""), &[0], b"x"]))),
        ("PUBLISH with a wildcard in its topic", packet(0x30, &body(&[&text(b"fixtures/+/boot"), &[0], b"x"]))),
        ("PUBLISH with a topic that is not UTF-8", packet(0x30, &body(&[&text(&[0xFF, 0xFE]), &[0], b"x"]))),
        (
            "PUBLISH with a surrogate in its topic (1.5.4)",
            packet(0x30, &body(&[&text(&[0xED, 0xA0, 0x80]), &[0], b"x"])),
        ),
        ("PUBLISH with a topic longer than the packet", packet(0x30, &[0xFF, 0xFF, b'x'])),
        ("PUBLISH with a topic of 65,535 bytes", packet(0x30, &body(&[&text(&[b'x'; 65_500]), &[0]]))),
        (
            "PUBLISH with properties longer than the packet",
            packet(0x30, &body(&[&text(own), &[0xFF, 0xFF, 0xFF, 0x7F]])),
        ),
        ("PUBLISH with the topic alias 0", packet(0x30, &body(&[&text(own), &[3, 0x23, 0, 0], b"x"]))),
        (
            "PUBLISH with a topic alias above the maximum",
            packet(0x30, &body(&[&text(own), &[3, 0x23, 0xFF, 0xFF], b"x"])),
        ),
        ("PUBLISH with an alias that stands for nothing", packet(0x30, &body(&[&text(b""), &[3, 0x23, 0, 5], b"x"]))),
        ("PUBLISH with a subscription identifier", packet(0x30, &body(&[&text(own), &[2, 0x0B, 1], b"x"]))),
        (
            "PUBLISH with a wildcard in its response topic",
            packet(0x30, &body(&[&text(own), &[5, 0x08, 0, 2, b'#', b'#'], b"x"])),
        ),
        ("PUBACK of nothing sent", packet(0x40, &[0, 7])),
        ("PUBACK without a body", packet(0x40, &[])),
        ("PUBACK with an unknown reason", packet(0x40, &[0, 7, 0x55, 0])),
        ("PUBREC of nothing sent", packet(0x50, &[0, 7])),
        ("PUBREL of nothing sent", packet(0x62, &[0, 7])),
        ("PUBREL with wrong flags", packet(0x60, &[0, 7])),
        ("PUBCOMP of nothing sent", packet(0x70, &[0, 7])),
        ("SUBSCRIBE without a body", packet(0x82, &[])),
        ("SUBSCRIBE without a filter", packet(0x82, &[0, 1])),
        ("SUBSCRIBE with wrong flags", packet(0x80, &body(&[&[0, 1], &text(b"fixtures/hall/desired"), &[0]]))),
        ("SUBSCRIBE with the packet id 0", packet(0x82, &body(&[&[0, 0], &text(b"fixtures/hall/desired"), &[0]]))),
        ("SUBSCRIBE with QoS 3", packet(0x82, &body(&[&[0, 1], &text(b"fixtures/hall/desired"), &[3]]))),
        (
            "SUBSCRIBE with reserved options",
            packet(0x82, &body(&[&[0, 1, 0], &text(b"fixtures/hall/desired"), &[0xFF]])),
        ),
        ("SUBSCRIBE whose option is missing", packet(0x82, &body(&[&[0, 1], &text(b"fixtures/hall/desired")]))),
        ("SUBSCRIBE with an empty filter", packet(0x82, &body(&[&[0, 1], &text(b""), &[0]]))),
        ("SUBSCRIBE with a crooked wildcard", packet(0x82, &body(&[&[0, 1], &text(b"fixtures/#/x"), &[0]]))),
        ("SUBSCRIBE with a share without a name", packet(0x82, &body(&[&[0, 1], &text(b"$share//x"), &[0]]))),
        ("SUBSCRIBE with nothing but $share", packet(0x82, &body(&[&[0, 1], &text(b"$share"), &[0]]))),
        ("SUBSCRIBE no-local on a share (3.8.3.1)", packet(0x82, &body(&[&[0, 1, 0], &text(b"$share/g/x"), &[4]]))),
        (
            "SUBSCRIBE with a subscription identifier of 0",
            packet(0x82, &body(&[&[0, 1, 2, 0x0B, 0], &text(b"x"), &[0]])),
        ),
        (
            "SUBSCRIBE with a thousand filters",
            packet(0x82, &body(&[&[0, 1], &[&text(b"x")[..], &[0]].concat().repeat(1000)])),
        ),
        ("SUBACK from a client", packet(0x90, &[0, 1, 0])),
        ("UNSUBSCRIBE without a filter", packet(0xA2, &[0, 1])),
        ("UNSUBSCRIBE of what was never subscribed", packet(0xA2, &body(&[&[0, 1], &text(b"#")]))),
        ("UNSUBACK from a client", packet(0xB0, &[0, 1])),
        ("PINGREQ with a body", packet(0xC0, b"ping")),
        ("PINGRESP from a client", packet(0xD0, &[])),
        ("DISCONNECT with flags", packet(0xEF, &[])),
        ("DISCONNECT with an unknown reason", packet(0xE0, &[0x55, 0])),
        ("DISCONNECT with a session expiry after none (3.14.2.2.2)", packet(0xE0, &[0, 5, 0x11, 0, 0, 0, 9])),
        ("DISCONNECT twice", [packet(0xE0, &[]), packet(0xE0, &[])].concat()),
        ("AUTH out of nowhere", packet(0xF0, &[0x18, 0])),
        ("AUTH with a method", packet(0xF0, &[0x19, 6, 0x15, 0, 3, b'X', b'Y', b'Z'])),
        ("a good packet with rubbish behind it", [publish(4, "fixtures/hall/event", b"", 0), vec![0xF7; 40]].concat()),
    ]
}

struct Witness {
    daemon: Client,
    stairs: Client,
    said: usize,
}

impl Witness {
    /// Somebody else is served as if nothing had happened.
    async fn still_served(&mut self) {
        self.said += 1;
        let text = format!("marker {}", self.said);
        self.stairs.publish("fixtures/stairs/event", &text, false).await;
        while self.daemon.hear().await.payload != text {}
    }
}

/// A house that answers every wrong log-in at once: thousands are sent here.
async fn patient_house() -> House {
    House::with(Options { failed_logins_per_minute: 10_000, ..Options::default() }).await
}

async fn attack(house: &House, logged_in: Option<u8>, bytes: &[u8]) {
    let mut raw = match logged_in {
        Some(version) => Raw::log_in(house.addr(), version, "hall", HALL).await,
        None => Raw::open(house.addr()).await,
    };
    raw.send(bytes).await;
    // It may have been cut already.
    let _ = raw.0.shutdown().await;
    raw.hung_up().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn malformed_packets_harm_nobody_else() {
    count_panics();
    let house = patient_house().await;
    let mut witness = Witness { daemon: house.daemon().await, stairs: house.fixture(STAIRS).await, said: 0 };
    let table = table();
    assert!(table.len() >= 80);
    for (name, bytes) in &table {
        for logged_in in [None, Some(4), Some(5)] {
            println!("{name}, {logged_in:?}");
            attack(&house, logged_in, bytes).await;
        }
        witness.still_served().await;
    }
    house.fixture(HALL).await;
    assert_eq!(PANICS.load(Ordering::SeqCst), 0, "a task of the broker panicked");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn good_packets_with_bytes_changed_harm_nobody_else() {
    count_panics();
    let house = patient_house().await;
    let mut witness = Witness { daemon: house.daemon().await, stairs: house.fixture(STAIRS).await, said: 0 };
    // A fixed stream of numbers (Knuth's MMIX constants), so that a failure can be repeated.
    let mut state = 0x1234_5678_u64;
    let mut random = move |below: usize| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(state >> 33).unwrap() % below
    };
    let good: Vec<Vec<u8>> = [4, 5]
        .into_iter()
        .flat_map(|version| {
            [
                connect(version, "hall", HALL),
                [connect(version, "hall", HALL), publish(version, "fixtures/hall/boot", b"{\"have\":1}", 1)].concat(),
                [
                    connect(version, "hall", HALL),
                    packet(0x82, &[&[0, 1][..], &string(b"fixtures/hall/desired"), &[1]].concat()),
                ]
                .concat(),
            ]
        })
        .collect();
    for round in 0..600 {
        let mut bytes = good[random(good.len())].clone();
        for _ in 0..=random(3) {
            let at = random(bytes.len());
            match random(3) {
                0 => bytes[at] = u8::try_from(random(256)).unwrap(),
                1 => bytes.truncate(at.max(1)),
                _ => bytes.insert(at, u8::try_from(random(256)).unwrap()),
            }
        }
        attack(&house, None, &bytes).await;
        if round % 50 == 0 {
            witness.still_served().await;
        }
    }
    witness.still_served().await;
    assert_eq!(PANICS.load(Ordering::SeqCst), 0, "a task of the broker panicked");
}

#[tokio::test]
async fn log_in_with_an_authentication_method_is_refused() {
    let house = House::open().await;
    let mut raw = Raw::open(house.addr()).await;
    let properties = [6, 0x15, 0, 3, b'P', b'L', b'X'];
    let body = [
        &string(b"MQTT")[..],
        &[5, 0xC2, 0, 60],
        &properties,
        &string(b"x"),
        &string(STAIRS.0.as_bytes()),
        &string(STAIRS.1.as_bytes()),
    ]
    .concat();
    raw.send(&packet(0x10, &body)).await;
    let (first, body) = raw.read().await.unwrap();
    // MQTT 5.0, section 3.2.2.2: 0x8C, bad authentication method.
    assert_eq!((first, body[1]), (0x20, 0x8C));
}
