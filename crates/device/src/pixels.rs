//! The pixels of a look at an instant, one after the other.

use crate::fixed::{ONE, count32, low16, low32, part_of};
use crate::lanes::Lanes;
use crate::look::{DARK, DeviceLook, Duty};
use crate::motion::Motion;
use crate::{COLOURS_MAX, MotifName};

/// The pixels of a [`DeviceLook`] from the first of the strip to the last; see [`DeviceLook::pixels`].
///
/// A pixel belongs to the span when its middle does; at least one does. The colours are spread over the pixels of the
/// span, the first colour on the first pixel, the last on the last, in linear light.
#[derive(Debug, Clone)]
pub struct Pixels {
    look: DeviceLook,
    motion: Motion,
    left: usize,
    /// How many pixels come before the span, and how many of the span are still to come.
    before: usize,
    lit: usize,
    index: u32,
    /// The middle of the pixel in the span, of 2³².
    place: u32,
    place_step: u32,
    /// Where in the list of colours, 2²⁸ to a colour.
    hue: u32,
    hue_step: u32,
    hue_last: u32,
    floored: bool,
    /// The two colours that were mixed last, and where the first of them is in the list.
    pair: (u32, Lanes, Lanes),
}

impl Pixels {
    pub(crate) fn new(look: &DeviceLook, unix_ms: u64, count: usize) -> Self {
        let (before, lit) = lit_part(look.span(), count);
        let pixels = count32(lit).max(1);
        let colours = count32(look.colours().len());
        let motif = look.motif();
        let half = (1_u32 << 31).checked_div(pixels).unwrap_or(0);
        let gaps = pixels.saturating_sub(1);
        let hue_step = (colours.saturating_sub(1) << 28).checked_div(gaps).unwrap_or(0);
        let mut look = *look;
        if motif.name == MotifName::Wander {
            // Mixing two colours and lifting the mix to the floor could turn back between the two; colours that stand
            // above the floor already cannot.
            look = look.lifted();
        }
        Self {
            look,
            motion: Motion::new(&motif, unix_ms, pixels, colours),
            left: count,
            before,
            lit,
            index: 0,
            place: half,
            place_step: half.wrapping_mul(2),
            hue: 0,
            hue_step,
            hue_last: if gaps == 0 { 0 } else { colours.saturating_sub(1) << 28 },
            pair: (u32::MAX, Lanes::DARK, Lanes::DARK),
            floored: look.floor() != DARK,
        }
    }

    #[inline]
    fn lit_pixel(&mut self) -> Duty {
        if self.lit == 0 {
            // The steps are rounded down; the last pixel has the last colour all the same.
            self.hue = self.hue_last;
        }
        let level = self.motion.level(self.index, self.place >> 16);
        let along = self.hue.wrapping_add(2_048) >> 12;
        let (from, to, weight) = match &self.motion {
            Motion::Drift { shift, edge, rest } => {
                let ring = count32(self.look.colours().len()).wrapping_mul(ONE);
                let along = along.wrapping_add(*shift);
                // Below two rounds, since the list is one and so is the shift.
                let along = if along >= ring { along.wrapping_sub(ring) } else { along };
                let along = if along >= ring { along.wrapping_sub(ring) } else { along };
                let weight = edge.rise((along & (ONE - 1)).saturating_sub(*rest));
                let next = (along >> 16).wrapping_add(1);
                (along >> 16, if next.wrapping_mul(ONE) >= ring { 0 } else { next }, weight)
            }
            _ => (along >> 16, (along >> 16).wrapping_add(1), along & (ONE - 1)),
        };
        self.index = self.index.wrapping_add(1);
        self.place = self.place.wrapping_add(self.place_step);
        self.hue = self.hue.wrapping_add(self.hue_step);
        if self.pair.0 != from {
            let colour = |index: u32| Lanes::of(self.look.colour(usize::from(low16(index))));
            self.pair = (from, colour(from), colour(to));
        }
        // The level and the mix of two colours in one.
        let later = part_of(level, weight);
        self.pair.1.weighed(level.wrapping_sub(later), self.pair.2, later)
    }
}

impl Iterator for Pixels {
    type Item = Duty;

    #[inline]
    fn next(&mut self) -> Option<Duty> {
        self.left = self.left.checked_sub(1)?;
        let lit = if let Some(before) = self.before.checked_sub(1) {
            self.before = before;
            DARK
        } else if let Some(lit) = self.lit.checked_sub(1) {
            self.lit = lit;
            self.lit_pixel()
        } else {
            DARK
        };
        Some(if self.floored { above(lit, self.look.floor()) } else { lit })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        (self.left, Some(self.left))
    }
}

impl ExactSizeIterator for Pixels {}

/// The greater of two, channel by channel.
pub(crate) fn above(duty: Duty, floor: Duty) -> Duty {
    let ([a, b, c, d], [e, f, g, h]) = (duty, floor);
    [a.max(e), b.max(f), c.max(g), d.max(h)]
}

/// How many of `count` pixels come before the span, and how many are in it.
fn lit_part(span: [u16; 2], count: usize) -> (usize, usize) {
    let [from, to] = span.map(u64::from);
    let pixels = u64::from(count32(count));
    // Pixel i is in the span when from ≤ (i + ½) / count ≤ to, of 65535. At most 2 · 65535 · 2³².
    let first = from.wrapping_mul(2).wrapping_mul(pixels).wrapping_add(65_534) / 131_070;
    let end = to.wrapping_mul(2).wrapping_mul(pixels).wrapping_add(65_535) / 131_070;
    if first < end {
        return (usize_of(first), usize_of(end.wrapping_sub(first)));
    }
    let middle = (from.wrapping_add(to).wrapping_mul(pixels) >> 17).min(pixels.saturating_sub(1));
    (usize_of(middle), count.min(1))
}

/// A number of pixels as an index; both uses are at most the strip's own count.
fn usize_of(value: u64) -> usize {
    usize::try_from(low32(value)).unwrap_or(usize::MAX)
}

const _: () = assert!(COLOURS_MAX <= 8, "the list of colours is kept in 2²⁸ to a colour, which leaves room for eight");
