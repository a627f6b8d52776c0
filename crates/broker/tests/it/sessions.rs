//! What the broker keeps: retained messages, sessions and their queues.

use crate::clients::{Client, House, STAIRS};
use crate::raw::{Raw, publish};

#[tokio::test]
async fn a_retained_message_is_there_for_a_fixture_that_comes_later() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    daemon.publish("fixtures/stairs/showing", "first", true).await;
    daemon.publish("fixtures/stairs/showing", "second", true).await;
    drop(daemon);
    for _ in 0..2 {
        let mut stairs = house.fixture(STAIRS).await;
        assert!(stairs.subscribe("fixtures/stairs/showing").await);
        let heard = stairs.hear().await;
        assert_eq!((heard.payload.as_str(), heard.retain), ("second", true));
    }
}

#[tokio::test]
async fn an_empty_retained_message_clears_the_topic() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    daemon.publish("fixtures/stairs/showing", "old", true).await;
    daemon.publish("fixtures/stairs/showing", "", true).await;
    let mut stairs = house.fixture(STAIRS).await;
    assert!(stairs.subscribe("fixtures/stairs/showing").await);
    daemon.publish("fixtures/stairs/showing", "marker", false).await;
    stairs.hear_next("fixtures/stairs/showing", "marker").await;
}

#[tokio::test]
async fn what_fixtures_say_while_the_daemon_is_away_is_taken_up_when_it_is_back() {
    let house = House::open().await;
    let mut options = house.daemon_options();
    options.set_clean_session(false);
    let mut daemon = Client::connect(options.clone()).await;
    assert!(!daemon.welcome.session_present);
    for filter in house.broker.prefix().up_filters() {
        assert!(daemon.subscribe(&filter).await);
    }
    drop(daemon);
    let mut stairs = house.fixture(STAIRS).await;
    for n in 0..100 {
        stairs.publish("fixtures/stairs/event", &n.to_string(), false).await;
    }
    stairs.leave().await;
    let mut daemon = Client::connect(options).await;
    assert!(daemon.welcome.session_present);
    for n in 0..100 {
        daemon.hear_next("fixtures/stairs/event", &n.to_string()).await;
    }
}

#[tokio::test]
async fn a_whole_house_that_boots_at_once_fits_into_the_daemons_queue() {
    let house = House::open().await;
    let mut options = house.daemon_options();
    options.set_clean_session(false);
    let mut daemon = Client::connect(options.clone()).await;
    assert!(daemon.subscribe("fixtures/+/event").await);
    drop(daemon);
    // Written by hand, so that 5,000 acknowledgements need not be waited for one by one.
    let mut raw = Raw::log_in(house.addr(), 4, "stairs", STAIRS).await;
    for n in 0..5000_u32 {
        raw.send(&publish(4, "fixtures/stairs/event", n.to_string().as_bytes(), 1)).await;
        if n % 500 == 499 {
            for _ in 0..500 {
                assert_eq!(raw.read().await.unwrap().0, 0x40);
            }
        }
    }
    let mut daemon = Client::connect(options).await;
    for n in 0..5000_u32 {
        assert_eq!(daemon.hear().await.payload, n.to_string());
    }
}

#[tokio::test]
async fn a_clean_session_leaves_nothing_behind() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    stairs.leave().await;
    daemon.publish("fixtures/stairs/desired", "not kept", false).await;
    let mut options = house.options("stairs", STAIRS);
    options.set_clean_session(false);
    let mut stairs = Client::connect(options).await;
    assert!(!stairs.welcome.session_present);
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    daemon.publish("fixtures/stairs/desired", "marker", false).await;
    stairs.hear_next("fixtures/stairs/desired", "marker").await;
}

#[tokio::test]
async fn a_packet_at_the_limit_passes_and_one_above_it_ends_the_connection() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let topic = "fixtures/stairs/event";
    let fits = "x".repeat(64 * 1024 - 64);
    let mut stairs = house.fixture(STAIRS).await;
    stairs.publish(topic, &fits, false).await;
    assert_eq!(daemon.hear().await.payload.len(), fits.len());

    stairs.send(topic, vec![b'x'; 64 * 1024 + 1]).await;
    stairs.ended().await;
    let mut again = house.fixture(STAIRS).await;
    again.publish(topic, "marker", false).await;
    daemon.hear_next(topic, "marker").await;
}
