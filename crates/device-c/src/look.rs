//! A look in integers, as a plain struct.
#![allow(unsafe_code)]

use device::{COLOURS_MAX, DeviceLook, Motif, MotifName, Toward};

use crate::SconcedStatus;
use crate::memory::{list_mut, place, read};
use crate::status::answer;

/// The most colours that a look has.
pub const SCONCED_COLOURS_MAX: usize = 8;
const _: () = assert!(SCONCED_COLOURS_MAX == COLOURS_MAX, "the header says another number");

/// How light moves over a strip.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedMotif {
    /// Nothing moves.
    Steady = 0,
    /// The whole rises and falls.
    Swell = 1,
    /// A lit stretch moves along.
    Travel = 2,
    /// It lights up from one end, then goes dark from the same end.
    Unroll = 3,
    /// Restless like embers.
    Hearth = 4,
    /// Single points flash up.
    Glint = 5,
    /// The colour drifts through its list.
    Wander = 6,
}

/// Which end of the strip a motif moves to.
#[repr(u8)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SconcedToward {
    /// Away from the first pixel.
    End = 0,
    /// To the first pixel.
    Start = 1,
}

/// A look. One that is all zeros but for `colour_count` 1 is dark.
#[repr(C)]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SconcedLook {
    /// For each colour the linear duty of red, green, blue and white, 0 to 65535, intensity applied. White says nothing
    /// on a chip without it.
    pub colours: [[u16; 4]; SCONCED_COLOURS_MAX],
    /// How many colours there are, 1 to 8.
    pub colour_count: u8,
    /// One of SconcedMotif.
    pub motif: u8,
    /// One of SconcedToward.
    pub toward: u8,
    /// The lit part of the length, 0 to 65535; written backwards it is turned round.
    pub span: [u16; 2],
    /// After how many milliseconds a motif is as before. One that is too short to be shown without flashing more than
    /// three times a second is shown at the shortest that is not.
    pub period_ms: u32,
    /// The motif's width, 0 to 65535.
    pub width: u16,
    /// The motif's softness, 0 (hard) to 65535 (soft).
    pub softness: u16,
    /// What sets apart two fixtures that would otherwise move alike.
    pub seed: u16,
    /// The least duty of every pixel, in or out of the span.
    pub floor: [u16; 4],
}

const MOTIFS: [(SconcedMotif, MotifName); 7] = [
    (SconcedMotif::Steady, MotifName::Steady),
    (SconcedMotif::Swell, MotifName::Swell),
    (SconcedMotif::Travel, MotifName::Travel),
    (SconcedMotif::Unroll, MotifName::Unroll),
    (SconcedMotif::Hearth, MotifName::Hearth),
    (SconcedMotif::Glint, MotifName::Glint),
    (SconcedMotif::Wander, MotifName::Wander),
];

/// The number of a motif.
pub(crate) fn number_of(name: MotifName) -> u8 {
    MOTIFS.iter().find(|(_, motif)| *motif == name).map_or(SconcedMotif::Steady as u8, |(number, _)| *number as u8)
}

/// The look as `device` knows it.
pub(crate) fn look(look: &SconcedLook) -> Result<DeviceLook, SconcedStatus> {
    let colours = look.colours.get(..usize::from(look.colour_count)).ok_or(SconcedStatus::ErrorRange)?;
    let named = MOTIFS.iter().find(|(number, _)| *number as u8 == look.motif);
    let (false, Some((_, name))) = (colours.is_empty(), named) else { return Err(SconcedStatus::ErrorRange) };
    let toward = match look.toward {
        number if number == SconcedToward::End as u8 => Toward::End,
        number if number == SconcedToward::Start as u8 => Toward::Start,
        _ => return Err(SconcedStatus::ErrorRange),
    };
    let motif = Motif {
        name: *name,
        period_ms: look.period_ms,
        width: look.width,
        softness: look.softness,
        toward,
        seed: look.seed,
    };
    Ok(DeviceLook::new(colours, look.span, motif).with_floor(look.floor))
}

/// A look as the plain struct.
pub(crate) fn plain(colours: &[[u16; 4]], span: [u16; 2], motif: Motif) -> SconcedLook {
    let mut kept = [[0; 4]; SCONCED_COLOURS_MAX];
    let mut colour_count = 0_u8;
    for (kept, colour) in kept.iter_mut().zip(colours) {
        *kept = *colour;
        colour_count = colour_count.saturating_add(1);
    }
    SconcedLook {
        colours: kept,
        colour_count: colour_count.max(1),
        motif: number_of(motif.name),
        toward: match motif.toward {
            Toward::End => SconcedToward::End as u8,
            Toward::Start => SconcedToward::Start as u8,
        },
        span,
        period_ms: motif.period_ms,
        width: motif.width,
        softness: motif.softness,
        seed: motif.seed,
        floor: [0; 4],
    }
}

/// Nothing lit, over the whole length and without a motif: a beginning for a look of one's own.
///
/// Error: POINTER.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_look_dark(look: *mut SconcedLook) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointer is as the head of this crate asks.
        unsafe { place(look)? }.write(plain(&[[0; 4]], [0, u16::MAX], Motif::STEADY));
        Ok(())
    })
}

/// The pixels of a look at Unix time `unix_ms` (milliseconds) on a strip of `count`: into `picture` goes for each the
/// linear duty of red, green, blue and white.
///
/// Errors: POINTER; RANGE for the look.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn sconced_look_picture(
    shown: *const SconcedLook,
    unix_ms: u64,
    picture: *mut [u16; 4],
    count: usize,
) -> SconcedStatus {
    answer(|| {
        // SAFETY: the caller's pointers are as the head of this crate asks.
        let (shown, picture) = unsafe { (look(&read(shown)?)?, list_mut(picture, count)?) };
        device::render(&shown, unix_ms, picture);
        Ok(())
    })
}
