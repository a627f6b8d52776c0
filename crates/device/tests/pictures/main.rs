//! Pictures, crossings, bytes and current, as laws over any look and as the single cases of the contract.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod any;
mod bytes;
mod chips;
mod crossings;
mod current;
mod flashes;
mod motifs;
mod vectors;
