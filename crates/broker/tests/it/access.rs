//! Who comes in, and what reaches whom.

use crate::clients::{Client, HALL, House, STAIRS};
use crate::raw::{Raw, connect, packet, publish, string};
use broker::{Action, Down, Options, Prefix, Refusal, Up};
use rumqttc::{ConnectReturnCode, LastWill, MqttOptions, QoS};

#[tokio::test]
async fn the_right_secret_gets_in_and_messages_flow_both_ways() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    assert!(stairs.subscribe("fixtures/stairs/desired").await);
    for message in Up::ALL {
        stairs.publish(&house.broker.prefix().up("stairs", message), message.as_str(), false).await;
        daemon.hear_next(&format!("fixtures/stairs/{message}"), message.as_str()).await;
    }
    daemon.publish("fixtures/stairs/desired", "{}", true).await;
    stairs.hear_next("fixtures/stairs/desired", "{}").await;
}

#[tokio::test]
async fn every_downward_topic_reaches_its_fixture() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    for message in Down::ALL {
        let topic = house.broker.prefix().down("stairs", message);
        assert!(stairs.subscribe(&topic).await);
        daemon.publish(&topic, "x", false).await;
        stairs.hear_next(&topic, "x").await;
    }
}

#[tokio::test]
async fn a_wrong_secret_no_secret_and_an_unknown_name_are_refused() {
    let house = House::open().await;
    let wrong = [
        house.options("x", ("stairs", "secret of the hall")),
        house.options("x", ("stairs", "")),
        house.options("x", ("nobody", "secret of the stairs")),
        house.options("x", ("Stairs", "secret of the stairs")),
        house.options("x", ("@sconced", "secret of the stairs")),
        house.options("x", ("@sconced", "")),
        house.options("x", ("", "")),
    ];
    for options in wrong {
        let code = Client::refused(options).await;
        assert!(matches!(code, ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized), "{code:?}");
    }
}

#[tokio::test]
async fn anonymous_clients_are_refused() {
    let house = House::open().await;
    let addr = house.addr();
    let options = MqttOptions::new("anybody", addr.ip().to_string(), addr.port());
    assert_eq!(Client::refused(options).await, ConnectReturnCode::NotAuthorized);

    // A username and no password at all (MQTT 3.1.1, section 3.1.2.8 allows it).
    let mut raw = Raw::open(addr).await;
    let body = [&string(b"MQTT")[..], &[4, 0x82, 0, 60], &string(b"x"), &string(b"stairs")].concat();
    raw.send(&packet(0x10, &body)).await;
    assert_eq!(raw.read().await, Some((0x20, vec![0, 5])));
    assert_eq!(raw.hung_up().await, b"");
}

#[tokio::test]
async fn another_fixtures_topic_is_refused_and_nobody_hears_it() {
    let mut house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut hall = house.fixture(HALL).await;
    for message in Down::ALL {
        assert!(hall.subscribe(&house.broker.prefix().down("hall", message)).await);
    }
    let mut stairs = house.fixture(STAIRS).await;
    let forbidden = [
        "fixtures/hall/boot",
        "fixtures/hall/desired",
        "fixtures/stairs/desired",
        "fixtures/stairs/problem",
        "fixtures/stairs/other",
        "fixtures/stairs",
        "other/stairs/boot",
        "$SYS/broker/uptime",
        "$SYS",
        "$share/g/fixtures/stairs/boot",
    ];
    for topic in forbidden {
        stairs.publish(topic, "forged", true).await;
        let told = Refusal { fixture: "stairs".to_owned(), topic: topic.to_owned(), action: Action::Publish };
        assert_eq!(house.refusal().await, told);
        stairs.send(topic, "forged").await;
        assert_eq!(house.refusal().await, told);
        stairs.publish_exactly_once(topic, "forged").await;
        assert_eq!(house.refusal().await, told);
    }
    // What is heard next is the marker: none of the forged ones came before it.
    stairs.publish("fixtures/stairs/ask", "marker", false).await;
    daemon.hear_next("fixtures/stairs/ask", "marker").await;
    daemon.publish("fixtures/hall/patch", "marker", false).await;
    hall.hear_next("fixtures/hall/patch", "marker").await;
    // Nor were they kept.
    let mut later = house.fixture(STAIRS).await;
    assert!(later.subscribe("fixtures/stairs/desired").await);
    daemon.publish("fixtures/stairs/desired", "marker", false).await;
    later.hear_next("fixtures/stairs/desired", "marker").await;
}

#[tokio::test]
async fn a_refused_publication_is_acknowledged_in_the_form_of_3_1_1() {
    let mut house = House::open().await;
    let mut raw = Raw::log_in(house.addr(), 4, "stairs", STAIRS).await;
    raw.send(&publish(4, "fixtures/hall/boot", b"x", 1)).await;
    // MQTT 3.1.1, section 3.4: a PUBACK is its packet id and nothing else.
    assert_eq!(raw.read().await, Some((0x40, vec![0, 1])));
    assert_eq!(house.refusal().await.topic, "fixtures/hall/boot");
}

#[tokio::test]
async fn a_publisher_of_5_0_is_told_that_it_was_refused() {
    let mut house = House::open().await;
    let mut raw = Raw::log_in(house.addr(), 5, "stairs", STAIRS).await;
    raw.send(&publish(5, "fixtures/hall/boot", b"x", 1)).await;
    let (first, body) = raw.read().await.unwrap();
    // MQTT 5.0, section 3.4.2.1: 0x87, not authorised.
    assert_eq!((first, &body[..3]), (0x40, &[0, 1, 0x87][..]));
    assert_eq!(house.refusal().await.action, Action::Publish);
}

