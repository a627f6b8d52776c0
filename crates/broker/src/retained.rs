//! Retained messages for those who subscribe, each found by its topic.
//!
//! At every SUBSCRIBE the broker library compares the filter with the topic of every retained message that it has. A
//! house of n fixtures has two and more for each, so that n fixtures which come back at once cost n² comparisons. But a
//! filter without wildcards matches one topic, under which the library's own storage finds the message at once. So the
//! library is told, by the subscription's retain handling, to send no retained message for such a filter, and it is
//! sent from here. Filters with wildcards, which only the daemon may have, are left to the library.

use crate::sessions::Sessions;
use mqtt5::QoS;
use mqtt5::broker::events::{SubAckReasonCode, SubscriptionInfo};
use mqtt5::broker::storage::{QueueHandle, QueuedMessage, RetainedMessage, StorageBackend};
use mqtt5::packet::MqttPacket;
use mqtt5::packet::publish::PublishPacket;
use mqtt5::packet::subscribe::{RetainHandling, SubscribePacket, TopicFilter};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::task::{Context, Poll, Waker};
use tracing::debug;

/// Retained messages on one connection.
pub(crate) struct Retained {
    sessions: Sessions,
    client: OnceLock<Client>,
    state: Mutex<State>,
}

/// Who has logged in on the connection.
#[derive(Debug)]
pub(crate) struct Client {
    pub(crate) client_id: String,
    /// 4 is MQTT 3.1.1.
    pub(crate) protocol_version: u8,
    /// The most bytes of a packet that it takes, if it said so (MQTT 5.0, section 3.1.2.11.4).
    pub(crate) max_packet_bytes: Option<u32>,
}

#[derive(Default)]
struct State {
    /// The SUBSCRIBE that the library is at.
    asked: Option<Asked>,
    /// Whoever waits until there is none.
    waits: Option<Waker>,
    /// Packets to be sent before anything else.
    unsent: Vec<u8>,
}

/// One SUBSCRIBE.
struct Asked {
    /// Its filters in their order; none where the library itself sends what is retained.
    filters: Vec<Option<Wanted>>,
    subscription_id: Option<u32>,
    queue: QueueHandle,
    /// A clean start ends an epoch of the queue: nothing for an older session can get into it.
    epoch: u64,
}

struct Wanted {
    topic: String,
    /// Only if the subscription is new, by MQTT 5.0, section 3.8.3.1.
    only_if_new: bool,
    held: bool,
    /// Not what the client itself published, by the same section.
    no_local: bool,
}

