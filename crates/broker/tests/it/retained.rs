//! Retained messages at SUBSCRIBE (MQTT 3.1.1, sections 3.3.1.3 and 3.8.4; MQTT 5.0, sections 3.3.1.3, 3.8.3.1, 3.8.4).

use crate::clients::{House, STAIRS, within};
use crate::raw::{Message, Raw, connect, packet, publish, string, subscribe};

const SHOWING: &str = "fixtures/stairs/showing";
const DESIRED: &str = "fixtures/stairs/desired";
/// Subscription options of MQTT 5.0, section 3.8.3.1.
const NO_LOCAL: u8 = 0x04;
const AS_PUBLISHED: u8 = 0x08;
const ONLY_IF_NEW: u8 = 0x10;
const NOT_AT_ALL: u8 = 0x20;

/// A tool with the daemon's own secret.
async fn tool(house: &House, version: u8, client_id: &str) -> Raw {
    let who = (house.broker.daemon_username(), house.broker.daemon_secret());
    Raw::log_in(house.addr(), version, client_id, who).await
}

async fn stairs(house: &House, version: u8) -> Raw {
    Raw::log_in(house.addr(), version, "stairs", STAIRS).await
}

/// What was heard, in short.
fn brief(message: &Message) -> (&str, &str, u8, bool) {
    (&message.topic, &message.payload, message.qos, message.retain)
}

#[tokio::test]
async fn a_retained_message_comes_with_the_flag_and_the_lesser_qos_of_the_two() {
    let house = House::open().await;
    for version in [4, 5] {
        let mut tool = tool(&house, version, "tool").await;
        for published in 0..=2 {
            tool.publish(version, SHOWING, "kept", published, true).await;
            for asked in 0..=2 {
                let mut stairs = stairs(&house, version).await;
                assert_eq!(stairs.subscribe(version, &[], &[(SHOWING, asked)]).await, [asked]);
                let heard = stairs.hear(version).await;
                assert_eq!(brief(&heard), (SHOWING, "kept", published.min(asked), true), "version {version}");
                // and once only
                tool.publish(version, SHOWING, "live", 0, false).await;
                assert_eq!(brief(&stairs.hear(version).await), (SHOWING, "live", 0, false));
            }
        }
    }
}

#[tokio::test]
async fn retain_handling_says_whether_retained_messages_are_sent() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    for qos in 0..=1 {
        tool.publish(5, SHOWING, "kept", 1, true).await;
        let mut stairs = stairs(&house, 5).await;
        for (handling, is_sent) in
            [(NOT_AT_ALL, false), (ONLY_IF_NEW, false), (0, true), (ONLY_IF_NEW, false), (0, true)]
        {
            assert_eq!(stairs.subscribe(5, &[], &[(SHOWING, qos | handling)]).await, [qos]);
            if is_sent {
                assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "kept", qos, true));
            }
            tool.publish(5, SHOWING, "live", 1, false).await;
            assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "live", qos, false), "{handling:#x}");
        }
        // a new subscription: once, though the packet names it twice
        stairs.send(&packet(0xA2, &[&[0, 9, 0][..], &string(SHOWING.as_bytes())].concat())).await;
        assert_eq!(stairs.read().await.unwrap().0, 0xB0);
        let twice = [(SHOWING, qos | ONLY_IF_NEW), (SHOWING, qos | ONLY_IF_NEW)];
        assert_eq!(stairs.subscribe(5, &[], &twice).await, [qos, qos]);
        assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "kept", qos, true));
        tool.publish(5, SHOWING, "live", 1, false).await;
        assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "live", qos, false));
    }
}

