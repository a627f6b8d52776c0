//! A house in a box, for tests: the real daemon as its own process on free ports with its own folder, the real broker
//! beside it where one is wanted, and fixtures and owners as real MQTT and HTTP clients. Where a test has to set the
//! house's clock, [`House`] is the same house without the process around it.
//!
//! Everything here panics when a test cannot go on, and says why. Nothing here waits for a time: it waits for a
//! condition, and gives up only after [`PATIENCE`], which is there so that a broken test ends.

mod daemon;
mod firmware;
mod free;
mod house;
mod http;
mod mosquitto;
mod wait;

pub use daemon::{Daemon, DaemonOptions};
pub use firmware::{Firmware, Heard, Login};
pub use free::{free_port, missing};
pub use house::House;
pub use http::{Answer, Http};
pub use mosquitto::Mosquitto;
pub use wait::{PATIENCE, eventually};
