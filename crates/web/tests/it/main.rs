//! The router with a real house behind it, in a folder of its own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod access;
mod agenda;
mod backups_and_tokens;
mod conditions;
mod described;
mod documents;
mod fixtures;
mod history;
mod hostile;
mod house;
mod light;
mod manners;
mod once;
mod page;
mod server;
mod sun;