#[tokio::test]
async fn wildcards_shares_system_topics_and_other_fixtures_cannot_be_subscribed() {
    let mut house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    let forbidden = [
        "#",
        "+/+/+",
        "fixtures/#",
        "fixtures/+/desired",
        "fixtures/stairs/+",
        "fixtures/stairs/#",
        "fixtures/hall/desired",
        "fixtures/stairs/boot",
        "$SYS/#",
        "$SYS/broker/clients/connected",
        "$share/g/fixtures/stairs/desired",
        "$share/g/#",
    ];
    for filter in forbidden {
        assert!(!stairs.subscribe(filter).await, "{filter} was granted");
        let told = Refusal { fixture: "stairs".to_owned(), topic: filter.to_owned(), action: Action::Subscribe };
        assert_eq!(house.refusal().await, told);
        assert!(!daemon.subscribe(filter).await || filter == "fixtures/stairs/boot", "{filter}");
    }
    daemon.publish("fixtures/hall/desired", "for the hall", true).await;
    assert!(stairs.subscribe("fixtures/stairs/patch").await);
    daemon.publish("fixtures/stairs/patch", "marker", false).await;
    stairs.hear_next("fixtures/stairs/patch", "marker").await;
}

#[tokio::test]
async fn the_daemon_itself_cannot_publish_upward_or_system_topics() {
    let house = House::open().await;
    let mut listening = house.daemon().await;
    let mut other = Client::connect({
        let mut options = house.daemon_options();
        options.set_client_id("sconced-tool".to_owned());
        options
    })
    .await;
    other.publish("fixtures/stairs/boot", "forged", false).await;
    other.publish("$SYS/broker/uptime", "forged", false).await;
    let mut stairs = house.fixture(STAIRS).await;
    stairs.publish("fixtures/stairs/ask", "marker", false).await;
    listening.hear_next("fixtures/stairs/ask", "marker").await;
}

#[tokio::test]
async fn a_will_for_anothers_topic_is_refused_with_its_connection() {
    let mut house = House::open().await;
    for topic in ["fixtures/hall/alive", "fixtures/stairs/desired", "$SYS/x", "x"] {
        let mut options = house.options("stairs", STAIRS);
        options.set_last_will(LastWill::new(topic, "forged", QoS::AtLeastOnce, true));
        assert_eq!(Client::refused(options).await, ConnectReturnCode::NotAuthorized);
        let told = Refusal { fixture: "stairs".to_owned(), topic: topic.to_owned(), action: Action::Will };
        assert_eq!(house.refusal().await, told);
    }
}

#[tokio::test]
async fn a_fixtures_own_will_is_delivered_when_its_connection_breaks() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let mut options = house.options("stairs", STAIRS);
    options.set_last_will(LastWill::new("fixtures/stairs/alive", "gone", QoS::AtLeastOnce, true));
    let stairs = Client::connect(options.clone()).await;
    drop(stairs);
    daemon.hear_next("fixtures/stairs/alive", "gone").await;

    // Not when it says goodbye.
    let stairs = Client::connect(options).await;
    stairs.leave().await;
    let mut hall = house.fixture(HALL).await;
    hall.publish("fixtures/hall/ask", "marker", false).await;
    daemon.hear_next("fixtures/hall/ask", "marker").await;

    // It was kept.
    let mut later = Client::connect({
        let mut options = house.daemon_options();
        options.set_client_id("sconced-tool".to_owned());
        options
    })
    .await;
    assert!(later.subscribe("fixtures/+/alive").await);
    let heard = later.hear().await;
    assert_eq!((heard.topic.as_str(), heard.payload.as_str(), heard.retain), ("fixtures/stairs/alive", "gone", true));
}

#[tokio::test]
async fn another_prefix_moves_every_topic() {
    let house = House::with(Options { prefix: Prefix::parse("house/lights").unwrap(), ..Options::default() }).await;
    let mut daemon = house.daemon().await;
    let mut stairs = house.fixture(STAIRS).await;
    stairs.publish("fixtures/stairs/boot", "elsewhere", false).await;
    stairs.publish("house/lights/stairs/boot", "here", false).await;
    daemon.hear_next("house/lights/stairs/boot", "here").await;
}

#[tokio::test]
async fn a_full_channel_of_refusals_holds_nobody_up() {
    let mut house = House::open().await;
    let mut stairs = house.fixture(STAIRS).await;
    for _ in 0..200 {
        stairs.publish("fixtures/hall/boot", "x", false).await;
    }
    let mut told = 0;
    while house.refusals.try_recv().is_ok() {
        told += 1;
    }
    assert_eq!(told, 64, "the channel holds 64");
}

#[tokio::test]
async fn a_long_topic_is_told_cut() {
    let mut house = House::open().await;
    let mut raw = Raw::log_in(house.addr(), 4, "stairs", STAIRS).await;
    raw.send(&publish(4, &"ü".repeat(1000), b"x", 1)).await;
    assert_eq!(raw.read().await, Some((0x40, vec![0, 1])));
    assert_eq!(house.refusal().await.topic, "ü".repeat(128));
}

#[tokio::test]
async fn a_second_connect_ends_the_connection() {
    let house = House::open().await;
    let mut raw = Raw::log_in(house.addr(), 4, "stairs", STAIRS).await;
    raw.send(&connect(4, "stairs", HALL)).await;
    raw.hung_up().await;
    house.fixture(HALL).await;
}
