//! Checks of the crate from outside: standards' tables, refusals and laws.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod colours;
mod dim;
mod looks;
mod on_device;
mod tables;
mod white;
