//! What a fixture should show when: places, the timetable's pieces, overrides, showing and agenda.
//!
//! Everything here is a pure function of its arguments. This crate never reads the clock, the
//! machine's zone or the system's zone files: `now` is an argument and zones come from the database
//! bundled with `jiff`. Its callers hand it plain pieces (`&str`, `f64`) and get back a value that
//! cannot be wrong, or an [`AlmanacError`] whose text says what to write instead.
//!
//! ```
//! use almanac::{Because, Entry, Place, Plan, Scene, Timetable, showing};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let timetable = Timetable::new(vec![
//!     Entry::new("sunset".parse()?, "evening"),
//!     Entry::new("22:45".parse()?, "late"),
//! ])?;
//! let plan = Plan { timetable, ..Plan::default() };
//! let place = Place::new(52.37, 4.9, "Europe/Amsterdam")?;
//! let edited_at = "2026-11-25T09:00:00Z".parse()?;
//! let scene = Scene { plan: &plan, place: Some(&place), edited_at, running: &[] };
//! let then = showing(&scene, "2026-11-25T20:00:00Z".parse()?);
//! assert_eq!((then.look.as_str(), then.because, then.entry), ("evening", Because::Timetable, Some(0)));
//! assert_eq!(then.until, Some("2026-11-25T21:45:00Z".parse()?));
//! # Ok(())
//! # }
//! ```

mod agenda;
mod calendar;
mod course;
mod dark;
mod dates;
mod days;
mod error;
mod memory;
mod place;
mod plan;
mod scene;
mod shift;
mod showing;
mod solved;
mod start;
mod sun;
mod timetable;

pub use agenda::{Change, agenda, next_change, next_deadline, override_end};
pub use dark::dark_hours;
pub use dates::{Dates, MonthDay};
pub use days::Days;
pub use error::AlmanacError;
pub use place::Place;
pub use plan::{Need, Override, Plan, Until};
pub use scene::{Running, Scene};
pub use shift::Shift;
pub use showing::{Because, DARK, Showing, showing};
pub use start::{Start, SunEvent, wall_time};
pub use sun::{SunDay, sun_event};
pub use timetable::{ENTRIES_MAX, Entry, Timetable};
