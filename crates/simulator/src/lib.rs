//! Fixtures as real MQTT clients, with a power switch.
//!
//! Each [`Fixture`] is one simulated controller: a genuine MQTT 3.1.1 connection around the rules and the pictures of
//! the `device` crate. Cutting its power drops the socket without a goodbye and forgets everything, as a wall switch
//! does. It goes by its own [`Clock`], with or without anybody there, and tells the [`Frame`] that its [`Strip`] gets. A
//! [`Fleet`] is many of them, and [`heron_house`] is the invented house of the demo.
//!
//! It talks to whatever answers at the broker's address and knows nothing of the daemon behind it.

mod clock;
mod connection;
mod controller;
mod error;
mod fixture;
mod fleet;
mod following;
pub mod heron_house;
mod life;
mod messages;
mod options;
mod outbox;
mod picture;
mod randomness;
mod screen;
mod state;
mod strip;
mod topics;

pub use clock::{Clock, ManualClock};
pub use device::{Chip, Currents, DeviceLook, Firmware};
pub use error::SimulatorError;
pub use fixture::Fixture;
pub use fleet::Fleet;
pub use messages::BootReason;
pub use options::FixtureOptions;
pub use screen::Frame;
pub use state::FixtureState;
pub use strip::Strip;
