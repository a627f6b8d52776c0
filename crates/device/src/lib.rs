//! What a fixture runs: the rules by which it takes messages, follows its agenda and asks again, and the pictures that it
//! shows.
//!
//! Integer arithmetic only, no allocation, no dependencies and no standard library, so that the same rules run in the
//! daemon's simulator and in a small controller. It never reads a clock, opens a socket or draws a random number:
//! times and randomness are arguments, and what is due next is told instead of waited for.
//!
//! Two times appear throughout. *Uptime* is milliseconds since the controller was powered, which every controller can
//! count. *Unix time* is what the daemon sends as `now_ms`; [`Clock`] turns the one into the other.
//!
//! ```
//! use device::{Firmware, Keeper, Taking};
//!
//! let mut keeper = Keeper::new(Firmware::Agenda);
//! assert!(keeper.boot_message_due());
//! keeper.boot_sent(0, 0);
//! assert_eq!(keeper.on_desired(42, 1_764_060_000_000, false), Taking::Take);
//! assert_eq!(keeper.on_desired(41, 1_764_060_001_000, false), Taking::Ignore);
//! assert_eq!(keeper.have(), 42);
//! ```
#![no_std]
#![deny(clippy::float_arithmetic, clippy::indexing_slicing, clippy::arithmetic_side_effects, clippy::as_conversions)]

mod agenda;
mod asking;
mod chip;
mod clock;
mod current;
mod firmware;
mod fixed;
mod keeper;
mod lanes;
mod layout;
mod look;
mod motif;
mod motion;
mod order;
mod output;
mod pause;
mod pixels;
mod player;

pub use agenda::{AGENDA_CHANGES, next_change, step, step_without_clock};
pub use chip::{Chip, Protocol};
pub use clock::Clock;
pub use current::{Currents, Drawn, Limiter, duty_sum};
pub use firmware::Firmware;
pub use keeper::{Keeper, PatchTaking, Taking};
pub use layout::{Layout, Run};
pub use look::{COLOURS_MAX, DARK, DeviceLook, Duty, render};
pub use motif::{Motif, MotifName, Toward};
pub use order::Order;
pub use output::{GLOBAL_MOST, Output};
pub use pause::Pause;
pub use pixels::Pixels;
pub use player::{Now, Player, Showing};