impl Retained {
    pub(crate) fn new(sessions: Sessions) -> Self {
        Self { sessions, client: OnceLock::new(), state: Mutex::default() }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes who has logged in.
    ///
    /// # Errors
    /// If somebody has already: gives the second back.
    pub(crate) fn logged_in(&self, client: Client) -> Result<(), Client> {
        self.client.set(client)
    }

    /// Who has logged in, if anybody has.
    pub(crate) fn client(&self) -> Option<&Client> {
        self.client.get()
    }

    /// Whether another connection has not yet let go of the session that this one has taken over from it.
    ///
    /// Until then both serve one queue, and what the older takes out of it is lost with it if the session begins anew.
    /// So nothing may be subscribed before. It lasts for as long as the library has it last, 30 s at the most.
    pub(crate) fn awaits_session(&self) -> bool {
        self.client.get().is_some_and(|client| self.sessions.router.queue_handle(&client.client_id).awaiting_bind())
    }

    /// Takes the retained messages of the filters without wildcards out of the library's hands. Says whether there is
    /// any; then [`Self::subscribed`] has to be called after the library has answered the packet.
    pub(crate) fn take_over(&self, subscribe: &mut SubscribePacket) -> bool {
        let Some(client) = self.client.get() else {
            return false;
        };
        let filters: Vec<_> = subscribe.filters.iter_mut().map(wanted).collect();
        if filters.iter().all(Option::is_none) {
            return false;
        }
        // Both before the library sees the packet: if another connection has taken the session over by then, the
        // library drops the packet, and if one does so later, it begins another epoch or goes on with the session.
        let queue = self.sessions.router.queue_handle(&client.client_id);
        let epoch = queue.epoch();
        let subscription_id = subscribe.properties.get_subscription_identifier();
        self.state().asked = Some(Asked { filters, subscription_id, queue, epoch });
        true
    }

    /// To be called before the library subscribes: whether it is a new subscription cannot be seen afterwards.
    pub(crate) async fn subscribing(&self, filter: &str) {
        let matters = |wanted: &Wanted| wanted.only_if_new && wanted.topic == filter;
        let asked = self.state().asked.as_ref().is_some_and(|asked| asked.filters.iter().flatten().any(matters));
        let Some(client) = self.client.get().filter(|_| asked) else {
            return;
        };
        let held = self.sessions.router.has_subscription(&client.client_id, filter).await;
        if let Some(asked) = &mut self.state().asked {
            asked.filters.iter_mut().flatten().filter(|wanted| matters(wanted)).for_each(|wanted| wanted.held = held);
        }
    }

    /// Sends what is retained for the filters of the SUBSCRIBE that has just been answered with `answers`.
    pub(crate) async fn subscribed(&self, answers: &[SubscriptionInfo]) {
        let asked = {
            let mut state = self.state();
            if let Some(waker) = state.waits.take() {
                waker.wake();
            }
            state.asked.take()
        };
        let (Some(asked), Some(client)) = (asked, self.client.get()) else {
            return;
        };
        for (index, (wanted, answer)) in asked.filters.iter().zip(answers).enumerate() {
            let (Some(wanted), Some(granted)) = (wanted, granted(answer.result)) else {
                continue;
            };
            let earlier = |other: &Option<Wanted>| other.as_ref().is_some_and(|other| other.topic == wanted.topic);
            let is_new = !wanted.held && !asked.filters.iter().take(index).any(earlier);
            if is_new || !wanted.only_if_new {
                self.send(client, &asked, wanted, granted).await;
            }
        }
    }

    async fn send(&self, client: &Client, asked: &Asked, wanted: &Wanted, granted: QoS) {
        let mut sent: Option<RetainedMessage> = None;
        // Memory storage does not fail.
        while let Ok(Some(message)) = self.sessions.storage.get_retained_message(&wanted.topic).await {
            let own = wanted.no_local && publisher(&message) == Some(&client.client_id);
            if own || sent.as_ref().is_some_and(|sent| same(sent, &message)) {
                return;
            }
            let mut publish = message.to_publish_packet();
            publish.retain = true;
            publish.qos = lesser(publish.qos, granted);
            publish.protocol_version = client.protocol_version;
            if let Some(id) = asked.subscription_id {
                publish.properties.set_subscription_identifier(id);
            }
            if publish.qos == QoS::AtMostOnce {
                // The library sends nothing while it is here, and what it has to send goes after this.
                self.send_next(client, &publish);
                return;
            }
            let qos = publish.qos;
            let queued = QueuedMessage::new(publish, client.client_id.clone(), qos, None);
            if asked.queue.push_in_epoch(queued, asked.epoch).is_none() {
                return;
            }
            asked.queue.notify();
            // What is published from here on queues behind it. But what was published since the message was looked up
            // may have gone before it, and the older of the two must not be the last that the client hears. So look
            // again.
            sent = Some(message);
        }
    }

    fn send_next(&self, client: &Client, publish: &PublishPacket) {
        let mut packet = Vec::new();
        if let Err(error) = publish.encode(&mut packet) {
            debug!(client_id = client.client_id, %error, "a retained message could not be written");
            return;
        }
        // MQTT 5.0, section 3.1.2.11.4: what is too large for a client is not sent to it.
        let fits =
            client.max_packet_bytes.is_none_or(|most| usize::try_from(most).is_ok_and(|most| packet.len() <= most));
        if fits {
            self.state().unsent.append(&mut packet);
        }
    }

    /// Waits until no SUBSCRIBE is under way: what comes after one must not be read before.
    pub(crate) fn poll_idle(&self, context: &mut Context<'_>) -> Poll<()> {
        let mut state = self.state();
        if state.asked.is_none() {
            return Poll::Ready(());
        }
        state.waits = Some(context.waker().clone());
        Poll::Pending
    }

    /// Packets to be sent before anything else; empty if there are none.
    pub(crate) fn take_unsent(&self) -> Vec<u8> {
        std::mem::take(&mut self.state().unsent)
    }
}

/// What a filter asks for, if it is without wildcards: then the library is told to send nothing.
fn wanted(TopicFilter { filter, options }: &mut TopicFilter) -> Option<Wanted> {
    // A shared subscription is sent nothing that is retained (MQTT 5.0, section 4.8.2).
    if filter.contains(['+', '#']) || filter.starts_with('$') || options.retain_handling == RetainHandling::DoNotSend {
        return None;
    }
    let only_if_new = options.retain_handling == RetainHandling::SendAtSubscribeIfNew;
    options.retain_handling = RetainHandling::DoNotSend;
    Some(Wanted { topic: filter.clone(), only_if_new, held: false, no_local: options.no_local })
}

fn granted(answer: SubAckReasonCode) -> Option<QoS> {
    match answer {
        SubAckReasonCode::GrantedQoS0 => Some(QoS::AtMostOnce),
        SubAckReasonCode::GrantedQoS1 => Some(QoS::AtLeastOnce),
        SubAckReasonCode::GrantedQoS2 => Some(QoS::ExactlyOnce),
        _ => None,
    }
}

/// The client id that the library has noted with the message, in a property that no client can set.
fn publisher(message: &RetainedMessage) -> Option<&str> {
    message.user_properties.iter().find(|(key, _)| key == "x-mqtt-client-id").map(|(_, client_id)| client_id.as_str())
}

fn lesser(one: QoS, other: QoS) -> QoS {
    if (one as u8) < other as u8 { one } else { other }
}

/// Whether both are the same publication, as far as a client could tell.
fn same(one: &RetainedMessage, other: &RetainedMessage) -> bool {
    one.payload == other.payload
        && one.qos == other.qos
        && one.stored_at_secs == other.stored_at_secs
        && one.message_expiry_interval == other.message_expiry_interval
        && one.user_properties == other.user_properties
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use mqtt5::packet::subscribe::SubscriptionOptions;

    pub(crate) const SHOWING: &str = "fixtures/stairs/showing";

    impl Retained {
        /// The queue of the session.
        pub(crate) fn queue(&self) -> QueueHandle {
            self.sessions.router.queue_handle("stairs")
        }
    }

    /// A connection of the stairs, without the broker library's part in it.
    pub(crate) async fn connection() -> Retained {
        let sessions = Sessions::new(|router| router);
        let mut publish = PublishPacket::new(SHOWING, "kept", QoS::AtLeastOnce);
        publish.retain = true;
        sessions.router.route_message(&publish, None).await;
        let retained = Retained::new(sessions);
        let client = Client { client_id: "stairs".to_owned(), protocol_version: 4, max_packet_bytes: None };
        retained.logged_in(client).unwrap();
        retained
    }

    pub(crate) fn answer(qos: QoS) -> [SubscriptionInfo; 1] {
        let result = if qos == QoS::AtMostOnce { SubAckReasonCode::GrantedQoS0 } else { SubAckReasonCode::GrantedQoS1 };
        [SubscriptionInfo { topic_filter: SHOWING.into(), qos, result }]
    }

    #[test]
    fn only_filters_that_match_one_topic_are_taken_over() {
        for (filter, asks, is_taken) in [
            (SHOWING, RetainHandling::SendAtSubscribe, true),
            (SHOWING, RetainHandling::SendAtSubscribeIfNew, true),
            (SHOWING, RetainHandling::DoNotSend, false),
            ("fixtures/+/alive", RetainHandling::SendAtSubscribe, false),
            ("fixtures/#", RetainHandling::SendAtSubscribe, false),
            ("$share/all/fixtures/stairs/showing", RetainHandling::SendAtSubscribe, false),
            ("$SYS/broker", RetainHandling::SendAtSubscribe, false),
        ] {
            let options = SubscriptionOptions { retain_handling: asks, ..SubscriptionOptions::new(QoS::AtLeastOnce) };
            let mut topic_filter = TopicFilter::with_options(filter, options);
            assert_eq!(wanted(&mut topic_filter).is_some(), is_taken, "{filter}");
            let left = if is_taken { RetainHandling::DoNotSend } else { asks };
            assert_eq!(topic_filter.options.retain_handling, left, "{filter}");
        }
    }

    #[tokio::test]
    async fn at_qos_0_it_goes_before_all_that_the_library_sends_and_at_qos_1_into_its_queue() {
        for qos in [QoS::AtMostOnce, QoS::AtLeastOnce] {
            let retained = connection().await;
            assert!(retained.take_over(&mut SubscribePacket::new_v311(1).add_filter(SHOWING, qos)));
            retained.subscribed(&answer(qos)).await;
            let queued = retained.queue().count();
            assert_eq!((retained.take_unsent().is_empty(), queued), (qos != QoS::AtMostOnce, qos as usize));
        }
    }

    #[tokio::test]
    async fn nothing_gets_into_the_queue_of_a_session_that_began_later() {
        let retained = connection().await;
        assert!(retained.take_over(&mut SubscribePacket::new_v311(1).add_filter(SHOWING, QoS::AtLeastOnce)));
        let queue = retained.queue();
        // what a clean start does
        queue.clear(None);
        retained.subscribed(&answer(QoS::AtLeastOnce)).await;
        assert_eq!(queue.count(), 0);
    }

    #[tokio::test]
    async fn a_session_that_another_connection_still_serves_is_waited_for() {
        let retained = connection().await;
        let queue = retained.queue();
        assert!(!retained.awaits_session());
        queue.expect_bind(7);
        assert!(retained.awaits_session());
        queue.mark_bound(7);
        assert!(!retained.awaits_session());
    }

    #[tokio::test]
    async fn nothing_is_read_while_a_subscribe_is_under_way() {
        let retained = connection().await;
        let mut context = Context::from_waker(Waker::noop());
        assert!(retained.poll_idle(&mut context).is_ready());
        assert!(retained.take_over(&mut SubscribePacket::new_v311(1).add_filter(SHOWING, QoS::AtLeastOnce)));
        assert!(retained.poll_idle(&mut context).is_pending());
        retained.subscribed(&answer(QoS::AtLeastOnce)).await;
        assert!(retained.poll_idle(&mut context).is_ready());
    }

    #[tokio::test]
    async fn a_client_that_has_not_logged_in_is_left_to_the_library() {
        let retained = Retained::new(Sessions::new(|router| router));
        assert!(!retained.take_over(&mut SubscribePacket::new_v311(1).add_filter(SHOWING, QoS::AtLeastOnce)));
        assert!(!retained.awaits_session());
    }
}
