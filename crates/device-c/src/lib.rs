//! The C face of `device`: what a fixture's firmware in C calls, as a static library with a header.
//!
//! Nothing is allocated and nothing is kept between calls but in memory that the caller lends: plain structs, and
//! others that the caller holds without looking into them (`SconcedPlayer`, `SconcedKeeper` …), which a function named
//! `…_begin` makes ready.
//!
//! Every function answers with a [`SconcedStatus`]. A null or misaligned pointer, a buffer that is too short, a number
//! out of its range, a struct that was not begun and a message that cannot be read are answers, and nothing is written
//! then. What no function can find out is the caller's to keep:
//!
//! - A pointer that is not null points to as much memory as the function says, which nobody else writes meanwhile.
//! - What a function writes to overlaps nothing else that it is given.
//! - A struct to be held was zeroed or begun before any other function gets it.
//! - The room that a player was begun with stays where it is, and is left alone, as long as the player is used.
//!
//! `include/sconced_device.h` is the header. It is generated:
//! `UPDATE_HEADER=1 cargo test -p device-c --test face header`.
#![no_std]
#![deny(clippy::float_arithmetic, clippy::indexing_slicing, clippy::arithmetic_side_effects)]
// What is asked of the caller stands once, above and at the head of the header.
#![allow(clippy::missing_safety_doc)]

#[cfg(feature = "std")]
extern crate std;

mod agenda;
mod chip;
mod clock;
mod current;
mod keeper;
mod kept;
mod look;
mod memory;
mod message;
mod pause;
mod player;
mod showing;
mod status;
mod strip;

pub use agenda::{
    SCONCED_AGENDA_CHANGES, SconcedChange, sconced_agenda_next, sconced_agenda_step, sconced_agenda_step_without_clock,
};
pub use chip::{SconcedChip, sconced_chip_of};
pub use clock::{
    SconcedClock, sconced_clock_begin, sconced_clock_hear, sconced_clock_set, sconced_clock_unix_ms,
    sconced_clock_unix_seconds, sconced_clock_uptime_of,
};
pub use current::{
    SconcedCurrents, SconcedDrawn, SconcedLimiter, sconced_current, sconced_limit, sconced_limiter_begin,
    sconced_limiter_limit,
};
pub use keeper::{
    SconcedFirmware, SconcedKeeper, SconcedPatchTaking, SconcedTaking, sconced_keeper_ask_due, sconced_keeper_ask_sent,
    sconced_keeper_begin, sconced_keeper_boot_due, sconced_keeper_boot_lost, sconced_keeper_boot_sent,
    sconced_keeper_have, sconced_keeper_is_waiting, sconced_keeper_never_given, sconced_keeper_next_ask,
    sconced_keeper_on_desired, sconced_keeper_on_patch, sconced_keeper_on_showing, sconced_keeper_reconnected,
};
pub use look::{
    SCONCED_COLOURS_MAX, SconcedLook, SconcedMotif, SconcedToward, sconced_look_dark, sconced_look_picture,
};
pub use pause::{SconcedPause, sconced_pause_begin, sconced_pause_next, sconced_pause_reset};
pub use player::{
    SconcedPlayer, sconced_player_begin, sconced_player_frame, sconced_player_frame_dithered, sconced_player_moves,
    sconced_player_picture, sconced_player_set,
};
pub use showing::{
    SCONCED_NAME_BYTES, SconcedBecause, SconcedShowing, sconced_problem_is_never_given, sconced_showing_read,
};
pub use status::SconcedStatus;
pub use strip::{
    SconcedStrip, sconced_dither_fits, sconced_frame, sconced_strip_begin, sconced_strip_bytes, sconced_strip_pixels,
};

/// What a controller without a standard library does when the firmware's Rust part cannot go on: it waits for the
/// watchdog.
#[cfg(all(not(feature = "std"), not(test)))]
#[panic_handler]
fn wait_for_the_watchdog(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
