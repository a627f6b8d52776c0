//! Links: one fixture's event makes others show a look for a while.
//!
//! A pure state machine: events, boots and ticks go in with the time they came at, effects come out, and what has to
//! happen later is said as a deadline ([`Links::next_deadline`]). It reads no clock, holds no lock and starts nothing.
//! Everything it must know of the house (who is in a group, what a target is, whether a window is open) is asked
//! through [`House`] at the moment it is needed, so that nothing here can be out of date.
//!
//! # The rules
//! - **Confirmation** is a fact about a sensor: a link begins when its sensor has been counted `pulses` times in
//!   `within` seconds. A *walkway* (a target whose document has a `floor`) is not made to wait for it: the first pulse
//!   raises it for a short time ([`RAISE_AT_LEAST`] or `within`), and confirmation draws that out to `run_on`.
//! - **Window**: an event outside `between` does nothing at all, it neither begins nor extends. A run that began inside
//!   is not cut off when the window ends: it ends `run_on` after the last event that came inside.
//! - **Run-on**: a confirmed run ends `run_on` after the last counted event; one pulse is enough to extend it.
//! - **Dead time** begins with the end of a confirmed run; until it is over nothing begins there by that link. A raise
//!   that nothing confirmed leaves none, or a false pulse would leave the next guest in the dark.
//! - **Storm guard**: a sensor counted more than [`STORM`] times within [`STORM_SPAN`] is in a storm, until a span of
//!   that length holds at most half as many. While it lasts, a walkway that runs is held on and every other target of
//!   that sensor is muted: what runs there runs out. Other sensors of the same link are not touched.
//! - **Counting**: an event with the number of the last one is a duplicate, one with a lower number came out of order;
//!   neither counts. After a boot any number is taken, but for what was counted in the minute before it, which a broker
//!   may deliver again; a counter that starts anew at 0 or 1 and goes on by ones is always taken.
//! - **Several links on one target**: the later one wins, the earlier comes back if it still runs
//!   ([`Links::running_on`]).
//! - **A clock that is set back** sets back everything that runs by the same, so that nothing runs longer by it. One
//!   that was set back while the daemon was stopped is noticed only where a run would begin in the future: then it runs
//!   no longer than if it had just been extended.
//!
//! # Why no loop can form
//! The only thing that begins a run is a message of a fixture's sensor ([`Links::event`]). What a link makes a target
//! show is never an event, so a link cannot set off another, nor itself, however they are drawn. What is left is the
//! loop through the room: a light whose warmth or glare its own sensor sees. Dead time, confirmation and the storm
//! guard bound that one.
//!
//! # What is not done
//! Small motion sensors may report up to three times while they settle in the first minute after power-up (a seller's
//! page; that the first 30 to 60 seconds are to be ignored is common practice without a source). Those reports are not
//! ignored here: after a power cut at night a light too many for a minute is better than stairs in the dark.

mod effect;
mod link;
mod machine;
mod reader;
mod replay;
mod restart;
mod run;
mod sensor;
mod window;

use jiff::{SignedDuration, Timestamp};

pub use effect::{Effect, Heard, Outcome, Verdict};
pub use link::{Confirm, Link, LinkId, LinkIdFault, LinkLook, Names, Party};
pub use machine::{House, Links, Target};
pub use replay::{Firing, Happened, Happening, Replay, replay};
pub use restart::Remembered;
pub use run::{Run, RunningLook, Stage};
pub use window::{Edge, Window};

/// To be shown wherever links are set up.
pub const CAUTION: &str = "Links are for decoration and comfort. They are not emergency lighting: they depend on a \
    sensor, a radio network, a broker and this program, and any of these may fail. Where people must find their way \
    out, have emergency lighting installed that stands alone, as local codes ask for.";

/// More counted events than this within [`STORM_SPAN`] are a storm.
///
/// A small motion sensor holds its output for about 2 seconds and is then blocked for 2 to 3 (sellers' and makers'
/// pages, in `tests/check-values/pir-facts.csv`), so one that works reports every 4 to 5 seconds at most: twelve to
/// fifteen a minute, and only while someone moves without a pause. One that is set to go on with its output while
/// someone moves, as most modules are delivered, reports far more rarely. Above twelve a sensor chatters, or is busier
/// than a light should follow. The figure is derived from those ranges; no standard names one.
pub const STORM: usize = 12;

/// The span in which [`STORM`] is counted, and for which a storm must have calmed before the guard lets go.
pub const STORM_SPAN: SignedDuration = SignedDuration::from_secs(60);

/// The least time for which a first pulse raises a walkway, but never longer than `run_on`: as long as a usual motion
/// sensor needs until it can report again (about 2 seconds of output and 2 to 3 of blocking), so that someone who walks
/// on does not stand in the dark between two reports.
pub const RAISE_AT_LEAST: SignedDuration = SignedDuration::from_secs(5);

/// An instant so much later (earlier when negative), at the end of time when there is none.
fn later(at: Timestamp, by: SignedDuration) -> Timestamp {
    at.checked_add(by).unwrap_or(if by.is_negative() { Timestamp::MIN } else { Timestamp::MAX })
}
