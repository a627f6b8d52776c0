//! Links: documents, daily life, laws over random streams of events, restarts and the dry run.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod daily;
mod documents;
mod laws;
mod restarts;
mod rig;
mod streams;
mod windows;
