//! Client ids: nobody takes over another's connection or session.

use crate::clients::{Client, HALL, House, STAIRS, within};
use broker::DAEMON_CLIENT_ID;
use rumqttc::ConnectReturnCode;

#[tokio::test]
async fn an_id_that_another_user_is_connected_with_is_refused() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = Client::connect(house.options("esp-4711", STAIRS)).await;
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    for clean in [true, false] {
        let mut options = house.options("esp-4711", HALL);
        options.set_clean_session(clean);
        assert_eq!(Client::refused(options).await, ConnectReturnCode::BadClientId);
    }
    daemon.publish("fixtures/stairs/desired", "still here", false).await;
    stairs.hear_next("fixtures/stairs/desired", "still here").await;
}

#[tokio::test]
async fn an_id_with_anothers_session_is_refused_and_the_session_is_kept() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut persistent = house.options("esp-4711", STAIRS);
    persistent.set_clean_session(false);
    let mut stairs = Client::connect(persistent.clone()).await;
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    stairs.leave().await;
    for clean in [true, false] {
        let mut options = house.options("esp-4711", HALL);
        options.set_clean_session(clean);
        assert_eq!(Client::refused(options).await, ConnectReturnCode::BadClientId);
    }
    daemon.publish("fixtures/stairs/desired", "kept", false).await;
    let mut stairs = Client::connect(persistent).await;
    assert!(stairs.welcome.session_present);
    stairs.hear_next("fixtures/stairs/desired", "kept").await;
}

#[tokio::test]
async fn an_id_is_free_again_when_neither_connection_nor_session_is_left() {
    let house = House::open().await;
    Client::connect(house.options("esp-4711", STAIRS)).await.leave().await;
    // The broker may still be at its goodbye.
    within("the id to become free", async {
        while Client::try_connect(house.options("esp-4711", HALL)).await.is_err() {
            tokio::task::yield_now().await;
        }
    })
    .await;
}

#[tokio::test]
async fn the_daemons_id_and_those_that_stand_for_another_are_refused_to_fixtures() {
    let house = House::open().await;
    for id in [DAEMON_CLIENT_ID, "@sconced", "@anything", "stairs"] {
        assert_eq!(Client::refused(house.options(id, HALL)).await, ConnectReturnCode::BadClientId, "{id}");
    }
    // Its own name, a made-up one that nobody is called, and none at all.
    for id in ["hall", "nobody-is-called-so", "ESP_0A1B2C", ""] {
        Client::connect(house.options(id, HALL)).await;
    }
    house.daemon().await;
}

#[tokio::test]
async fn a_fixture_takes_its_own_connection_over() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut old = house.fixture(STAIRS).await;
    let mut new = house.fixture(STAIRS).await;
    old.ended().await;
    new.publish("fixtures/stairs/boot", "new", false).await;
    daemon.hear_next("fixtures/stairs/boot", "new").await;
}

#[tokio::test]
async fn when_two_users_want_one_id_at_once_only_one_user_ever_has_it() {
    let house = House::open().await;
    let wanted: Vec<_> = (0..40)
        .map(|n| {
            let who = if n % 2 == 0 { STAIRS } else { HALL };
            let options = house.options("shared", who);
            tokio::spawn(async move { (who.0, Client::try_connect(options).await) })
        })
        .collect();
    let mut inside = std::collections::HashSet::new();
    let mut clients = Vec::new();
    for one in wanted {
        let (who, outcome) = one.await.unwrap();
        if let Ok(client) = outcome {
            inside.insert(who);
            clients.push(client);
        }
    }
    assert_eq!(inside.len(), 1, "{inside:?}");
}

#[tokio::test]
async fn firmware_with_a_new_id_at_every_start_always_gets_in_and_leaves_few_sessions() {
    let house = House::open().await;
    let mut first = None;
    for n in 0..20 {
        let mut options = house.options(&format!("esp-{n}"), STAIRS);
        options.set_clean_session(false);
        let mut client = Client::connect(options.clone()).await;
        assert!(client.subscribe("fixtures/stairs/desired").await);
        first.get_or_insert(options);
    }
    // Its oldest session is gone; its newest is kept.
    let oldest = Client::connect(first.unwrap()).await;
    assert!(!oldest.welcome.session_present);
    let mut newest = house.options("esp-19", STAIRS);
    newest.set_clean_session(false);
    assert!(Client::connect(newest).await.welcome.session_present);
}
