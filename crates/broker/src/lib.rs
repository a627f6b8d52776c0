//! The embedded MQTT broker, its topic rules, and the files for an external one.
//!
//! [`Embedded`] runs a broker for MQTT 3.1.1 and 5.0 inside the daemon. [`Prefix`], [`Up`] and [`Down`] name its
//! topics, [`may_publish`] and [`may_subscribe`] are the whole of what a client may do with them, and [`external`]
//! writes the same rules as files for a broker that runs on its own.
//!
//! This crate knows no document, no fixture record and no database. It never decides who is enrolled: it asks
//! [`Credentials`]. It never stores anything on disk for the embedded broker: the daemon publishes retained state
//! anew at start.

mod addresses;
mod attempts;
mod connection;
mod detour;
mod embedded;
mod error;
pub mod external;
mod external_files;
mod frames;
mod gate;
mod options;
mod registry;
mod retained;
mod rules;
mod sessions;
mod settings;
mod topics;

pub use embedded::{DAEMON_CLIENT_ID, DAEMON_USERNAME, Embedded};
pub use error::BrokerError;
pub use options::{Action, Credentials, Options, Refusal};
pub use rules::{Who, may_publish, may_subscribe};
pub use topics::{Down, Prefix, Up, is_fixture_id};
