//! The embedded broker held against real clients, raw bytes and Debian's mosquitto.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod access;
mod client_ids;
mod clients;
mod hostile;
mod life;
mod limits;
mod mosquitto;
mod raw;
mod retained;
mod retained_many;
mod sessions;
mod version_five;
mod websocket;
mod withdrawal;
