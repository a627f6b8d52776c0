//! What light is to a fixture: colour, dimming and looks, compiled to the integers that a
//! controller shows.
//!
//! Everything here is a pure function of its arguments. This crate never reads a clock, a file or a
//! JSON tree: its callers hand it plain pieces (`&str`, `f64`, `i64`) and get back a value that
//! cannot be wrong, or a [`LightError`] whose text says what to write instead.
//!
//! ```
//! use light::{Colour, Intensity, Look, Motif, MotifName, Palette, Seconds};
//!
//! # fn main() -> Result<(), light::LightError> {
//! let motif = Motif { seconds: Seconds::new(1.5)?, ..Motif::new(MotifName::Unroll) };
//! let look = Look::builder()
//!     .palette(Palette::colours(vec!["wheat".parse::<Colour>()?, "gold".parse()?])?)
//!     .intensity(Intensity::new(60.0)?)
//!     .motif(motif)
//!     .build()?;
//! assert_eq!(look.compile().channels.len(), 2);
//! # Ok(())
//! # }
//! ```

pub mod budget;
mod colour;
mod compiled;
mod dim;
mod dimming;
mod error;
mod fewer;
mod kelvin;
mod look;
mod motif;
mod observer;
mod on_device;
mod quantity;
mod white;

pub use colour::Colour;
pub use compiled::{Compiled, CompiledMotif};
pub use dim::{Emitter, HUE_ERROR_MOST, STEPS_LEAST, Usable, dim_advice, hue_error, lowest_usable_intensity};
pub use dimming::{intensity_of_luminance, luminance_of_intensity};
pub use error::LightError;
pub use kelvin::{KELVIN_MAX, KELVIN_MIN, kelvin_linear};
pub use look::{COLOURS_MAX, Look, LookBuilder, Palette};
pub use motif::{Motif, MotifName, Toward};
pub use on_device::{FLOOR_KELVIN, LookDuty, floor_beneath, floor_duty, look_duty};
pub use quantity::{Fade, Fraction, Intensity, Seconds, Span};
pub use white::WhiteLed;