#[tokio::test]
async fn a_subscription_of_a_session_that_goes_on_is_not_a_new_one() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    tool.publish(5, SHOWING, "kept", 1, true).await;
    // CONNECT without clean start, with a session expiry interval (17) of an hour
    let mut body = [&string(b"MQTT")[..], &[5, 0xC0, 0, 60, 5, 17, 0, 0, 14, 16]].concat();
    for field in ["stairs", STAIRS.0, STAIRS.1] {
        body.extend(string(field.as_bytes()));
    }
    for is_new in [true, false] {
        let mut stairs = Raw::open(house.addr()).await;
        stairs.send(&packet(0x10, &body)).await;
        let (_, welcome) = stairs.read().await.unwrap();
        assert_eq!(welcome[..2], [u8::from(!is_new), 0]);
        stairs.subscribe(5, &[], &[(SHOWING, 1 | ONLY_IF_NEW)]).await;
        if is_new {
            assert_eq!(stairs.hear(5).await.payload, "kept");
        }
        tool.publish(5, SHOWING, "live", 1, false).await;
        assert_eq!(stairs.hear(5).await.payload, "live");
    }
}

#[tokio::test]
async fn live_messages_keep_the_flag_where_the_subscription_asks_for_it() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    for (options, kept) in [(0, false), (AS_PUBLISHED, true), (1, false), (1 | AS_PUBLISHED, true)] {
        tool.publish(5, SHOWING, "first", 1, true).await;
        let mut stairs = stairs(&house, 5).await;
        stairs.subscribe(5, &[], &[(SHOWING, options)]).await;
        assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "first", options & 1, true));
        tool.publish(5, SHOWING, "second", 1, true).await;
        assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "second", options & 1, kept));
        tool.publish(5, SHOWING, "third", 1, false).await;
        assert_eq!(brief(&stairs.hear(5).await), (SHOWING, "third", options & 1, false));
    }
}

#[tokio::test]
async fn a_retained_message_bears_the_subscriptions_identifier_and_what_was_published_with_it() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    // a content type (3) and a message expiry interval (2) of 1,000 s: MQTT 5.0, section 3.3.2.3
    let properties = [&[2, 0, 0, 3, 232, 3][..], &string(b"application/json")].concat();
    let mut body = string(SHOWING.as_bytes());
    body.push(u8::try_from(properties.len()).unwrap());
    body.extend([&properties[..], b"kept"].concat());
    tool.send(&packet(0x31, &body)).await;
    tool.publish(5, DESIRED, "marker", 1, false).await;
    for qos in 0..=1 {
        let mut stairs = stairs(&house, 5).await;
        // a subscription identifier (11) of 42
        stairs.subscribe(5, &[11, 42], &[(SHOWING, qos)]).await;
        let heard = stairs.hear(5).await;
        let has = |property: &[u8]| heard.properties.windows(property.len()).any(|window| window == property);
        assert!(has(&[11, 42]), "{heard:?}");
        assert!(has(&[&[3][..], &string(b"application/json")].concat()), "{heard:?}");
        // what is left of it: some of the thousand seconds
        assert!(has(&[2, 0, 0, 3]), "{heard:?}");
    }
}

#[tokio::test]
async fn an_expired_message_is_not_sent() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    for qos in [0, 1] {
        // a message expiry interval (2) of one second
        let body = [&string(SHOWING.as_bytes())[..], &[0, 9, 5, 2, 0, 0, 0, 1], b"soon old"].concat();
        tool.send(&packet(0x33, &body)).await;
        assert_eq!(tool.read().await.unwrap().0, 0x40);
        within("the message to expire", async {
            loop {
                let mut stairs = stairs(&house, 5).await;
                stairs.subscribe(5, &[], &[(SHOWING, qos)]).await;
                tool.publish(5, SHOWING, "live", 1, false).await;
                if stairs.hear(5).await.payload == "live" {
                    break;
                }
            }
        })
        .await;
    }
}

#[tokio::test]
async fn an_empty_message_deletes_what_is_retained() {
    let house = House::open().await;
    for version in [4, 5] {
        let mut tool = tool(&house, version, "tool").await;
        for qos in 0..=2 {
            tool.publish(version, SHOWING, "kept", 1, true).await;
            tool.publish(version, SHOWING, "", qos, true).await;
            let mut stairs = stairs(&house, version).await;
            stairs.subscribe(version, &[], &[(SHOWING, 1)]).await;
            tool.publish(version, SHOWING, "live", 1, false).await;
            assert_eq!(stairs.hear(version).await.payload, "live");
        }
    }
}

