//! The controller without a network: what it orders, and that it converges whatever is lost or repeated on the way.

use document::{Value, difference, equal, merge};
use proptest::prelude::*;
use serde_json::json;

use super::*;

mod time;

const NOW: u64 = 1_764_060_000_000;

fn controller(firmware: Firmware, change: impl FnOnce(&mut FixtureOptions)) -> Controller {
    let mut options = FixtureOptions::new("hall", "s", ("127.0.0.1".to_owned(), 1883));
    options.firmware = firmware;
    change(&mut options);
    Controller::new(Arc::new(options), BootReason::PowerOn, 4, Randomness::seeded(1))
}

fn desired(rev: u64, now_ms: u64, document: &Value) -> Vec<u8> {
    json!({"rev": rev, "now_ms": now_ms, "document": document, "agenda": [[now_ms / 1000, "arrival"]]})
        .to_string()
        .into_bytes()
}

fn published(orders: &[Order], wanted: Up) -> Vec<Value> {
    let mut found = Vec::new();
    for order in orders {
        if let Order::Publish { up, payload, .. } = order
            && *up == wanted
        {
            found.push(serde_json::from_str(payload).unwrap());
        }
    }
    found
}

fn state(controller: &mut Controller, uptime: u64) -> FixtureState {
    let mut state = FixtureState::default();
    controller.show(uptime, &mut state);
    state
}

#[test]
fn the_subscription_goes_out_before_the_boot_message_that_is_answered_on_it() {
    let orders = controller(Firmware::Agenda, |_| {}).connected(0);
    assert_eq!(orders[0], Order::Subscribe(vec![Down::Desired, Down::Problem]));
    assert_eq!(published(&orders, Up::Alive), [json!({"alive": true})]);
    let boot = &published(&orders, Up::Boot)[0];
    assert_eq!((&boot["reason"], &boot["have"], &boot["boots"]), (&json!("power-on"), &json!(0), &json!(4)));
    assert!((-61..=-50).contains(&boot["rssi"].as_i64().unwrap()));
}

#[test]
fn a_boot_message_that_was_not_acknowledged_is_sent_again_on_the_next_connection() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    controller.disconnected();
    let orders = controller.connected(500);
    assert_eq!(published(&orders, Up::Boot).len(), 1);
    controller.confirmed(Receipt::Boot);
    controller.disconnected();
    let orders = controller.connected(900);
    assert!(published(&orders, Up::Boot).is_empty());
    assert_eq!(published(&orders, Up::Ask), [json!({"have": 0})]);
}

#[test]
fn the_first_report_carries_the_document_and_later_ones_the_difference() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    let orders = controller.message("fixtures/hall/desired", &desired(1, NOW, &json!({"a": 1, "b": 2})), false, 5);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 1, "patch": {"a": 1, "b": 2}})]);
    let orders = controller.message("fixtures/hall/desired", &desired(2, NOW + 1, &json!({"a": 1, "c": 3})), false, 6);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 2, "patch": {"b": null, "c": 3}})]);
}

#[test]
fn after_a_lost_connection_a_report_says_applied_as_given_since_the_last_one_may_be_lost() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    controller.message("fixtures/hall/desired", &desired(1, NOW, &json!({"a": 1})), false, 5);
    controller.disconnected();
    controller.connected(900);
    let orders = controller.message("fixtures/hall/desired", &desired(2, NOW + 1, &json!({"a": 2})), true, 901);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 2})]);
    let orders = controller.message("fixtures/hall/desired", &desired(3, NOW + 2, &json!({"a": 3})), false, 902);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 3, "patch": {"a": 3}})]);
}

#[test]
fn a_live_repetition_is_reported_again_and_a_stored_one_is_not() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    let message = desired(1, NOW, &json!({"a": 1}));
    controller.message("fixtures/hall/desired", &message, false, 5);
    let before = state(&mut controller, 6);
    let orders = controller.message("fixtures/hall/desired", &message, false, 5_000);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 1})]);
    assert!(controller.message("fixtures/hall/desired", &message, true, 5_001).is_empty());
    let after = state(&mut controller, 6);
    assert_eq!((before.rev, before.look), (after.rev, after.look));
    assert_eq!(controller.clock.unix_ms(5), Some(NOW), "a repetition moved the clock");
}

