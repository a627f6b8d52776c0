//! The door itself: the clock, health, backups, stopping.

use serde_json::json;
use service::{Actor, Clock, Command, Health, LinkState, Message, ServiceError, Standing, Way};
use store::StoreError;

use crate::rig::{Rig, id, owner, second};

#[tokio::test(flavor = "multi_thread")]
async fn times_are_whole_milliseconds_as_the_database_keeps_them() {
    let clock = Clock::manual("2026-03-01T12:00:00.123456789Z".parse().unwrap());
    assert_eq!(clock.now().to_string(), "2026-03-01T12:00:00.123Z");
    let system = Clock::System;
    let now = system.now();
    assert_eq!(now.subsec_nanosecond() % 1_000_000, 0);
    system.set(second(0));
    assert!(system.now() >= now, "the system's clock is left alone");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_manual_clock_wakes_who_waits_for_it() {
    let clock = Clock::manual(second(0));
    clock.until(second(-1), second(0)).await;
    clock.until(second(0), second(0)).await;
    let waiting = tokio::spawn({
        let clock = clock.clone();
        async move {
            while clock.now() < second(60) {
                clock.until(second(60), second(0)).await;
            }
        }
    });
    // set again and again, for the waiter may not wait yet
    crate::rig::until("the waiter is woken", || {
        clock.set(second(60));
        waiting.is_finished()
    })
    .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn edits_carry_the_time_of_the_clock_and_the_demo_may_name_its_own() {
    let rig = Rig::new().await;
    rig.clock.set(second(7));
    rig.create("hall", "free").await;
    assert_eq!(rig.get("hall").created, second(7));
    let command = Command::Hear { id: id("hall"), message: Message::Alive { alive: true } };
    rig.service.execute_at(command, Actor::new("demo", Way::Demo), second(-100)).await.unwrap();
    assert_eq!(rig.get("hall").life.heard, Some(second(-100)));
    assert_eq!((rig.service.started(), rig.service.now()), (second(0), second(7)));
}

#[tokio::test(flavor = "multi_thread")]
async fn submitted_commands_are_answered_in_their_order() {
    let rig = Rig::new().await;
    rig.create("hall", "strip").await;
    let mut waiting = Vec::new();
    for n in 0..50 {
        let message = Message::Event { event: "motion".into(), n };
        waiting
            .push(rig.service.submit(Command::Hear { id: id("hall"), message }, Actor::fixture("hall")).await.unwrap());
    }
    for answer in waiting {
        answer.await.unwrap().unwrap();
    }
    assert_eq!(rig.get("hall").life.event_n, Some(49));
}

#[tokio::test(flavor = "multi_thread")]
async fn health_tells_of_database_and_broker() {
    let rig = Rig::new().await;
    assert_eq!(rig.service.health(), Health { database: true, broker: LinkState::Down });
    rig.service.set_link(LinkState::Up);
    assert_eq!(rig.service.health().broker, LinkState::Up);
    rig.service.set_link(LinkState::Down);
    assert_eq!(rig.service.health().broker, LinkState::Down);
    rig.service.stop().await;
    assert!(!rig.service.health().database);
    let refused = rig.service.create(id("hall"), json!({}), owner()).await.unwrap_err();
    assert!(matches!(refused, ServiceError::Store(StoreError::Stopped)));
}

#[tokio::test(flavor = "multi_thread")]
async fn connections_of_a_broker_that_begins_anew_are_forgotten_durably() {
    let rig = Rig::new().await;
    let alive = |name: &str, alive| Command::Hear { id: id(name), message: Message::Alive { alive } };
    for (name, says) in [("hall", Some(true)), ("stairs", Some(false)), ("landing", None)] {
        rig.create(name, "strip").await;
        if let Some(says) = says {
            rig.service.execute(alive(name, says), Actor::fixture(name), None).await.unwrap();
        }
    }
    assert_eq!(Standing::of(&rig.get("hall")), Standing::InStep);
    rig.clock.set(second(60));
    assert_eq!(rig.service.forget_connections().await.unwrap(), 1);
    assert_eq!(Standing::of(&rig.get("hall")), Standing::Silent);
    assert_eq!(rig.get("hall").life.heard, Some(second(0)), "it is no word of the fixture's own");
    assert_eq!(Standing::of(&rig.get("landing")), Standing::NeverHeard);
    let rig = rig.reopened().await;
    assert_eq!(Standing::of(&rig.get("hall")), Standing::Silent);
    assert_eq!(rig.service.forget_connections().await.unwrap(), 0);
    // whoever is back says so by anything at all
    let ask = Command::Hear { id: id("hall"), message: Message::Ask { have: 0 } };
    rig.service.execute(ask, Actor::fixture("hall"), None).await.unwrap();
    assert_eq!(Standing::of(&rig.get("hall")), Standing::InStep);
}

#[tokio::test(flavor = "multi_thread")]
async fn backups_are_made_one_after_the_other_and_rotated() {
    let rig = Rig::new().await;
    rig.create("hall", "free").await;
    assert_eq!(rig.service.list_backups().unwrap(), []);
    let (one, two) = tokio::join!(rig.service.back_up(), rig.service.back_up());
    assert_eq!(one.unwrap().name, two.unwrap().name, "of the same moment they are the same");
    for n in 1..=4 {
        rig.clock.set(second(n));
        rig.service.back_up().await.unwrap();
    }
    let list = rig.service.list_backups().unwrap();
    assert_eq!(list.iter().map(|backup| backup.at).collect::<Vec<_>>(), [second(4), second(3), second(2)]);
    assert_eq!(rig.service.backup_folder(), rig.folder.path().join("backups"));
}
