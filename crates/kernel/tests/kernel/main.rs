//! The rules of the house, asked the way the store asks them: command after command upon one fixture.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod bounds;
mod edits;
mod hearing;
mod laws;
mod noise;
mod overrides;
mod records;
mod rig;
mod standings;
mod times;
mod wishes;
