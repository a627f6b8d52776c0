//! Tests of `document` from the outside: standards, bounds, hostile text, laws.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

mod bounds;
mod hostile;
mod laws;
mod patches;
mod published;
mod values;