#[tokio::test]
async fn a_retained_will_is_there_for_those_who_come_later() {
    let house = House::open().await;
    let alive = "fixtures/stairs/alive";
    for (version, will_qos) in [(4, 0), (4, 1), (5, 0), (5, 1)] {
        let will = format!("gone, {version} and {will_qos}");
        // username, secret, will with retain, clean session
        let flags = 0xC0 | 0x20 | will_qos << 3 | 0x04 | 0x02;
        let mut body = [&string(b"MQTT")[..], &[version, flags, 0, 60]].concat();
        let none: &[u8] = if version == 5 { &[0] } else { &[] };
        body.extend(none);
        body.extend(string(b"stairs"));
        body.extend(none);
        for field in [alive, &will, STAIRS.0, STAIRS.1] {
            body.extend(string(field.as_bytes()));
        }
        let mut watching = tool(&house, version, "watching").await;
        watching.subscribe(version, &[], &[("fixtures/+/boot", 1), ("fixtures/+/alive", 1)]).await;
        let mut stairs = Raw::open(house.addr()).await;
        stairs.send(&packet(0x10, &body)).await;
        assert_eq!(stairs.read().await.unwrap().0, 0x20);
        stairs.publish(version, "fixtures/stairs/boot", "marker", 1, false).await;
        drop(stairs);
        while watching.hear(version).await.payload != will {}
        // by its name and by a wildcard
        for filter in [alive, "fixtures/+/alive"] {
            let mut later = tool(&house, version, "later").await;
            later.subscribe(version, &[], &[(filter, 1)]).await;
            assert_eq!(brief(&later.hear(version).await), (alive, will.as_str(), will_qos, true), "{filter}");
        }
    }
}

#[tokio::test]
async fn a_refused_filter_is_sent_nothing_beside_others_that_are() {
    let house = House::open().await;
    for version in [4, 5] {
        let refused = if version == 4 { 0x80 } else { 0x87 };
        let mut tool = tool(&house, version, "tool").await;
        for topic in ["fixtures/hall/showing", SHOWING, DESIRED] {
            tool.publish(version, topic, topic, 1, true).await;
        }
        let mut stairs = stairs(&house, version).await;
        let filters = [
            ("fixtures/hall/showing", 1),
            (SHOWING, 1),
            ("fixtures/+/showing", 1),
            ("$share/g/fixtures/stairs/showing", 1),
            (DESIRED, 1),
        ];
        let answers = stairs.subscribe(version, &[], &filters).await;
        assert_eq!(answers, [refused, 1, refused, refused, 1]);
        for topic in [SHOWING, DESIRED] {
            assert_eq!(brief(&stairs.hear(version).await), (topic, topic, 1, true));
        }
        tool.publish(version, SHOWING, "live", 1, false).await;
        assert_eq!(stairs.hear(version).await.payload, "live");
    }
}

#[tokio::test]
async fn no_local_keeps_ones_own_retained_message_away() {
    let house = House::open().await;
    let topic = "fixtures/stairs/alive";
    for qos in [0, 1] {
        let mut tool_ = tool(&house, 5, "tool").await;
        tool_.publish(5, topic, "said by the tool", 1, true).await;
        tool_.subscribe(5, &[], &[(topic, qos | NO_LOCAL)]).await;
        let mut stairs = stairs(&house, 5).await;
        stairs.publish(5, topic, "said by the stairs", 1, true).await;
        assert_eq!(brief(&tool_.hear(5).await), (topic, "said by the stairs", qos, false));
        // what is another's is sent
        tool_.subscribe(5, &[], &[(topic, qos | NO_LOCAL)]).await;
        assert_eq!(brief(&tool_.hear(5).await), (topic, "said by the stairs", qos, true));
    }
}

