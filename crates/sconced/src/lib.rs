//! The program itself: configuration, command line, life cycle, and the wiring of all other crates.
//!
//! It holds no rule of the trade: those are in the kernel and behind the service.

pub mod arguments;
pub mod client;
pub mod commands;
pub mod config;
pub mod daemon;
pub mod demo;
pub mod error;
pub mod output;
pub mod whereabouts;
