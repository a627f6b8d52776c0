//! What a fixture should show when: places, the timetable's pieces, overrides, showing and agenda.
//!
//! Everything here is a pure function of its arguments. This crate never reads the clock, the
//! machine's zone or the system's zone files: `now` is an argument and zones come from the database
//! bundled with `jiff`. Its callers hand it plain pieces (`&str`, `f64`) and get back a value that
//! cannot be wrong, or an [`AlmanacError`] whose text says what to write instead.
//!
//! ```
//! use almanac::{Because, Override, Plan, Until, showing};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let plan = Plan {
//!     default: Some("evening".into()),
//!     owners_override: Some(Override { look: "greet".into(), until:
//! "2026-11-25T22:00:00Z".parse()? }),
//!     ..Plan::default()
//! };
//! let edited_at = "2026-11-25T20:00:00Z".parse()?;
//! let now = showing(&plan, edited_at, "2026-11-25T21:59:59Z".parse()?);
//! assert_eq!((now.look.as_str(), now.because), ("greet", Because::Override));
//! let then = showing(&plan, edited_at, "2026-11-25T22:00:00Z".parse()?);
//! assert_eq!((then.look.as_str(), then.because), ("evening", Because::Default));
//! # Ok(())
//! # }
//! ```

mod agenda;
mod dates;
mod days;
mod error;
mod place;
mod plan;
mod shift;
mod showing;
mod start;
mod timetable;

pub use agenda::{Change, agenda, next_deadline};
pub use dates::{Dates, MonthDay};
pub use days::Days;
pub use error::AlmanacError;
pub use place::Place;
pub use plan::{Override, Plan, Until};
pub use shift::Shift;
pub use showing::{Because, DARK, Showing, showing};
pub use start::{Start, SunEvent, wall_time};
pub use timetable::{ENTRIES_MAX, Entry, Timetable};