#[tokio::test]
async fn what_is_too_large_for_a_client_is_not_sent_to_it() {
    let house = House::open().await;
    let mut tool = tool(&house, 5, "tool").await;
    for (length, is_sent) in [(100, true), (400, false)] {
        tool.publish(5, SHOWING, &"x".repeat(length), 1, true).await;
        for qos in [0, 1] {
            // CONNECT with a maximum packet size (39) of 300
            let mut body = [&string(b"MQTT")[..], &[5, 0xC2, 0, 60, 5, 39, 0, 0, 1, 44]].concat();
            for field in ["stairs", STAIRS.0, STAIRS.1] {
                body.extend(string(field.as_bytes()));
            }
            let mut stairs = Raw::open(house.addr()).await;
            stairs.send(&packet(0x10, &body)).await;
            assert_eq!(stairs.read().await.unwrap().0, 0x20);
            stairs.subscribe(5, &[], &[(SHOWING, qos)]).await;
            if is_sent {
                assert_eq!(stairs.hear(5).await.payload.len(), length);
            }
            tool.publish(5, SHOWING, "live", 1, false).await;
            assert_eq!(stairs.hear(5).await.payload, "live");
        }
    }
}

#[tokio::test]
async fn packets_sent_in_one_piece_or_byte_by_byte_are_answered_in_their_order() {
    let house = House::open().await;
    let mut tool = tool(&house, 4, "tool").await;
    tool.publish(4, SHOWING, "kept", 1, true).await;
    tool.publish(4, DESIRED, "kept too", 1, true).await;
    let ping = [0xC0, 0];
    let unsubscribe = packet(0xA2, &[&[0, 9][..], &string(SHOWING.as_bytes())].concat());
    let stream = [
        &connect(4, "stairs", STAIRS)[..],
        &ping,
        &subscribe(4, &[], &[(SHOWING, 0)]),
        &subscribe(4, &[], &[(DESIRED, 0)]),
        &publish(4, "fixtures/stairs/boot", b"x", 1),
        // nothing for us to do: a filter that is refused, and one without a fault but for its wildcard
        &subscribe(4, &[], &[("fixtures/+/showing", 0)]),
        &unsubscribe,
        &ping,
    ]
    .concat();
    for piece in [stream.len(), 1, 7] {
        let mut stairs = Raw::open(house.addr()).await;
        let mut seen = Vec::new();
        for bytes in stream.chunks(piece) {
            stairs.send(bytes).await;
            tokio::task::yield_now().await;
        }
        while seen.len() < 10 {
            let (first, body) = stairs.read().await.unwrap();
            seen.push(if first >> 4 == 3 {
                String::from_utf8_lossy(&body[2..]).into_owned()
            } else {
                format!("{first:x}")
            });
        }
        let kept = format!("{SHOWING}kept");
        let kept_too = format!("{DESIRED}kept too");
        assert_eq!(seen, ["20", "d0", "90", &kept, "90", &kept_too, "40", "90", "b0", "d0"], "pieces of {piece}");
    }
}

#[tokio::test]
async fn a_subscribe_with_a_fault_ends_the_connection_as_before() {
    let house = House::open().await;
    let good = subscribe(5, &[], &[(SHOWING, 0)]);
    let mut flags = good.clone();
    flags[0] = 0x80;
    let reserved = subscribe(5, &[], &[(SHOWING, 0xC0)]);
    let empty = packet(0x82, &[0, 7, 0]);
    let cut = packet(0x82, &[0, 7, 0, 0, 200, b'x']);
    let endless = vec![0x82, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF];
    let large = packet(0x82, &vec![0; 64 * 1024]);
    for bytes in [flags, reserved, empty, cut, endless, large] {
        let mut stairs = stairs(&house, 5).await;
        stairs.send(&bytes).await;
        stairs.send(&[0xC0, 0]).await;
        let rest = stairs.hung_up().await;
        assert!(!rest.contains(&0xD0), "{:?} was passed over: {rest:?}", &bytes[..6]);
    }
    // and one before the log-in
    let mut early = Raw::open(house.addr()).await;
    early.send(&good).await;
    assert!(early.hung_up().await.is_empty());
}
