//! What each motif does: the level of a pixel, from its place and the time alone.
//!
//! All that is the same for a whole frame is worked out once, in [`Motion::new`]; a pixel costs some multiplications and
//! no division.

use crate::fixed::{Edge, ONE, ease, low16, low32, mix, part_of, scatter};
use crate::{Motif, MotifName, Toward};

/// How many steps `hearth` makes in a period, unless it is so short that they would be below 200 ms.
const HEARTH_STEPS: u32 = 16;
/// How many slots `glint` has in a period, unless it is so short that they would be below 400 ms.
const GLINT_SLOTS: u32 = 8;

/// A motif at an instant.
#[derive(Debug, Clone)]
pub(crate) enum Motion {
    /// Every pixel at one level.
    Whole { level: u32 },
    /// A stretch around a centre, on a ring.
    Stretch { centre: u32, reach: u32, edge: Edge, mirrored: bool },
    /// A front that lights or darkens what it has passed.
    Front { at: u32, edge: Edge, lights: bool, mirrored: bool },
    /// Smooth noise over places and steps.
    Embers(Embers),
    /// Points that rise and fall.
    Points(Points),
    /// The colours' list moves by this much, in 65536 to a colour.
    Drift { shift: u32, edge: Edge, rest: u32 },
}

impl Motion {
    /// `motif` at Unix time `unix_ms` over `lit` pixels and `colours` colours.
    pub(crate) fn new(motif: &Motif, unix_ms: u64, lit: u32, colours: u32) -> Self {
        let period = u64::from(motif.period_ms.max(1));
        let within = unix_ms.checked_rem(period).unwrap_or(0);
        // Parts of a period in 2³²: below 2³² because `within` is below `period`, which has 32 bits.
        let time = low32((within << 32).checked_div(period).unwrap_or(0));
        // Multiples of the golden ratio spread any few seeds evenly over the period; seed 0 is not moved.
        let apart = time.wrapping_add(u32::from(motif.seed.wrapping_mul(40_503)) << 16);
        let phase = apart >> 16;
        let softness = u32::from(motif.softness);
        let pixel = ONE.checked_div(lit).unwrap_or(ONE).max(1);
        let mirrored = motif.toward == Toward::Start;
        match motif.name {
            MotifName::Steady => Self::Whole { level: ONE },
            MotifName::Swell => Self::Whole { level: swell(phase, softness) },
            MotifName::Travel => {
                let width = u32::from(motif.width).max(pixel);
                let edge = part_of(width, softness).max(pixel);
                let reach = width.saturating_add(edge).saturating_add(1) / 2;
                Self::Stretch { centre: phase, reach, edge: Edge::new(edge), mirrored }
            }
            MotifName::Unroll => {
                let edge = softness.max(pixel);
                let lights = phase < 32_768;
                let gone = (phase & 32_767).wrapping_mul(2);
                let at = part_of(gone, ONE.saturating_add(edge));
                Self::Front { at, edge: Edge::new(edge), lights, mirrored }
            }
            MotifName::Hearth => Self::Embers(Embers::new(motif, time, lit)),
            MotifName::Glint => Self::Points(Points::new(motif, time)),
            MotifName::Wander => {
                let ring = colours.wrapping_mul(ONE);
                let shift = low32(u64::from(apart).wrapping_mul(u64::from(colours)) >> 16);
                let shift = if mirrored { ring.wrapping_sub(shift) } else { shift };
                let width = (ONE / 4).saturating_add(softness.wrapping_mul(3) / 4);
                let rest = ONE.saturating_sub(width) / 2;
                Self::Drift { shift, edge: Edge::new(width), rest }
            }
        }
    }

    /// The level, 0 to [`ONE`], of the `index`th lit pixel, whose middle is at `place` of 65536.
    #[inline]
    pub(crate) fn level(&mut self, index: u32, place: u32) -> u32 {
        match self {
            Self::Whole { level } => *level,
            Self::Stretch { centre, reach, edge, mirrored } => {
                let ahead = u32::from(low16(seen(place, *mirrored).wrapping_sub(*centre)));
                let away = ahead.min(ONE.wrapping_sub(ahead));
                edge.rise(reach.saturating_sub(away))
            }
            Self::Front { at, edge, lights, mirrored } => {
                let passed = edge.rise(at.saturating_sub(seen(place, *mirrored)));
                if *lights { passed } else { ONE.saturating_sub(passed) }
            }
            Self::Embers(embers) => embers.level(place),
            Self::Points(points) => points.level(index),
            Self::Drift { .. } => ONE,
        }
    }
}

