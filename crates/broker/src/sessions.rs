//! The broker's stored sessions: whether a client id has one, and how to end one with all that belongs to it.

use mqtt5::broker::router::MessageRouter;
use mqtt5::broker::storage::{DynamicStorage, MemoryBackend, StorageBackend};
use mqtt5::packet::publish::PublishPacket;
use mqtt5::{QoS, error::MqttError};
use std::sync::Arc;
use tracing::warn;

/// Sessions, queues, retained messages and subscriptions, all in memory.
#[derive(Clone)]
pub(crate) struct Sessions {
    pub(crate) router: Arc<MessageRouter>,
    pub(crate) storage: Arc<DynamicStorage>,
}

impl Sessions {
    pub(crate) fn new(build: impl FnOnce(MessageRouter) -> MessageRouter) -> Self {
        let storage = Arc::new(DynamicStorage::Memory(MemoryBackend::with_queue_limits(crate::settings::QUEUE)));
        let router = Arc::new(build(MessageRouter::with_storage(Arc::clone(&storage))));
        Self { router, storage }
    }

    /// Whether a session that has not expired is stored for this client id.
    pub(crate) async fn has(&self, client_id: &str) -> bool {
        // Memory storage does not fail; if it did, "there is one" is the answer that gives nothing away.
        self.storage.get_session(client_id).await.map_or(true, |session| session.is_some())
    }

    /// Ends the session: its subscriptions, its queue, what it has in flight, and itself.
    pub(crate) async fn end(&self, client_id: &str) {
        let slot = self.router.lock_session(client_id).await;
        let done = async {
            self.storage.remove_session(client_id).await?;
            self.storage.remove_queued_messages(client_id).await?;
            self.storage.remove_all_inflight_messages(client_id).await?;
            self.router.set_client_subscriptions(&slot, None).await?;
            Ok::<(), MqttError>(())
        };
        if let Err(error) = done.await {
            warn!(client_id, %error, "a session was not ended completely");
        }
        self.router.remove_change_only_state(client_id).await;
        self.router.unregister_client(client_id).await;
    }

    /// Forgets the retained message of a topic, without telling anybody who is not subscribed to it.
    pub(crate) async fn forget_retained(&self, topic: String) {
        if self.router.has_retained_message(&topic).await {
            let mut empty = PublishPacket::new(topic, Vec::new(), QoS::AtMostOnce);
            empty.retain = true;
            self.router.route_message(&empty, None).await;
        }
    }

    /// Drops what has expired. Meant to be called about once a minute.
    pub(crate) async fn sweep(&self) {
        if let Err(error) = self.storage.cleanup_expired().await {
            warn!(%error, "expired messages were not dropped");
        }
        self.router.sweep_sessions().await;
    }
}
