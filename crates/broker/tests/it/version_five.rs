//! MQTT 5.0 clients, through rumqttc's own module for them.

use crate::clients::{HALL, House, STAIRS, within};
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{ConnectReturnCode, LastWill, LastWillProperties, Packet, SubscribeReasonCode};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions};

fn options(house: &House, client_id: &str, (username, secret): (&str, &str)) -> MqttOptions {
    let addr = house.addr();
    let mut options = MqttOptions::new(client_id, addr.ip().to_string(), addr.port());
    options.set_credentials(username, secret);
    options
}

async fn incoming(events: &mut EventLoop) -> Result<Packet, ConnectionError> {
    loop {
        if let Event::Incoming(packet) = within("a packet", events.poll()).await? {
            return Ok(packet);
        }
    }
}

#[tokio::test]
async fn clients_of_both_versions_share_one_port() {
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    let (stairs, mut events) = AsyncClient::new(options(&house, "stairs", STAIRS), 10);
    assert!(matches!(incoming(&mut events).await.unwrap(), Packet::ConnAck(_)));
    stairs.subscribe("fixtures/stairs/desired", QoS::AtLeastOnce).await.unwrap();
    assert!(matches!(incoming(&mut events).await.unwrap(), Packet::SubAck(_)));
    stairs.publish("fixtures/stairs/boot", QoS::AtLeastOnce, false, "five").await.unwrap();
    assert!(matches!(incoming(&mut events).await.unwrap(), Packet::PubAck(_)));
    daemon.hear_next("fixtures/stairs/boot", "five").await;
    daemon.publish("fixtures/stairs/desired", "three", false).await;
    let Packet::Publish(heard) = incoming(&mut events).await.unwrap() else { panic!("not a message") };
    assert_eq!(heard.payload, "three");
}

#[tokio::test]
async fn a_wrong_secret_is_refused_with_its_reason() {
    let house = House::open().await;
    let cases = [
        (options(&house, "x", ("stairs", "guess")), ConnectReturnCode::BadUserNamePassword),
        (options(&house, "stairs", HALL), ConnectReturnCode::ClientIdentifierNotValid),
    ];
    for (options, expected) in cases {
        let (_client, mut events) = AsyncClient::new(options, 10);
        match incoming(&mut events).await {
            Err(ConnectionError::ConnectionRefused(code)) => assert_eq!(code, expected),
            other => panic!("{other:?}"),
        }
    }
}

#[tokio::test]
async fn forbidden_filters_are_refused_with_their_reason() {
    let house = House::open().await;
    let (stairs, mut events) = AsyncClient::new(options(&house, "stairs", STAIRS), 10);
    incoming(&mut events).await.unwrap();
    for filter in ["fixtures/#", "fixtures/hall/desired", "$SYS/#", "$share/g/fixtures/stairs/desired"] {
        stairs.subscribe(filter, QoS::AtLeastOnce).await.unwrap();
        let Packet::SubAck(ack) = incoming(&mut events).await.unwrap() else { panic!("not a SUBACK") };
        assert_eq!(ack.return_codes, [SubscribeReasonCode::NotAuthorized], "{filter}");
    }
}

#[tokio::test]
async fn a_delayed_will_does_not_hold_up_the_end_of_its_credential() {
    let house = House::open().await;
    let mut options = options(&house, "stairs", STAIRS);
    options.set_session_expiry_interval(Some(3600));
    let delay = LastWillProperties {
        delay_interval: Some(3600),
        payload_format_indicator: None,
        message_expiry_interval: None,
        content_type: None,
        response_topic: None,
        correlation_data: None,
        user_properties: Vec::new(),
    };
    options.set_last_will(LastWill::new("fixtures/stairs/alive", "gone", QoS::AtLeastOnce, false, Some(delay)));
    for cut_first in [true, false] {
        let (_client, mut events) = AsyncClient::new(options.clone(), 10);
        let Packet::ConnAck(welcome) = incoming(&mut events).await.unwrap() else { panic!("not a CONNACK") };
        assert!(!welcome.session_present);
        if cut_first {
            drop(events);
        }
        within("the end of connections", house.broker.end_connections("stairs")).await;
    }
}
