//! The C face as C sees it: its header, and programs in C that are compiled against it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stderr, unsafe_code)]

mod compiler;
mod controller;
mod header;
mod messages;
mod programs;
mod vectors;
