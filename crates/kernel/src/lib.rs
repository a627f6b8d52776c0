//! The rules of the house: a command goes in, a change or a rejection comes out.
//!
//! Everything here is synchronous and pure: the time is an argument, nothing is read from a disk, a socket or a
//! clock, and nothing is started. What has to happen later is said as a deadline ([`Fixture::timing`]).
//! This crate knows no database, no HTTP and no MQTT, and never will.

mod actor;
mod change;
mod command;
mod decide;
mod edit;
mod fixture;
mod hear;
mod kind;
pub mod links;
mod message;
mod name;
mod outlook;
mod placing;
mod record;
mod rejection;
mod rules;
mod standing;
mod strip;

pub use actor::{Actor, Way};
pub use change::{Answer, Decision, Entry, Noted, Publish};
pub use command::{Command, Edit, Precondition};
pub use decide::decide;
pub use fixture::{Boot, Fixture, FixtureKey, Held, Life, Paper, SecretHash, Timing};
pub use hear::without_null_until;
pub use kind::{Kind, KindError, Kinds};
pub use light::Compiled;
pub use message::{BootReason, Message, MessageFault};
pub use name::{FixtureId, GroupName, KindName, NameError};
pub use outlook::{Outlook, ShownLook};
pub use record::Record;
pub use rejection::{Advice, Finding, Rejection};
pub use rules::Rules;
pub use standing::Standing;
pub use strip::Strip;
