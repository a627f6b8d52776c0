//! What looks and full white draw, and how a current may gather on one conductor.

use super::built::Built;

/// What a look asks of the supply, as fractions of full duty, without the ceiling.
#[derive(Debug, Clone, PartialEq)]
pub struct LookLoad {
    /// The look's name.
    pub name: String,
    /// Mean duty 0 to 1 of each channel over all pixels, at the worst instant.
    pub peak: Vec<f64>,
    /// Mean duty 0 to 1 of each channel over all pixels and the motif's period.
    pub mean: Vec<f64>,
    /// How the load lies along the strip at the worst instant: a relative weight for each pixel, or for as many equal
    /// stretches as there are weights. Without it the load is even.
    pub profile: Option<Vec<f64>>,
}

/// Current of the strip at these duties, idle included, in amps. A duty that is no number counts as full: the worst
/// case. Channels that the chip does not have draw nothing.
pub(super) fn demand(built: &Built<'_>, duties: &[f64]) -> f64 {
    let duty: f64 = duties
        .iter()
        .take(built.facts.channels)
        .map(|duty| if duty.is_nan() { 1.0 } else { duty.clamp(0.0, 1.0) })
        .sum();
    built.idle_amps + duty * built.channel_amps * built.pixels as f64
}

/// By what light is to be multiplied so that the strip draws no more than the ceiling, which idle cannot be cut from.
pub(super) fn scale(demand: f64, idle: f64, ceiling: f64) -> f64 {
    if demand <= ceiling || demand <= idle { 1.0 } else { ((ceiling - idle) / (demand - idle)).clamp(0.0, 1.0) }
}

/// Currents of the pixels when so much light lies along the strip by this profile, idle included.
pub(super) fn along(built: &Built<'_>, light: f64, profile: Option<&[f64]>) -> Vec<f64> {
    let idle = built.idle_amps / built.pixels as f64;
    let weight = |weight: &f64| if weight.is_finite() { weight.clamp(0.0, 1e9) } else { 0.0 };
    let weights: Option<Vec<f64>> = profile.filter(|profile| !profile.is_empty()).map(|profile| {
        let stretch = |pixel: usize| profile.get(pixel * profile.len() / built.pixels);
        (0..built.pixels).map(|pixel| stretch(pixel).map_or(0.0, weight)).collect()
    });
    match weights.as_deref().map(|weights| (weights, weights.iter().sum::<f64>())) {
        Some((weights, sum)) if sum > 0.0 => weights.iter().map(|weight| idle + light * (weight / sum)).collect(),
        _ => built.even(light + built.idle_amps),
    }
}

/// The pixels that load a conductor most, greatest share first: how much of its current each puts there.
pub(super) fn greatest_first(shares: &[f64], sign: f64) -> Vec<f64> {
    let mut shares: Vec<f64> = shares.iter().map(|share| share * sign).filter(|share| *share > 0.0).collect();
    shares.sort_by(|a, b| b.total_cmp(a));
    shares
}

/// The greatest total with which no distribution of pixels, each up to `pixel_amps`, can put more than `limit` on the
/// conductor; `None` if even full white cannot.
pub(super) fn most_total(greatest_first: &[f64], pixel_amps: f64, limit: f64) -> Option<f64> {
    let (mut total, mut here) = (0.0, 0.0);
    for share in greatest_first {
        let more = share * pixel_amps;
        if here + more > limit {
            return Some(total + (limit - here) / share);
        }
        here += more;
        total += pixel_amps;
    }
    None
}

/// The most that a total can put on the conductor, each pixel up to `pixel_amps`.
pub(super) fn most_here(greatest_first: &[f64], pixel_amps: f64, total: f64) -> f64 {
    let (mut left, mut here) = (total, 0.0);
    for share in greatest_first {
        let taken = pixel_amps.min(left);
        here += share * taken;
        left -= taken;
        if left <= 0.0 {
            break;
        }
    }
    here
}
