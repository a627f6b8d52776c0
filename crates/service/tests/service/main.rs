//! The front door upon real files, with a clock that the tests set.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod doors;
mod enrolments;
mod kinds;
mod reads;
mod rig;
mod scheduler;
mod timetables;
mod undo;