#[test]
fn firmware_told_not_to_report_stays_silent() {
    for firmware in [Firmware::Showing, Firmware::Agenda, Firmware::Patch] {
        let mut controller = controller(firmware, |options| options.report = false);
        let mut orders = controller.connected(0);
        orders.extend(controller.message("fixtures/hall/desired", &desired(1, NOW, &json!({})), false, 5));
        let showing = br#"{"rev":1,"now_ms":5,"look":"arrival"}"#;
        orders.extend(controller.message("fixtures/hall/showing", showing, false, 5));
        orders.extend(controller.message("fixtures/hall/patch", br#"{"from":1,"rev":2,"patch":{}}"#, false, 5));
        assert!(published(&orders, Up::Reported).is_empty(), "{firmware:?}");
    }
}

#[test]
fn the_small_buffer_drops_in_silence_what_does_not_fit_by_one_byte() {
    let topic = "fixtures/hall/showing";
    let payload = |bytes: usize| {
        let bare = json!({"rev": 3, "now_ms": NOW, "look": "arrival", "filler": ""}).to_string();
        let filler = "x".repeat(bytes - bare.len());
        json!({"rev": 3, "now_ms": NOW, "look": "arrival", "filler": filler}).to_string().into_bytes()
    };
    for (qos0, firmware, bytes, fits) in [
        (true, Firmware::Showing, SMALL_BUFFER - 7 - topic.len(), true),
        (true, Firmware::Showing, SMALL_BUFFER - 7 - topic.len() + 1, false),
        (false, Firmware::Showing, SMALL_BUFFER * 2, true),
        (true, Firmware::Patch, SMALL_BUFFER * 2, true),
    ] {
        let mut controller = controller(firmware, |options| options.qos0 = qos0);
        controller.connected(0);
        controller.message(topic, &payload(bytes), false, 5);
        let state = state(&mut controller, 6);
        assert_eq!(state.look.is_some(), fits, "{bytes} bytes");
        assert_eq!(state.dropped, u64::from(!fits), "{bytes} bytes");
    }
}

#[test]
fn patch_firmware_takes_the_whole_only_while_it_needs_it() {
    let mut controller = controller(Firmware::Patch, |_| {});
    controller.connected(0);
    let orders = controller.message("fixtures/hall/desired", &desired(4, NOW, &json!({"a": 1})), false, 5);
    assert!(orders.contains(&Order::Unsubscribe(Down::Desired)));
    let orders = controller.message("fixtures/hall/patch", br#"{"from":5,"rev":6,"patch":{"a":9}}"#, false, 10);
    assert_eq!(orders[0], Order::Subscribe(vec![Down::Desired]));
    assert_eq!(published(&orders, Up::Ask), [json!({"have": 4})]);
    let orders = controller.message("fixtures/hall/desired", &desired(6, NOW + 1, &json!({"a": 9})), false, 15);
    assert!(orders.contains(&Order::Unsubscribe(Down::Desired)));
    assert_eq!(state(&mut controller, 16).document, Some(json!({"a": 9})));
}

#[test]
fn what_the_strip_draws_is_reported_beside_the_document_and_leaves_the_reports_alone() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    assert!(controller.report_current(300).is_empty(), "it holds no revision");
    controller.message("fixtures/hall/desired", &desired(1, NOW, &json!({"a": 1})), false, 5);
    let orders = controller.report_current(812);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 1, "patch": {"milliamps": 812}})]);
    let orders = controller.message("fixtures/hall/desired", &desired(2, NOW + 1, &json!({"a": 2})), false, 6);
    assert_eq!(published(&orders, Up::Reported), [json!({"rev": 2, "patch": {"a": 2}})]);
    controller.disconnected();
    assert!(controller.report_current(812).is_empty(), "nobody hears it");
}

