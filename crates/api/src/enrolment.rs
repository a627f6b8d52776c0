//! Enrolment: what a controller's firmware is set up with.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Where the broker listens.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BrokerAddress {
    /// Name or address.
    #[schema(example = "192.168.1.10")]
    pub host: String,
    /// TCP port.
    #[schema(example = 1883)]
    pub port: u16,
    /// Both as a URL.
    #[schema(example = "mqtt://192.168.1.10:1883")]
    pub url: String,
}

/// The packet buffer that firmware needs, in bytes. Client libraries for small controllers drop what is larger without
/// a word.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct BufferBytes {
    /// For firmware that subscribes to `showing` alone.
    #[schema(example = 512)]
    pub showing: u32,
    /// For firmware that keeps the whole `desired` document with its agenda.
    #[schema(example = 13312)]
    pub desired: u32,
}

/// The topics of a fixture.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Topics {
    /// The fixture publishes: its controller has started.
    #[schema(example = "fixtures/hall/boot")]
    pub boot: String,
    /// The fixture publishes: send me the whole again.
    #[schema(example = "fixtures/hall/ask")]
    pub ask: String,
    /// The fixture publishes: what it has applied.
    #[schema(example = "fixtures/hall/reported")]
    pub reported: String,
    /// The fixture publishes: a sensor has seen something.
    #[schema(example = "fixtures/hall/event")]
    pub event: String,
    /// The fixture publishes: someone pressed its button.
    #[schema(example = "fixtures/hall/wish")]
    pub wish: String,
    /// The fixture publishes, retained and as its last will: whether it is there.
    #[schema(example = "fixtures/hall/alive")]
    pub alive: String,
    /// The fixture subscribes: the whole document with its agenda.
    #[schema(example = "fixtures/hall/desired")]
    pub desired: String,
    /// The fixture subscribes: a merge patch from one revision to the next.
    #[schema(example = "fixtures/hall/patch")]
    pub patch: String,
    /// The fixture subscribes: what to show now, everything resolved.
    #[schema(example = "fixtures/hall/showing")]
    pub showing: String,
    /// The fixture subscribes: what was wrong with its last message.
    #[schema(example = "fixtures/hall/problem")]
    pub problem: String,
}

/// What a controller is set up with. The secret is shown this once and kept as a hash only.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Enrolment {
    /// The fixture.
    #[schema(example = "hall")]
    pub fixture: String,
    /// The MQTT user name.
    #[schema(example = "hall")]
    pub username: String,
    /// The MQTT password: 43 characters of the URL-safe base64 alphabet.
    #[schema(example = "an-example-that-opens-nothing-0123456789abc")]
    pub secret: String,
    /// The MQTT client identifier.
    #[schema(example = "hall")]
    pub client_id: String,
    /// The broker.
    pub broker: BrokerAddress,
    /// The first level of all topics.
    #[schema(example = "fixtures")]
    pub prefix: String,
    /// The packet buffer that its firmware needs.
    pub buffer_bytes: BufferBytes,
    /// Its topics.
    pub topics: Topics,
    /// When the broker takes the new secret and ends the old one with its connection: at once with the broker inside
    /// the daemon, with another one when it has read its files again or was told by hand.
    #[schema(example = "at once: the secret before it has ended, and so has the connection open under it")]
    pub takes_effect: String,
}
