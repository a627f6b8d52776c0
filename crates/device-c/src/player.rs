//! Crossing from look to look.
#![allow(unsafe_code)]

use device::{Now, Player};

use crate::kept::{self, Kept};
use crate::look::look;
use crate::memory::{list_mut, place, read};
use crate::status::answer;
use crate::strip::{optional, output};
use crate::{SconcedLook, SconcedStatus, SconcedStrip};

/// Shows one look after another. Hold it, begin it, and do not look into it.
///
/// Two times appear below. `unix_ms` is Unix time in milliseconds, by which looks move; while no clock is set, any time
/// that goes on will do. `uptime_ms` is milliseconds since power-on, by which crossings go.
#[repr(C)]
#[derive(Debug)]
pub struct SconcedPlayer {
    /// What it holds.
    pub held: [u64; 24],
}

impl Kept for Player<'static> {
    type Room = SconcedPlayer;
    const TAG: u64 = 0x7363_6f6e_706c_6179;
}

/// A dark strip whose picture has `pixels` pixels.
///
/// `room` has 8 bytes for each of them, is written to, and belongs to the player as long as it is used.
/// Errors: POINTER; RANGE for more pixels than memory can hold.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_begin(
    player: *mut SconcedPlayer,
    room: *mut [u16; 4],
    pixels: usize,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks; the player is written to before the room is
        // touched, so that an error leaves it alone.
        unsafe { place(player)? };
        // SAFETY: as above; that the room outlives the player, and that nobody else uses it, is asked there too.
        let room = unsafe { list_mut(room, pixels)? };
        // SAFETY: as above.
        unsafe { kept::begin(player, Player::new(room)) }
    })
}

/// Begins to cross to a look over `fade_ms` milliseconds, from whatever shows. The look that shows already, or that is
/// being crossed to, changes nothing, so every message may be handed on.
///
/// Errors: POINTER; NOT_BEGUN; RANGE for the look.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_set(
    player: *mut SconcedPlayer,
    shown: *const SconcedLook,
    fade_ms: u32,
    unix_ms: u64,
    uptime_ms: u64,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (shown, player) = unsafe { (look(&read(shown)?)?, kept::exclusive::<Player<'static>>(player)?) };
        player.set(shown, fade_ms, Now { unix_ms, uptime_ms });
        Ok(())
    })
}

/// Whether what shows will change by itself from now on, into `*moves`: as long as it does not, one frame is enough.
///
/// Errors: POINTER; NOT_BEGUN.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_moves(
    player: *const SconcedPlayer,
    unix_ms: u64,
    uptime_ms: u64,
    moves: *mut bool,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (player, place) = unsafe { (kept::shared::<Player<'static>>(player)?, place(moves)?) };
        place.write(player.moves(Now { unix_ms, uptime_ms }));
        Ok(())
    })
}

/// What shows now: into `picture` goes for each of the player's pixels the linear duty of red, green, blue and white.
///
/// Errors: POINTER; NOT_BEGUN; SHORT when `count` is below the player's pixels.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_picture(
    player: *const SconcedPlayer,
    unix_ms: u64,
    uptime_ms: u64,
    picture: *mut [u16; 4],
    count: usize,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (player, picture) = unsafe { (kept::shared::<Player<'static>>(player)?, list_mut(picture, count)?) };
        let picture = picture.get_mut(..player.count()).ok_or(SconcedStatus::ErrorShort)?;
        for (place, pixel) in picture.iter_mut().zip(player.pixels(Now { unix_ms, uptime_ms })) {
            *place = pixel;
        }
        Ok(())
    })
}

/// Writes the frame of what shows now.
///
/// `first` is the pixel of the picture that the strip begins with: 0, but where several strips share one picture.
/// `out` has `length` bytes, at least those of `sconced_strip_bytes`; how many were written goes into `*written`, which
/// may be null. Errors: POINTER; NOT_BEGUN; RANGE for the strip, or when it needs more of the picture than there is;
/// SHORT.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_frame(
    player: *const SconcedPlayer,
    strip: *const SconcedStrip,
    first: usize,
    unix_ms: u64,
    uptime_ms: u64,
    out: *mut u8,
    length: usize,
    written: *mut usize,
) -> SconcedStatus {
    let now = Now { unix_ms, uptime_ms };
    // SAFETY: the caller's pointers are as the head of this crate asks.
    answer(|| unsafe { write(player, strip, first, now, None, out, length, written) })
}

/// `sconced_player_frame` with temporal dither: over four frames a channel has the mean that its duty asks for, in
/// quarters of an 8-bit step. `frame` counts the frames. Only where `sconced_dither_fits`.
///
/// Errors: as `sconced_player_frame`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_player_frame_dithered(
    player: *const SconcedPlayer,
    strip: *const SconcedStrip,
    first: usize,
    unix_ms: u64,
    uptime_ms: u64,
    frame: u32,
    out: *mut u8,
    length: usize,
    written: *mut usize,
) -> SconcedStatus {
    let now = Now { unix_ms, uptime_ms };
    // SAFETY: the caller's pointers are as the head of this crate asks.
    answer(|| unsafe { write(player, strip, first, now, Some(frame), out, length, written) })
}

/// # Safety
/// The pointers are as the head of this crate asks.
#[allow(clippy::too_many_arguments)]
unsafe fn write(
    player: *const SconcedPlayer,
    strip: *const SconcedStrip,
    first: usize,
    now: Now,
    dithered: Option<u32>,
    out: *mut u8,
    length: usize,
    written: *mut usize,
) -> Result<(), SconcedStatus> {
    // SAFETY: the caller's promise.
    let (output, player) = unsafe { (output(&read(strip)?)?, kept::shared::<Player<'static>>(player)?) };
    // SAFETY: the caller's promise; what is written to overlaps nothing else.
    let (out, written) = unsafe { (list_mut(out, length)?, optional(written)?) };
    if first.checked_add(output.layout().picture()).is_none_or(|end| end > player.count()) {
        return Err(SconcedStatus::ErrorRange);
    }
    let picture = player.pixels(now).skip(first);
    let bytes = match dithered {
        None => output.write(picture, out),
        Some(frame) => output.write_dithered(picture, frame, out),
    };
    let bytes = bytes.ok_or(SconcedStatus::ErrorShort)?;
    if let Some(written) = written {
        written.write(bytes);
    }
    Ok(())
}