#[test]
fn unreadable_messages_are_dropped_and_change_nothing() {
    let mut controller = controller(Firmware::Patch, |_| {});
    controller.connected(0);
    controller.message("fixtures/hall/desired", &desired(4, NOW, &json!({"a": 1})), false, 5);
    let messages: [(&str, &[u8]); 9] = [
        ("desired", b""),
        ("desired", b"{"),
        ("desired", b"\xff\xfe"),
        ("desired", br#"{"rev":-5,"now_ms":1,"document":{}}"#),
        ("desired", br#"{"rev":1e99,"now_ms":1,"document":{}}"#),
        ("patch", br#"{"from":4,"rev":"5","patch":{}}"#),
        ("showing", br#"[1,2,3]"#),
        ("showing", br#"{"rev":9,"now_ms":9}"#),
        ("nothing-known", b"{}"),
    ];
    for (topic, payload) in messages {
        assert!(controller.message(&format!("fixtures/hall/{topic}"), payload, false, 6).is_empty(), "{topic}");
    }
    let state = state(&mut controller, 7);
    assert_eq!((state.rev, state.document, state.dropped), (4, Some(json!({"a": 1})), 9));
}

#[test]
fn presses_wait_for_a_connection_and_for_the_brokers_acknowledgement() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    let (n, orders) = controller.press(json!({"lit": false}));
    assert_eq!((n, orders.len()), (1, 0));
    let first = controller.connected(0);
    assert_eq!(published(&first, Up::Wish), [json!({"n": 1, "lit": false})]);
    controller.disconnected();
    assert_eq!(published(&controller.connected(10), Up::Wish).len(), 1, "not acknowledged, so it is sent again");
    controller.confirmed(Receipt::Outbox(1));
    controller.disconnected();
    assert!(published(&controller.connected(20), Up::Wish).is_empty());
    assert_eq!(controller.event("motion").0, 1, "events are counted apart from wishes");
    assert_eq!(controller.press(json!({"override": null})).0, 2);
}

/// What becomes of the messages about one new revision on their way.
#[derive(Debug, Clone, Copy)]
enum Fate {
    Arrives,
    Lost,
    Twice,
    /// The connection breaks and comes back, and this message is lost with it.
    Breaks,
}

fn small_document() -> impl Strategy<Value = Value> {
    prop::collection::btree_map(
        "[abc]",
        prop_oneof![Just(json!(1)), Just(json!({"x": 1})), Just(json!({"y": 2}))],
        0..4,
    )
    .prop_map(|members| Value::Object(members.into_iter().collect()))
}

fn fate() -> impl Strategy<Value = Fate> {
    prop_oneof![4 => Just(Fate::Arrives), 1 => Just(Fate::Lost), 1 => Just(Fate::Twice), 1 => Just(Fate::Breaks)]
}

proptest! {
    /// A daemon in ten lines sends every revision, loses some and repeats some, and answers every ask. In the end the
    /// fixture holds the last document, and its reports add up to it.
    #[test]
    fn whatever_is_lost_or_repeated_it_ends_with_the_last_document_and_has_reported_it(
        patches in any::<bool>(),
        steps in prop::collection::vec((small_document(), fate()), 1..20),
        last in small_document(),
    ) {
        let firmware = if patches { Firmware::Patch } else { Firmware::Agenda };
        let mut controller = controller(firmware, |_| {});
        let mut held_by_daemon = json!({});
        let mut reported = json!({});
        let mut sent = 0;
        let mut uptime = 0;
        let mut orders = controller.connected(uptime);
        controller.confirmed(Receipt::Boot);
        let steps = steps.into_iter().chain([(last.clone(), Fate::Arrives), (last.clone(), Fate::Arrives)]);
        for (rev, (document, fate)) in (1_u64..).zip(steps) {
            let patch = json!({"from": rev - 1, "rev": rev, "patch": difference(&held_by_daemon, &document)});
            held_by_daemon = document;
            let (topic, message) = if patches {
                ("fixtures/hall/patch", patch.to_string().into_bytes())
            } else {
                ("fixtures/hall/desired", desired(rev, NOW + rev, &held_by_daemon))
            };
            let times = match fate { Fate::Arrives => 1, Fate::Twice => 2, Fate::Lost | Fate::Breaks => 0 };
            for _ in 0..times {
                orders.extend(controller.message(topic, &message, false, uptime));
            }
            if matches!(fate, Fate::Breaks) {
                orders.clear();
                controller.disconnected();
                orders.extend(controller.connected(uptime));
            }
            // Answer what was asked, and hear what was reported, until nothing more is said.
            while !orders.is_empty() {
                uptime += 100;
                let asked = !published(&orders, Up::Ask).is_empty() || !published(&orders, Up::Boot).is_empty();
                for report in published(&orders, Up::Reported) {
                    sent += 1;
                    match report.get("patch") {
                        Some(patch) => merge(&mut reported, patch),
                        None => reported = held_by_daemon.clone(),
                    }
                }
                orders.clear();
                if asked {
                    let answer = desired(rev, NOW + rev * 1_000 + uptime, &held_by_daemon);
                    orders.extend(controller.message("fixtures/hall/desired", &answer, false, uptime));
                }
            }
        }
        let state = state(&mut controller, uptime);
        prop_assert!(equal(state.document.as_ref().unwrap(), &last), "{:?} is not {last}", state.document);
        prop_assert!(equal(&reported, &last), "reported {reported} is not {last}");
        prop_assert_eq!(state.reports, sent);
    }
}

#[test]
fn a_revision_that_was_never_given_is_forgotten_and_the_whole_is_asked_for() {
    for firmware in [Firmware::Showing, Firmware::Agenda, Firmware::Patch] {
        let mut controller = controller(firmware, |_| {});
        controller.connected(0);
        let showing = json!({"rev": 9, "now_ms": NOW, "look": "late", "channels": [[1, 2, 3]]}).to_string();
        controller.message("fixtures/hall/desired", &desired(9, NOW, &json!({"a": 1})), false, 5);
        controller.message("fixtures/hall/showing", showing.as_bytes(), false, 5);
        let problem = json!({"type": "/problems/never-given", "detail": "the desired document is at 4"}).to_string();
        let orders = controller.message("fixtures/hall/problem", problem.as_bytes(), false, 9);
        assert_eq!(published(&orders, Up::Ask), [json!({"have": 0})], "{firmware:?}");
        // the older revision is taken now
        let showing = json!({"rev": 4, "now_ms": NOW + 9, "look": "early", "channels": [[3, 2, 1]]}).to_string();
        controller.message("fixtures/hall/desired", &desired(4, NOW + 9, &json!({"a": 0})), false, 12);
        controller.message("fixtures/hall/showing", showing.as_bytes(), false, 12);
        assert_eq!(state(&mut controller, 12).rev, 4, "{firmware:?}");
    }
}
