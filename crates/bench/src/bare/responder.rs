//! The broker and one client of it, which answers each boot with fixed bytes and counts reports.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use broker::{DAEMON_CLIENT_ID, Embedded};
use rumqttc::{AsyncClient, Event, EventLoop, Incoming, MqttOptions, NetworkOptions, QoS, SubscribeFilter};
use tokio::sync::mpsc;

use super::{broker, tell, until_closed};
use crate::error::BenchError;
use crate::history::name;

/// As the daemon's link to its broker has it.
const INFLIGHT: u16 = 1024;
const PACKET: usize = 64 * 1024;

/// An answer of a given size that begins as the daemon's does.
fn answer(bytes: usize) -> Vec<u8> {
    let mut text = String::from("{\"rev\":2,\"document\":\"");
    while text.len() + 2 < bytes {
        text.push('x');
    }
    text.push_str("\"}");
    text.into_bytes()
}

fn connect(broker: &Embedded) -> (AsyncClient, EventLoop) {
    let address = broker.local_addr();
    let mut options = MqttOptions::new(DAEMON_CLIENT_ID, address.ip().to_string(), address.port());
    options
        .set_keep_alive(Duration::from_secs(20))
        .set_clean_session(false)
        .set_credentials(broker.daemon_username(), broker.daemon_secret())
        .set_inflight(INFLIGHT)
        .set_max_packet_size(PACKET, PACKET);
    let (client, mut events) = AsyncClient::new(options, usize::from(INFLIGHT));
    let mut network = NetworkOptions::new();
    network.set_tcp_nodelay(true);
    events.set_network_options(network);
    (client, events)
}

pub(super) async fn run(fixtures: u32, desired: usize, showing: usize) -> Result<(), BenchError> {
    let broker = broker().await?;
    let (client, mut events) = connect(&broker);
    let filters = ["boot", "ask", "reported", "event", "wish", "alive"];
    let filters = filters.map(|what| SubscribeFilter::new(format!("fixtures/+/{what}"), QoS::AtLeastOnce));
    client.try_subscribe_many(filters).map_err(|error| BenchError::unexpected("subscribing", error.to_string()))?;
    let mut bodies = vec![("desired", answer(desired))];
    if showing > 0 {
        bodies.push(("showing", answer(showing)));
    }
    let expected = u64::from(fixtures) * bodies.len() as u64;
    let (out, outgoing) = mpsc::unbounded_channel();
    for number in 1..=fixtures as usize {
        let _ = out.send((name(number), true));
    }
    tokio::spawn(publish(client, bodies, outgoing));
    let reports = Arc::new(AtomicU64::new(0));
    let counted = Arc::clone(&reports);
    let (ready, mut is_ready) = mpsc::channel(1);
    tokio::spawn(async move {
        let (mut acknowledged, mut subscribed) = (0_u64, false);
        loop {
            match events.poll().await {
                Ok(Event::Incoming(Incoming::Publish(publish))) => {
                    if let Some(id) = boot_of(&publish.topic) {
                        let _ = out.send((id.to_owned(), false));
                    } else if publish.topic.ends_with("/reported") {
                        counted.fetch_add(1, Ordering::Relaxed);
                    }
                }
                Ok(Event::Incoming(Incoming::PubAck(_))) => acknowledged += 1,
                Ok(Event::Incoming(Incoming::SubAck(_))) => subscribed = true,
                Ok(_) => continue,
                Err(_) => return, // the channel closes, and waiting for it ends
            }
            if subscribed && acknowledged >= expected {
                let _ = ready.try_send(());
            }
        }
    });
    is_ready.recv().await.ok_or_else(|| BenchError::unexpected("starting the responder", "its link has failed"))?;
    tell(&format!("ready mqtt={}", broker.local_addr()))?;
    until_closed(move |_| reports.load(Ordering::Relaxed).to_string()).await?;
    broker.stop().await;
    Ok(())
}

/// The fixture whose boot a topic tells.
fn boot_of(topic: &str) -> Option<&str> {
    topic.strip_prefix("fixtures/")?.strip_suffix("/boot")
}

async fn publish(
    client: AsyncClient,
    bodies: Vec<(&'static str, Vec<u8>)>,
    mut outgoing: mpsc::UnboundedReceiver<(String, bool)>,
) {
    while let Some((id, retained)) = outgoing.recv().await {
        for (what, body) in &bodies {
            let topic = format!("fixtures/{id}/{what}");
            if client.publish(topic, QoS::AtLeastOnce, retained, body.clone()).await.is_err() {
                return;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_has_the_size_that_it_is_asked_for() {
        for bytes in [40, 480, 1_100] {
            let answer = answer(bytes);
            assert_eq!(answer.len(), bytes);
            assert!(serde_json::from_slice::<serde_json::Value>(&answer).is_ok());
        }
    }

    #[test]
    fn only_boots_are_answered() {
        assert_eq!(boot_of("fixtures/f-1/boot"), Some("f-1"));
        assert_eq!(boot_of("fixtures/f-1/reported"), None);
    }
}
