//! Four channels in two 64-bit words, so that one product serves two channels.
//!
//! A channel has 32 bits of its own, and no result leaves them by the bounds of [`crate::fixed`].

use crate::fixed::ONE;
use crate::look::Duty;

/// A [`Duty`]: red below green, blue below white.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Lanes([u64; 2]);

impl Lanes {
    pub(crate) const DARK: Self = Self([0; 2]);

    #[inline]
    pub(crate) fn of([red, green, blue, white]: Duty) -> Self {
        Self([both(u32::from(red), u32::from(green)), both(u32::from(blue), u32::from(white))])
    }

    /// `self` times `weight` and `other` times `others_weight`, rounded half up. The weights together are at most
    /// [`ONE`].
    #[inline]
    pub(crate) fn weighed(self, weight: u32, other: Self, others_weight: u32) -> Duty {
        let ([a, b], [c, d]) = (self.0, other.0);
        let (weight, others_weight) = (u64::from(weight), u64::from(others_weight));
        let sum = |mine: u64, others: u64| {
            let products = mine.wrapping_mul(weight).wrapping_add(others.wrapping_mul(others_weight));
            upper(products.wrapping_add(both(32_768, 32_768)))
        };
        let ((red, green), (blue, white)) = (sum(a, c), sum(b, d));
        [red, green, blue, white]
    }

    /// Each channel on 0 to 255; `threshold` (below 65535) is what is added before the remainder by 65535 is cut off.
    #[inline]
    pub(crate) fn bytes(self, threshold: u32) -> [u8; 4] {
        let [a, b] = self.0;
        let quotients = |duties: u64| {
            let wanted = duties.wrapping_mul(255).wrapping_add(both(threshold, threshold));
            // The quotient by 65535 without a division, exact below 2³².
            let carried = (wanted >> 16) & both(0xffff, 0xffff);
            let [_, _, low, _, _, _, high, _] = wanted.wrapping_add(carried).wrapping_add(both(1, 1)).to_le_bytes();
            (low, high)
        };
        let ((red, green), (blue, white)) = (quotients(a), quotients(b));
        [red, green, blue, white]
    }
}

/// One picture's pixel mixed into another's by `weight`, at most [`ONE`], in linear light.
#[inline]
pub(crate) fn mixed(from: Duty, to: Duty, weight: u32) -> Duty {
    Lanes::of(from).weighed(ONE.wrapping_sub(weight), Lanes::of(to), weight)
}

const fn both(low: u32, high: u32) -> u64 {
    // A constant cannot call `u64::from`; bytes say the same.
    let ([a, b, c, d], [e, f, g, h]) = (low.to_le_bytes(), high.to_le_bytes());
    u64::from_le_bytes([a, b, c, d, e, f, g, h])
}

/// The upper 16 bits of each.
fn upper(lanes: u64) -> (u16, u16) {
    let [_, _, a, b, _, _, c, d] = lanes.to_le_bytes();
    (u16::from_le_bytes([a, b]), u16::from_le_bytes([c, d]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding half up, of 65535.
    const HALF: u32 = 32_767;

    #[test]
    fn every_duty_is_rounded_half_up_as_by_division() {
        for duty in 0..=u16::MAX {
            let others = [duty, u16::MAX - duty, 0, duty];
            for threshold in [HALF, 0, 57_343, 65_534] {
                let by_division = others.map(|duty| (u32::from(duty) * 255 + threshold) / 65_535);
                assert_eq!(Lanes::of(others).bytes(threshold).map(u32::from), by_division, "{duty}");
            }
        }
    }

    #[test]
    fn channels_that_share_a_product_do_not_touch_each_other() {
        let ends = [0, 1, 32_767, 32_768, 65_534, 65_535];
        for (from, to) in ends.iter().flat_map(|from| ends.map(|to| (*from, to))) {
            for weight in [0, 1, 32_767, 32_768, 65_535, ONE] {
                let wanted = [(from, to), (to, from), (0, 65_535), (65_535, 65_535)];
                let alone = wanted.map(|(from, to)| crate::fixed::mix(from, to, weight));
                assert_eq!(mixed(wanted.map(|pair| pair.0), wanted.map(|pair| pair.1), weight), alone);
            }
        }
    }
}
