//! Limits on connections and on failed log-ins.

use crate::clients::{Client, HALL, House, STAIRS};
use crate::raw::Raw;
use broker::Options;
use rumqttc::ConnectReturnCode;
use std::time::{Duration, Instant};

#[tokio::test]
async fn a_flood_of_wrong_secrets_is_slowed_and_does_not_lock_the_fixture_out() {
    let house = House::with(Options { failed_logins_per_minute: 3, ..Options::default() }).await;
    for _ in 0..3 {
        let code = Client::refused(house.options("x", ("stairs", "guess"))).await;
        assert_eq!(code, ConnectReturnCode::BadUserNamePassword);
    }
    let flood: Vec<_> = (0..20)
        .map(|_| {
            let options = house.options("", ("stairs", "guess"));
            tokio::spawn(async move {
                let start = Instant::now();
                (Client::refused(options).await, start.elapsed())
            })
        })
        .collect();
    house.fixture(STAIRS).await;
    house.fixture(HALL).await;
    for one in flood {
        let (code, took) = one.await.unwrap();
        assert_eq!(code, ConnectReturnCode::BadUserNamePassword);
        assert!(took >= Duration::from_secs(1), "answered after {took:?}");
    }
    house.fixture(STAIRS).await;
}

#[tokio::test]
async fn an_address_past_its_limit_is_turned_away_but_for_names_it_has_logged_in_with() {
    let house = House::with(Options { failed_logins_per_minute: 3, limit_loopback: true, ..Options::default() }).await;
    house.fixture(STAIRS).await;
    for guess in ["a", "b", "c"] {
        let code = Client::refused(house.options("x", (guess, "guess"))).await;
        assert_eq!(code, ConnectReturnCode::BadUserNamePassword);
    }
    // The hall was never here, so not even its right secret is looked at now.
    assert_eq!(Client::refused(house.options("hall", HALL)).await, ConnectReturnCode::ServiceUnavailable);
    house.fixture(STAIRS).await;
}

#[tokio::test]
async fn one_address_gets_no_more_connections_than_it_may_have() {
    let house = House::with(Options { connections_per_address: 2, limit_loopback: true, ..Options::default() }).await;
    let first = Raw::log_in(house.addr(), 4, "stairs", STAIRS).await;
    let _second = Raw::log_in(house.addr(), 4, "hall", HALL).await;
    assert_eq!(Raw::open(house.addr()).await.hung_up().await, b"");
    drop(first);
    // The place becomes free once the broker has seen it go.
    while Client::try_connect(house.options("stairs", STAIRS)).await.is_err() {
        tokio::task::yield_now().await;
    }
}

#[tokio::test]
async fn a_full_broker_keeps_places_for_this_machine() {
    let house = House::with(Options { max_connections: 1, ..Options::default() }).await;
    let mut silent = Vec::new();
    for _ in 0..16 {
        silent.push(Raw::open(house.addr()).await);
    }
    house.daemon().await;
    for _ in 0..2 {
        silent.push(Raw::open(house.addr()).await);
    }
    assert_eq!(silent.pop().unwrap().hung_up().await, b"");
}

#[tokio::test]
async fn a_connection_that_never_logs_in_is_dropped() {
    let house = House::with(Options { connect_timeout: Duration::from_millis(200), ..Options::default() }).await;
    let mut logged_in = house.fixture(STAIRS).await;
    let mut silent = Raw::open(house.addr()).await;
    let mut slow = Raw::open(house.addr()).await;
    slow.send(&[0x10, 0x20, 0, 4]).await;
    assert_eq!(silent.hung_up().await, b"");
    assert_eq!(slow.hung_up().await, b"");
    assert!(logged_in.subscribe("fixtures/stairs/desired").await);
}