/// The place as a motif sees it that moves to the start.
fn seen(place: u32, mirrored: bool) -> u32 {
    if mirrored { (ONE - 1).saturating_sub(place) } else { place }
}

/// How far a swell has risen, for the eye: the square of the eased rise. At most half of the period rises and half
/// falls; the harder it is, the longer it rests at its ends.
fn swell(phase: u32, softness: u32) -> u32 {
    let rise = Edge::new((ONE / 8).saturating_add(softness.wrapping_mul(3) / 8));
    let half = ONE / 2;
    let risen = rise.rise(phase.min(half));
    let fallen = rise.rise(phase.saturating_sub(half));
    let level = risen.saturating_sub(fallen);
    part_of(level, level)
}

/// Smooth noise: a lattice of places by steps of the period, eased between its points.
#[derive(Debug, Clone)]
pub(crate) struct Embers {
    seed: u32,
    least: u32,
    cells: u32,
    step: u32,
    next_step: u32,
    weight: u32,
    cell: u32,
    left: u16,
    right: u16,
}

impl Embers {
    fn new(motif: &Motif, time: u32, lit: u32) -> Self {
        let steps = (motif.period_ms / 200).clamp(2, HEARTH_STEPS);
        let at = steps_at(time, steps);
        let step = at >> 16;
        let next = step.wrapping_add(1);
        let width = u32::from(motif.width).max(1);
        let mut embers = Self {
            seed: scatter(u32::from(motif.seed)),
            // An eighth for the hardest, five eighths for the softest.
            least: (ONE / 8).saturating_add(u32::from(motif.softness) / 2),
            cells: (ONE.saturating_add(width / 2).checked_div(width).unwrap_or(1)).clamp(1, lit.clamp(1, ONE - 1)),
            step,
            next_step: if next >= steps { 0 } else { next },
            weight: ease(at & (ONE - 1)),
            cell: 0,
            left: 0,
            right: 0,
        };
        embers.left = embers.column(0);
        embers.right = embers.column(1);
        embers
    }

    /// The lattice at a column and at the instant, as a part of 65535.
    fn column(&self, column: u32) -> u16 {
        let at = |step: u32| low16(scatter(self.seed ^ column.wrapping_mul(0x0001_0001) ^ (step << 27)));
        mix(at(self.step), at(self.next_step), self.weight)
    }

    fn level(&mut self, place: u32) -> u32 {
        // Both are below 65536.
        let at = place.wrapping_mul(self.cells);
        let cell = at >> 16;
        if cell != self.cell {
            self.left = if cell == self.cell.wrapping_add(1) { self.right } else { self.column(cell) };
            self.right = self.column(cell.wrapping_add(1));
            self.cell = cell;
        }
        let height = mix(self.left, self.right, ease(at & (ONE - 1)));
        self.least.saturating_add(part_of(u32::from(height), ONE.saturating_sub(self.least)))
    }
}

/// Points that flash up: in each slot of its own, a point rises and falls once or stays dark.
#[derive(Debug, Clone)]
pub(crate) struct Points {
    seed: u32,
    slots: u32,
    at: u32,
    share: u32,
    half: u32,
    edge: Edge,
}

impl Points {
    fn new(motif: &Motif, time: u32) -> Self {
        let slots = (motif.period_ms / 400).clamp(1, GLINT_SLOTS);
        // Half of a slot for the softest, an eighth for the hardest.
        let half = (ONE / 8).saturating_add(u32::from(motif.softness).wrapping_mul(3) / 8);
        Self {
            seed: scatter(u32::from(motif.seed)),
            slots,
            at: steps_at(time, slots),
            share: u32::from(motif.width),
            half,
            edge: Edge::new(half),
        }
    }

    fn level(&self, index: u32) -> u32 {
        let point = scatter(self.seed ^ index);
        // Each point has slots that begin at a time of its own. Both terms are at most 8 · 65536.
        let at = self.at.wrapping_add(point & (ONE - 1));
        let slot = at >> 16;
        let slot = if slot >= self.slots { slot.wrapping_sub(self.slots) } else { slot };
        let drawn = scatter(point ^ slot) >> 16;
        if drawn > self.share {
            return 0;
        }
        let away = (at & (ONE - 1)).abs_diff(ONE / 2);
        self.edge.rise(self.half.saturating_sub(away))
    }
}

/// The time, in parts of a period of 2³², as steps: 65536 to a step.
fn steps_at(time: u32, steps: u32) -> u32 {
    low32(u64::from(time).wrapping_mul(u64::from(steps)) >> 16)
}
