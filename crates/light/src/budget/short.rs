//! The short circuit that draws least: whether it still opens the fuse.

use super::answer::{ShortCircuit, tidy};
use super::built::Built;
use super::fuse::FUSE_OPENING;
use super::rails::Ladder;

pub(super) fn short_circuit(built: &Built<'_>, ladder: &Ladder) -> ShortCircuit {
    let (loop_ohms, pixel) = ladder.farthest();
    let limited = |ohms: f64| (built.volts / ohms.max(1e-6)).min(built.supply_limit.unwrap_or(f64::INFINITY));
    // A branch's fuse opens last when the others have: its branch then feeds the short alone.
    let alone = built.points.iter().map(|point| {
        let point = point.clamp(0.0, built.metres);
        let rail = built.rail_ohms_per_metre * point.max(built.metres - point);
        limited(2.0 * (built.conductor_ohms + rail))
    });
    ShortCircuit {
        at_pixel: pixel as u32,
        loop_ohms: tidy(loop_ohms),
        supply_limit_amps: built.supply_limit.map(tidy),
        prospective_amps: tidy(limited(loop_ohms)),
        opening_amps: built.sheet.fuse_amps.map(|fuse| tidy(fuse * FUSE_OPENING)),
        branch_prospective_amps: tidy(alone.fold(f64::INFINITY, f64::min)),
        branch_opening_amps: built.branch_fuse.map(|fuse| tidy(fuse * FUSE_OPENING)),
    }
}
