//! A look in integers: all that a device needs to show it.

use crate::Motif;
use crate::pixels::{Pixels, above};

/// The linear duty, 0 to 65535, of red, green, blue and white; white stays 0 on a strip that has none.
pub type Duty = [u16; 4];

/// Nothing lit.
pub const DARK: Duty = [0; 4];

/// The most colours that a look has.
pub const COLOURS_MAX: usize = 8;

/// A look in the device's integers. It cannot be wrong: whatever it is made of is brought within its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeviceLook {
    colours: [Duty; COLOURS_MAX],
    count: usize,
    span: [u16; 2],
    motif: Motif,
    floor: Duty,
}

impl DeviceLook {
    /// A look of 1 to 8 colours, intensity applied, over a `span` of the length (0 to 65535).
    ///
    /// What a message should not have said is mended so that something sensible shows: no colour is dark, a ninth is
    /// left out, a span written backwards is turned round, and a motif's period is at least
    /// [`MotifName::least_period_ms`](crate::MotifName::least_period_ms).
    #[must_use]
    pub fn new(colours: &[Duty], span: [u16; 2], motif: Motif) -> Self {
        let mut kept = [DARK; COLOURS_MAX];
        for (kept, colour) in kept.iter_mut().zip(colours) {
            *kept = *colour;
        }
        let count = colours.len().clamp(1, COLOURS_MAX);
        let [from, to] = span;
        let period_ms = motif.period_ms.max(motif.name.least_period_ms(count));
        Self {
            colours: kept,
            count,
            span: [from.min(to), from.max(to)],
            motif: Motif { period_ms, ..motif },
            floor: DARK,
        }
    }

    /// The built-in look `dark`.
    #[must_use]
    pub fn dark() -> Self {
        Self::new(&[], [0, u16::MAX], Motif::STEADY)
    }

    /// The same look above a floor: no channel of any pixel, within the span or without, goes below it.
    #[must_use]
    pub const fn with_floor(self, floor: Duty) -> Self {
        Self { floor, ..self }
    }

    /// Its colours, at least one.
    pub fn colours(&self) -> impl ExactSizeIterator<Item = Duty> + '_ {
        self.colours.iter().take(self.count).copied()
    }

    /// The lit part of the length; the first is not above the second.
    #[must_use]
    pub const fn span(&self) -> [u16; 2] {
        self.span
    }

    /// How it moves, with the period that is really shown.
    #[must_use]
    pub const fn motif(&self) -> Motif {
        self.motif
    }

    /// The least duty of every pixel.
    #[must_use]
    pub const fn floor(&self) -> Duty {
        self.floor
    }

    /// Its pixels, first to last, on a strip of `count` at Unix time `unix_ms`. The same arguments give the same
    /// pixels on every machine.
    #[must_use]
    pub fn pixels(&self, unix_ms: u64, count: usize) -> Pixels {
        Pixels::new(self, unix_ms, count)
    }

    /// The same look with every colour lifted to the floor.
    pub(crate) fn lifted(mut self) -> Self {
        for colour in &mut self.colours {
            *colour = above(*colour, self.floor);
        }
        self
    }

    /// The colour at `index` of the list, dark beyond it.
    pub(crate) fn colour(&self, index: usize) -> Duty {
        self.colours.get(index).copied().unwrap_or(DARK)
    }
}

/// Renders a look at Unix time `unix_ms` on a strip of as many pixels as `out` has.
pub fn render(look: &DeviceLook, unix_ms: u64, out: &mut [Duty]) {
    let count = out.len();
    for (out, pixel) in out.iter_mut().zip(look.pixels(unix_ms, count)) {
        *out = pixel;
    }
}
