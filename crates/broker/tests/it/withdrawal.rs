//! A credential is withdrawn: its connections and sessions go, and nothing of them comes back.

use crate::clients::{Client, HALL, House, STAIRS, within};
use crate::raw::{Raw, packet, string};
use rumqttc::{ConnectReturnCode, LastWill, QoS};

#[tokio::test]
async fn a_withdrawn_credential_ends_its_connection_and_is_refused() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut options = house.options("esp-4711", STAIRS);
    options.set_last_will(LastWill::new("fixtures/stairs/alive", "gone", QoS::AtLeastOnce, false));
    let mut stairs = Client::connect(options.clone()).await;
    let mut hall = house.fixture(HALL).await;

    house.enrolled.enrol("stairs", "new secret");
    within("the end of connections", house.broker.end_connections("stairs")).await;
    stairs.ended().await;
    daemon.hear_next("fixtures/stairs/alive", "gone").await;
    assert_eq!(Client::refused(options).await, ConnectReturnCode::BadUserNamePassword);

    let mut replaced = house.fixture(("stairs", "new secret")).await;
    replaced.publish("fixtures/stairs/boot", "replaced", false).await;
    daemon.hear_next("fixtures/stairs/boot", "replaced").await;
    // The neighbour noticed nothing.
    hall.publish("fixtures/hall/boot", "undisturbed", false).await;
    daemon.hear_next("fixtures/hall/boot", "undisturbed").await;
}

#[tokio::test]
async fn the_session_of_a_withdrawn_credential_is_gone_with_its_queue_and_subscriptions() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    for online in [false, true] {
        house.enrolled.enrol("stairs", STAIRS.1);
        let mut options = house.options("esp-4711", STAIRS);
        options.set_clean_session(false);
        let mut stairs = Client::connect(options.clone()).await;
        assert!(!stairs.welcome.session_present);
        assert!(stairs.subscribe("fixtures/stairs/desired").await);
        let kept = if online {
            Some(stairs)
        } else {
            stairs.leave().await;
            daemon.publish("fixtures/stairs/desired", "queued for the old one", false).await;
            None
        };

        house.enrolled.enrol("stairs", "new secret");
        within("the end of connections", house.broker.end_connections("stairs")).await;
        if let Some(mut stairs) = kept {
            stairs.ended().await;
        }
        daemon.publish("fixtures/stairs/desired", "for nobody", false).await;
        options.set_credentials("stairs", "new secret");
        let mut replaced = Client::connect(options).await;
        assert!(!replaced.welcome.session_present);
        assert!(replaced.subscribe("fixtures/stairs/patch").await);
        daemon.publish("fixtures/stairs/desired", "not subscribed", false).await;
        daemon.publish("fixtures/stairs/patch", "marker", false).await;
        replaced.hear_next("fixtures/stairs/patch", "marker").await;
        house.enrolled.remove("stairs");
        within("the end of connections", house.broker.end_connections("stairs")).await;
    }
}

#[tokio::test]
async fn every_connection_of_the_name_is_ended_also_one_that_reads_nothing() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut one = Client::connect(house.options("one", STAIRS)).await;
    let mut two = Client::connect(house.options("", STAIRS)).await;
    // This one subscribes and then never reads: the broker's writes to it fill up and wait.
    let mut deaf = Raw::log_in(house.addr(), 4, "deaf", STAIRS).await;
    let subscribe = [&[0, 1][..], &string(b"fixtures/stairs/desired"), &[0]].concat();
    deaf.send(&packet(0x82, &subscribe)).await;
    let payload = "x".repeat(60_000);
    for _ in 0..200 {
        daemon.publish("fixtures/stairs/desired", &payload, false).await;
    }
    house.enrolled.remove("stairs");
    within("the end of connections", house.broker.end_connections("stairs")).await;
    one.ended().await;
    two.ended().await;
    deaf.hung_up().await;
}

#[tokio::test]
async fn a_reconnecting_client_with_the_old_secret_never_slips_through() {
    let house = House::open().await;
    let storm: Vec<_> = (0..4)
        .map(|n| {
            let options = house.options(&format!("storm-{n}"), STAIRS);
            tokio::spawn(async move {
                // Until it is refused for its secret, and for nothing else.
                loop {
                    match Client::try_connect(options.clone()).await {
                        Ok(client) => drop(client),
                        Err(rumqttc::ConnectionError::ConnectionRefused(code)) => break code,
                        // Cut in the middle of its log-in.
                        Err(_) => {}
                    }
                }
            })
        })
        .collect();
    for _ in 0..50 {
        tokio::task::yield_now().await;
    }
    house.enrolled.enrol("stairs", "new secret");
    within("the end of connections", house.broker.end_connections("stairs")).await;
    let mut replaced = house.fixture(("stairs", "new secret")).await;
    for one in storm {
        let code = within("the old secret to be refused", one).await.unwrap();
        assert_eq!(code, ConnectReturnCode::BadUserNamePassword);
    }
    // The new one was not mistaken for an old one.
    assert!(replaced.subscribe("fixtures/stairs/desired").await);
}

#[tokio::test]
async fn ending_a_name_that_is_not_there_does_nothing() {
    let house = House::open().await;
    let mut hall = house.fixture(HALL).await;
    within("nothing", house.broker.end_connections("nobody")).await;
    assert!(hall.subscribe("fixtures/hall/desired").await);
}

#[tokio::test]
async fn a_forgotten_fixture_leaves_no_retained_message() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    stairs.publish("fixtures/stairs/alive", "here", true).await;
    daemon.hear_next("fixtures/stairs/alive", "here").await;
    daemon.publish("fixtures/stairs/desired", "{}", true).await;
    house.enrolled.remove("stairs");
    within("it to be forgotten", house.broker.forget("stairs")).await;

    house.enrolled.enrol("stairs", "new secret");
    let mut successor = house.fixture(("stairs", "new secret")).await;
    assert!(successor.subscribe("fixtures/stairs/desired").await);
    daemon.publish("fixtures/stairs/desired", "marker", false).await;
    successor.hear_next("fixtures/stairs/desired", "marker").await;
    let mut options = house.daemon_options();
    options.set_client_id("sconced-tool".to_owned());
    let mut tool = Client::connect(options).await;
    assert!(tool.subscribe("fixtures/+/alive").await);
    successor.publish("fixtures/stairs/alive", "marker", false).await;
    tool.hear_next("fixtures/stairs/alive", "marker").await;
}
