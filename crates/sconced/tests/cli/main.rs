//! The real program: its ready line, exit codes, signals, and what its commands print.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod agenda;
mod commands;
mod demo;
mod external;
mod life;
mod program;
mod upkeep;
mod words;
