//! The daemon as an ordinary client of the broker: what was committed goes out to topics, what fixtures say becomes
//! commands through the one front door.
//!
//! One connection is one `Connection`: its client, its tasks and what is in flight live and die
//! together, so that nothing of an old connection can be acknowledged on a new one. What must outlast a connection is
//! in the database's outbox or in `Shared`. This crate knows no HTTP and no SQL.

mod answer;
mod connection;
mod flight;
mod handler;
mod line;
mod options;
mod payload;
mod problem;
mod publisher;
mod resend;
mod run;
mod shared;
mod topics;

pub use options::{Options, Refused};
pub use payload::{Circumstances, SHOWING_MAX, beacon_message, desired_message, patch_message, showing_message};
pub use run::run;
