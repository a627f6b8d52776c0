//! Checks of the crate from outside: what is read and refused, and the laws of showing and agenda.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod laws;
mod pieces;
mod showings;
mod starts;
