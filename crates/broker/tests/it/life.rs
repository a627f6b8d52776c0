//! Starting and stopping.

use crate::clients::{Client, HALL, House, STAIRS, within};
use crate::raw::{Raw, packet, publish, string};
use broker::{BrokerError, Embedded, Options};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

#[tokio::test]
async fn port_0_takes_a_free_one_and_two_brokers_do_not_meet() {
    let one = House::open().await;
    let two = House::open().await;
    assert_ne!(one.addr().port(), 0);
    assert_ne!(one.addr(), two.addr());
    assert!(one.addr().ip().is_loopback());
    assert_ne!(one.broker.daemon_secret(), two.broker.daemon_secret());
    let mut daemon = one.daemon().await;
    two.fixture(STAIRS).await.publish("fixtures/stairs/boot", "elsewhere", true).await;
    one.fixture(STAIRS).await.publish("fixtures/stairs/boot", "here", false).await;
    daemon.hear_next("fixtures/stairs/boot", "here").await;
}

#[tokio::test]
async fn the_daemons_secret_has_256_bits_and_is_not_shown() {
    let house = House::open().await;
    // 32 bytes in base64 without padding.
    assert_eq!(house.broker.daemon_secret().len(), 43);
    assert!(!format!("{:?}", house.broker).contains(house.broker.daemon_secret()));
}

#[tokio::test]
async fn a_port_in_use_is_its_own_error_and_names_the_address() {
    let house = House::open().await;
    let addr = house.addr();
    for options in
        [Options { listen: addr, ..Options::default() }, Options { websocket: Some(addr), ..Options::default() }]
    {
        let error = Embedded::start(options, Arc::clone(&house.enrolled) as _).await.unwrap_err();
        assert!(matches!(error, BrokerError::AddressInUse { addr: named } if named == addr), "{error:?}");
        assert!(error.to_string().contains(&addr.to_string()));
    }
}

#[tokio::test]
async fn an_address_of_another_machine_cannot_be_bound() {
    let house = House::open().await;
    // RFC 5737: an address for documentation, nobody's.
    let listen: SocketAddr = "192.0.2.1:0".parse().unwrap();
    let options = Options { listen, ..Options::default() };
    let error = Embedded::start(options, Arc::clone(&house.enrolled) as _).await.unwrap_err();
    assert!(matches!(error, BrokerError::Bind { addr, .. } if addr == listen), "{error:?}");
}

#[tokio::test]
async fn the_port_is_free_again_after_a_stop() {
    let house = House::open().await;
    let addr = house.addr();
    let mut stairs = house.fixture(STAIRS).await;
    within("the broker to stop", house.broker.stop()).await;
    stairs.ended().await;
    let again = House::with(Options { listen: addr, ..Options::default() }).await;
    assert_eq!(again.addr(), addr);
    again.fixture(STAIRS).await;
}

#[tokio::test]
async fn a_dropped_broker_cuts_its_connections() {
    let house = House::open().await;
    let mut stairs = house.fixture(STAIRS).await;
    let mut silent = Raw::open(house.addr()).await;
    drop(house);
    stairs.ended().await;
    silent.hung_up().await;
}

#[tokio::test]
async fn thirty_starts_and_stops_in_one_process() {
    for round in 0..30 {
        let house = House::open().await;
        let mut daemon = house.daemon().await;
        let mut stairs = house.fixture(STAIRS).await;
        stairs.publish("fixtures/stairs/boot", &round.to_string(), false).await;
        daemon.hear_next("fixtures/stairs/boot", &round.to_string()).await;
        let addr = house.addr();
        within("the broker to stop", house.broker.stop()).await;
        daemon.ended().await;
        stairs.ended().await;
        assert!(tokio::net::TcpStream::connect(addr).await.is_err(), "it still listens");
    }
}

#[tokio::test]
async fn a_stop_does_not_wait_for_sockets_that_never_sent_connect_or_never_read() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut silent = Raw::open(house.addr()).await;
    let mut half = Raw::open(house.addr()).await;
    half.send(&[0x10, 0x20, 0, 4, b'M']).await;
    let mut deaf = Raw::log_in(house.addr(), 4, "hall", HALL).await;
    let subscribe = [&[0, 1][..], &string(b"fixtures/hall/desired"), &[0]].concat();
    deaf.send(&packet(0x82, &subscribe)).await;
    let payload = "x".repeat(60_000);
    for _ in 0..200 {
        daemon.publish("fixtures/hall/desired", &payload, false).await;
    }
    // Its own bounds are 3 s and 2 s more; a deaf client alone could hold a write for 75 s.
    let stopping = tokio::spawn(tokio::time::timeout(Duration::from_secs(30), house.broker.stop()));
    silent.hung_up().await;
    half.hung_up().await;
    let cut = Instant::now();
    stopping.await.unwrap().expect("the stop is not bounded");
    let waited = cut.elapsed();
    assert!(waited > Duration::from_millis(500), "those without a log-in were waited for");
    deaf.hung_up().await;
    daemon.ended().await;
}

#[tokio::test]
async fn no_file_is_written_where_the_library_would_by_itself() {
    let house = House::open().await;
    let mut options = house.options("esp", STAIRS);
    options.set_clean_session(false);
    let mut stairs = Client::connect(options).await;
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    stairs.publish("fixtures/stairs/alive", "x", true).await;
    within("the broker to stop", house.broker.stop()).await;
    assert!(!std::path::Path::new("mqtt_storage").exists());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_whole_house_that_connects_at_once_gets_in() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let names: Vec<_> = (0..200).map(|n| format!("fixture-{n}")).collect();
    for name in &names {
        house.enrolled.enrol(name, "secret");
    }
    let arriving: Vec<_> = names
        .iter()
        .map(|name| {
            let (addr, name) = (house.addr(), name.clone());
            tokio::spawn(async move {
                let mut raw = Raw::log_in(addr, 4, &name, (&name, "secret")).await;
                raw.send(&publish(4, &format!("fixtures/{name}/boot"), name.as_bytes(), 1)).await;
                assert_eq!(raw.read().await, Some((0x40, vec![0, 1])));
            })
        })
        .collect();
    for one in arriving {
        one.await.unwrap();
    }
    let mut heard = std::collections::HashSet::new();
    for _ in &names {
        heard.insert(daemon.hear().await.payload);
    }
    assert_eq!(heard.len(), names.len());
}
