//! Crossing from one look to the next, and how often looks may change.
//!
//! Nothing may flash more than three times in a second (WCAG 2.3.1), whatever comes by messages. A look alone keeps that
//! by its least period. Where looks change:
//!
//! 1. A crossing starts from the very picture that shows, also in the middle of another crossing: that picture is kept
//!    and held still. So there is never a jump but one that was asked for by a fade of 0.
//! 2. A crossing of up to [`Player::STILL_MS`] goes to a still picture too, that which the new look shows
//!    [`Player::REST_MS`] after the crossing's end; from then on the look moves. Between two still pictures each pixel only
//!    rises or only falls. In a longer crossing the new look moves from the start, since it comes in slowly.
//! 3. A change that comes within a second of the start of the last crossing waits until [`Player::REST_MS`] have passed
//!    with the picture held still. Of several in that time the last one counts.
//!
//! Why that is enough, counting the turns of a pixel's luminance, of which seven are three flashes: a moving look turns it
//! at most twice in 400 ms, so six times in a second; a crossing is one turn more. Around a crossing that is followed by
//! its rest of 400 ms there are at most 600 ms of movement left in a second, in two parts of at most three turns each.
//! Another crossing in that second has rests on both sides, which take away more turns than it brings.

use core::iter::Zip;
use core::slice::Iter;

use crate::fixed::{ONE, ease, low32};
use crate::lanes::mixed;
use crate::look::{DeviceLook, Duty};
use crate::pixels::Pixels;

/// An instant, by both of a controller's times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// Unix time in milliseconds, by which looks move; [`Clock::unix_ms`](crate::Clock::unix_ms).
    pub unix_ms: u64,
    /// Milliseconds since power-on, by which crossings go: setting the clock does not disturb them.
    pub uptime_ms: u64,
}

/// Shows one look after another on a strip.
///
/// The picture that a crossing starts from needs 8 bytes a pixel, which the caller lends; nothing is allocated.
///
/// ```
/// use device::{DeviceLook, Motif, Now, Player};
///
/// let mut room = [[0; 4]; 144];
/// let mut player = Player::new(&mut room);
/// let amber = DeviceLook::new(&[[65_535, 34_000, 0, 0]], [0, 65_535], Motif::STEADY);
/// player.set(amber, 2_000, Now { unix_ms: 1_764_060_000_000, uptime_ms: 5_000 });
/// let half = Now { unix_ms: 1_764_060_001_000, uptime_ms: 6_000 };
/// assert_eq!(player.pixels(half).next(), Some([32_768, 17_000, 0, 0]));
/// ```
#[derive(Debug)]
pub struct Player<'a> {
    picture: &'a mut [Duty],
    look: DeviceLook,
    crossing: Option<Crossing>,
}

#[derive(Debug, Clone, Copy)]
struct Crossing {
    /// The uptime at which the picture begins to change.
    begins: u64,
    fade_ms: u32,
}

impl<'a> Player<'a> {
    /// How long a picture is held still around quick changes, in milliseconds: the shortest period of a motif.
    pub const REST_MS: u64 = 400;
    /// The longest crossing that goes to a still picture, in milliseconds.
    pub const STILL_MS: u32 = 3_000;
    /// How long after the start of a crossing the next one may start without a rest, in milliseconds.
    pub const CALM_MS: u64 = 1_000;

    /// A dark strip of as many pixels as the room that is lent.
    #[must_use]
    pub fn new(room: &'a mut [Duty]) -> Self {
        room.fill([0; 4]);
        Self { picture: room, look: DeviceLook::dark(), crossing: None }
    }

    /// The look that shows, or that is being crossed to.
    #[must_use]
    pub const fn look(&self) -> &DeviceLook {
        &self.look
    }

    /// How many pixels the strip has.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.picture.len()
    }

    /// Begins to cross to `look` over `fade_ms` milliseconds, from whatever shows. The look that shows already, or that
    /// is being crossed to, changes nothing: a message that comes twice starts nothing anew.
    pub fn set(&mut self, look: DeviceLook, fade_ms: u32, now: Now) {
        if look == self.look {
            return;
        }
        let mut begins = now.uptime_ms;
        if let Some(last) = self.crossing {
            if now.uptime_ms < last.begins {
                // Still at rest: the picture is kept already.
                self.look = look;
                self.crossing = Some(Crossing { begins: last.begins, fade_ms });
                return;
            }
            if now.uptime_ms.saturating_sub(last.begins) < Self::CALM_MS {
                begins = begins.saturating_add(Self::REST_MS);
            }
        }
        let (weight, unix_ms) = self.course(now);
        let pixels = self.look.pixels(unix_ms, self.picture.len());
        for (kept, pixel) in self.picture.iter_mut().zip(pixels) {
            *kept = mixed(*kept, pixel, weight);
        }
        self.look = look;
        self.crossing = Some(Crossing { begins, fade_ms });
    }

    /// What shows at `now`, first pixel to last.
    #[must_use]
    pub fn pixels(&self, now: Now) -> Showing<'_> {
        let (weight, unix_ms) = self.course(now);
        Showing { pairs: self.picture.iter().zip(self.look.pixels(unix_ms, self.picture.len())), weight }
    }

    /// Whether what shows will change by itself after `now`, by a crossing or a motif: as long as it does not, one frame
    /// is as good as many.
    #[must_use]
    pub fn moves(&self, now: Now) -> bool {
        let crossing = self.crossing.is_some_and(|crossing| now.uptime_ms < crossing.ends());
        crossing || self.look.motif().name != crate::MotifName::Steady
    }

    /// How much of the new look shows, and the Unix time of what shows of it.
    fn course(&self, now: Now) -> (u32, u64) {
        let Some(crossing) = self.crossing else { return (ONE, now.unix_ms) };
        let weight = crossing.weight(now.uptime_ms);
        let moves_at = crossing.ends().saturating_add(Self::REST_MS);
        if crossing.fade_ms <= Self::STILL_MS && now.uptime_ms < moves_at {
            return (weight, now.unix_ms.saturating_add(moves_at.saturating_sub(now.uptime_ms)));
        }
        (weight, now.unix_ms)
    }
}

impl Crossing {
    fn ends(&self) -> u64 {
        self.begins.saturating_add(u64::from(self.fade_ms))
    }

    /// 0 before it begins, [`ONE`] from its end on, eased between.
    fn weight(&self, uptime_ms: u64) -> u32 {
        if uptime_ms >= self.ends() && uptime_ms >= self.begins {
            return ONE;
        }
        // Below `fade_ms`, which has 32 bits.
        let gone = uptime_ms.saturating_sub(self.begins);
        ease(low32((gone << 16).checked_div(u64::from(self.fade_ms)).unwrap_or(0)))
    }
}

/// The pixels that a [`Player`] shows at an instant.
#[derive(Debug, Clone)]
pub struct Showing<'a> {
    pairs: Zip<Iter<'a, Duty>, Pixels>,
    weight: u32,
}

impl Iterator for Showing<'_> {
    type Item = Duty;

    #[inline]
    fn next(&mut self) -> Option<Duty> {
        let (from, to) = self.pairs.next()?;
        Some(if self.weight >= ONE { to } else { mixed(*from, to, self.weight) })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.pairs.size_hint()
    }
}

impl ExactSizeIterator for Showing<'_> {}
