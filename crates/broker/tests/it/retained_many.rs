//! Retained messages in number: the cost of one SUBSCRIBE among many, and its order among messages that are published
//! meanwhile.

use crate::clients::{House, STAIRS};
use crate::raw::{Raw, publish};
use std::collections::HashMap;
use std::sync::{Arc, Mutex};
use std::thread::{self, ThreadId};
use tracing::field::{Field, Visit};
use tracing::span::{Attributes, Id, Record};
use tracing::{Event, Metadata, Subscriber};

const SHOWING: &str = "fixtures/stairs/showing";

/// Counts, for each thread, how often the broker library compares a filter with every retained message: it says so in
/// its log.
#[derive(Clone, Default)]
struct Scans(Arc<Mutex<HashMap<ThreadId, usize>>>);

impl Scans {
    /// Begins to count. For the whole process, since what is set for one thread alone may be overlooked when another
    /// is the first to come by a place that logs.
    fn begin() -> Self {
        let scans = Self::default();
        tracing::subscriber::set_global_default(scans.clone()).unwrap();
        tracing::callsite::rebuild_interest_cache();
        scans
    }

    /// On the thread of this test, on which its broker runs too.
    fn here(&self) -> usize {
        self.0.lock().unwrap().get(&thread::current().id()).copied().unwrap_or_default()
    }
}

impl Visit for Scans {
    fn record_debug(&mut self, _field: &Field, value: &dyn std::fmt::Debug) {
        if format!("{value:?}") == "Retained messages found for subscription" {
            *self.0.lock().unwrap().entry(thread::current().id()).or_default() += 1;
        }
    }
}

impl Subscriber for Scans {
    fn enabled(&self, metadata: &Metadata<'_>) -> bool {
        metadata.target() == "mqtt5::broker::client_handler::subscribe"
    }

    fn new_span(&self, _: &Attributes<'_>) -> Id {
        Id::from_u64(1)
    }

    fn record(&self, _: &Id, _: &Record<'_>) {}
    fn record_follows_from(&self, _: &Id, _: &Id) {}

    fn event(&self, event: &Event<'_>) {
        event.record(&mut self.clone());
    }

    fn enter(&self, _: &Id) {}
    fn exit(&self, _: &Id) {}
}

async fn tool(house: &House) -> Raw {
    let who = (house.broker.daemon_username(), house.broker.daemon_secret());
    Raw::log_in(house.addr(), 4, "tool", who).await
}

#[tokio::test]
async fn a_subscribe_among_twenty_thousand_retained_messages_looks_at_its_own_alone() {
    let scans = Scans::begin();
    let house = House::open().await;
    let mut tool = tool(&house).await;
    for n in 0..10_000 {
        for topic in [format!("fixtures/f{n}/desired"), format!("fixtures/f{n}/showing")] {
            let mut bytes = publish(4, &topic, b"another's", 0);
            bytes[0] |= 1;
            tool.send(&bytes).await;
        }
    }
    tool.publish(4, SHOWING, "ours", 1, true).await;
    for version in [4, 5] {
        for qos in [0, 1] {
            let mut stairs = Raw::log_in(house.addr(), version, "stairs", STAIRS).await;
            for filter in [SHOWING, "fixtures/stairs/desired", "fixtures/stairs/patch"] {
                stairs.subscribe(version, &[], &[(filter, qos)]).await;
                if filter == SHOWING {
                    let heard = stairs.hear(version).await;
                    assert_eq!((heard.topic.as_str(), heard.payload.as_str()), (SHOWING, "ours"));
                }
            }
            tool.publish(4, SHOWING, "live", 1, false).await;
            assert_eq!(stairs.hear(version).await.payload, "live");
        }
    }
    assert_eq!(scans.here(), 0);
    // It would be seen: the daemon's wildcards are left to the library.
    tool.subscribe(4, &[], &[("fixtures/+/alive", 1)]).await;
    assert_eq!(scans.here(), 1);
}

/// A number is published over and over, each one more than the last, while a fixture subscribes.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn nothing_is_missed_between_the_retained_message_and_the_first_live_one() {
    const LAST: u32 = 1_500;
    let house = House::open().await;
    for (version, qos) in [(4, 0), (4, 1), (5, 0), (5, 1)] {
        let mut tool = tool(&house).await;
        tool.publish(4, SHOWING, "0", 1, true).await;
        let publishing = tokio::spawn(async move {
            for n in 1..=LAST {
                tool.publish(4, SHOWING, &n.to_string(), 1, true).await;
            }
        });
        let mut rounds = 0;
        let mut ended = false;
        while !ended {
            // the round that begins after the last publication sees only what is retained
            ended = publishing.is_finished();
            rounds += 1;
            let mut stairs = Raw::log_in(house.addr(), version, "stairs", STAIRS).await;
            stairs.subscribe(version, &[], &[(SHOWING, qos)]).await;
            let (mut retained, mut live, mut last) = (Vec::new(), Vec::new(), 0);
            while (retained.is_empty() || live.len() < 10) && last != LAST {
                let heard = stairs.hear(version).await;
                last = heard.payload.parse().unwrap();
                if heard.retain { &mut retained } else { &mut live }.push(last);
            }
            assert!(live.is_sorted_by(|one, next| one + 1 == *next), "{live:?}");
            if let (Some(kept), Some(first)) = (retained.first(), live.first()) {
                assert!(*first <= kept + 1, "missed: {retained:?} and then {live:?}");
            }
        }
        publishing.await.unwrap();
        assert!(rounds > 1);
    }
}
