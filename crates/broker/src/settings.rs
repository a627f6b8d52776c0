//! What the broker library is told. Every default of its own that would be unsafe or slow here is set.

use crate::options::Options;
use mqtt5::broker::config::{AuthConfig, AuthMethod, BrokerConfig, RateLimitConfig, StorageBackend, StorageConfig};
use mqtt5::broker::resource_monitor::{ResourceLimits, ResourceMonitor};
use mqtt5::broker::storage::QueueLimits;
use std::time::Duration;

/// How long a session without its client is kept. Long enough for a night without Wi-Fi; the daemon publishes retained
/// state anyway.
const SESSION_KEPT: Duration = Duration::from_secs(24 * 3600);
/// Messages waiting inside the broker for one connected client, for each of QoS 0 and QoS 1. A whole house that boots at
/// once must fit into the daemon's, with a factor to spare: 5,000 clients with three messages each.
const WAITING_PER_CLIENT: usize = 16_384;
/// Unacknowledged QoS 1 messages on one connection. The daemon acknowledges after a commit and commits up to 512
/// commands at once. Not more: the library walks this list at every send and every acknowledgement. Measured with 5,000
/// publishers and one subscriber that acknowledges at once, two cores, unoptimised: 51,000 messages a second with 256,
/// 40,000 with 1,024, 22,000 with 4,096.
const IN_FLIGHT: u16 = 512;
/// Messages sent to one client before its socket is looked at again.
const BATCH: usize = 256;
/// The queue of one session whose client is away; the oldest go first.
pub(crate) const QUEUE: QueueLimits = QueueLimits { max_messages: 32_768, max_bytes: 16 * 1024 * 1024 };
/// Topic aliases of one connection. The library keeps each alias's whole topic and allows 65,535 of them by itself:
/// 4 GiB for one client.
const TOPIC_ALIASES: u16 = 16;

/// The library's configuration. Its listeners are ours (see `connection`), so it has no address to bind.
pub(crate) fn config(options: &Options) -> BrokerConfig {
    BrokerConfig {
        bind_addresses: Vec::new(),
        max_clients: options.max_connections,
        session_expiry_interval: SESSION_KEPT,
        max_packet_size: options.max_packet_bytes,
        topic_alias_maximum: TOPIC_ALIASES,
        // The rules leave a fixture four filters and six topics, so that neither needs a limit of its own, and the
        // library's own check walks every subscription of every client.
        max_subscriptions_per_client: 0,
        max_retained_messages: 0,
        // No filter with a share passes the rules; a 5.0 client is told so at once.
        shared_subscription_available: false,
        client_channel_capacity: WAITING_PER_CLIENT,
        max_outbound_inflight: IN_FLIGHT,
        drain_batch: BATCH,
        auth_config: AuthConfig {
            allow_anonymous: false,
            auth_method: AuthMethod::Password,
            rate_limit: RateLimitConfig { enabled: false, ..RateLimitConfig::default() },
            ..AuthConfig::default()
        },
        storage_config: StorageConfig {
            backend: StorageBackend::Memory,
            enable_persistence: true,
            max_queued_messages_per_client: QUEUE.max_messages,
            max_queued_bytes_per_client: QUEUE.max_bytes,
            ..StorageConfig::default()
        },
        sys_topics_enabled: false,
        ..BrokerConfig::default()
    }
}

/// The library's own counters, without limits: ours are counted from the moment a connection is accepted, its own only
/// after log-in.
pub(crate) fn monitor() -> ResourceMonitor {
    ResourceMonitor::new(ResourceLimits {
        max_connections: usize::MAX,
        max_connections_per_ip: usize::MAX,
        max_message_rate_per_client: 0,
        max_bandwidth_per_client: 0,
        max_connection_rate: u32::MAX,
        rate_limit_window: Duration::from_secs(1),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_unsafe_default_of_the_library_is_left() {
        let config = config(&Options::default());
        assert!(config.bind_addresses.is_empty(), "it would listen on every interface");
        assert!(!config.auth_config.allow_anonymous);
        assert_eq!(config.storage_config.backend, StorageBackend::Memory);
        assert_eq!(config.max_packet_size, 64 * 1024);
        assert!(!config.sys_topics_enabled);
        assert!(config.websocket_config.is_none() && config.bridges.is_empty());
        assert!(config.topic_alias_maximum <= 16);
        config.validate().unwrap();
    }
}
