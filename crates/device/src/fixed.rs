//! Fixed-point arithmetic of the frame: parts of one are 0 to 65536, so that one times a duty is the duty itself.
//!
//! Every function is total. The products fit 32 bits by the bounds named beside them; `wrapping_` operations are used so
//! that no check stands in the frame's inner loop, and none of them wraps within those bounds.

/// One, as a part of one.
pub(crate) const ONE: u32 = 65_536;

/// The low 16 bits.
pub(crate) const fn low16(value: u32) -> u16 {
    let [low, high, _, _] = value.to_le_bytes();
    u16::from_le_bytes([low, high])
}

/// The low 32 bits.
pub(crate) const fn low32(value: u64) -> u32 {
    let [a, b, c, d, _, _, _, _] = value.to_le_bytes();
    u32::from_le_bytes([a, b, c, d])
}

/// A count as 32 bits; one that is larger than any strip counts as the largest.
pub(crate) fn count32(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

/// `duty` times the part `by` (at most [`ONE`]), rounded half up. At most 65535 · 65536 + 32768 < 2³².
pub(crate) fn scale(duty: u16, by: u32) -> u16 {
    low16(u32::from(duty).wrapping_mul(by).wrapping_add(32_768) >> 16)
}

/// From `from` to `to` by the part `weight` (at most [`ONE`]), rounded half up. The two products add up to at most
/// 65535 · 65536, as in [`scale`].
pub(crate) fn mix(from: u16, to: u16, weight: u32) -> u16 {
    let kept = u32::from(from).wrapping_mul(ONE.wrapping_sub(weight));
    let came = u32::from(to).wrapping_mul(weight);
    low16(kept.wrapping_add(came).wrapping_add(32_768) >> 16)
}

/// The product of two parts of one, each at most [`ONE`].
pub(crate) fn part_of(a: u32, b: u32) -> u32 {
    low32(u64::from(a).wrapping_mul(u64::from(b)) >> 16)
}

/// Smoothstep, 3x² − 2x³: from 0 to [`ONE`] with level ends. What is above [`ONE`] counts as [`ONE`].
pub(crate) fn ease(x: u32) -> u32 {
    if x >= ONE {
        return ONE;
    }
    // Below 2³² · 3 · 2¹⁶. All of it in 64 bits, so that it never falls.
    let square = u64::from(x.wrapping_mul(x));
    low32(square.wrapping_mul(u64::from(196_608_u32.wrapping_sub(x.wrapping_mul(2)))) >> 32)
}

/// A soft edge: how far one is into it, as an eased part of one.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Edge {
    width: u32,
    /// 2³² / width, so that no pixel divides.
    reciprocal: u64,
}

impl Edge {
    /// An edge of `width` in the unit of what [`Edge::rise`] is given; 0 counts as 1.
    pub(crate) fn new(width: u32) -> Self {
        let width = width.max(1);
        Self { width, reciprocal: (1_u64 << 32).checked_div(u64::from(width)).unwrap_or(0) }
    }

    /// 0 at the foot of the edge, [`ONE`] from its top on.
    pub(crate) fn rise(&self, into: u32) -> u32 {
        if into >= self.width {
            return ONE;
        }
        // into < width, so the product is below 2³².
        ease(low32(u64::from(into).wrapping_mul(self.reciprocal) >> 16))
    }
}

/// A well mixed number from another one: the same on every machine, and no secret.
pub(crate) fn scatter(value: u32) -> u32 {
    let mut x = value.wrapping_add(0x9e37_79b9);
    x = (x ^ (x >> 16)).wrapping_mul(0x7feb_352d);
    x = (x ^ (x >> 15)).wrapping_mul(0x846c_a68b);
    x ^ (x >> 16)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn easing_never_falls_and_meets_its_ends() {
        assert_eq!((ease(0), ease(32_768), ease(ONE), ease(u32::MAX)), (0, 32_768, ONE, ONE));
        for x in 0..ONE {
            assert!(ease(x) <= ease(x + 1), "at {x}");
            let exact = 3.0 * (f64::from(x) / 65536.0).powi(2) - 2.0 * (f64::from(x) / 65536.0).powi(3);
            assert!((f64::from(ease(x)) - exact * 65536.0).abs() <= 4.0, "at {x}");
        }
    }

    #[test]
    fn scaling_and_mixing_keep_their_ends_and_round_half_up() {
        for duty in [0, 1, 2, 32_767, 65_534, 65_535] {
            assert_eq!((scale(duty, ONE), scale(duty, 0)), (duty, 0));
            for other in [0, 1, 32_768, 65_535] {
                assert_eq!((mix(duty, other, 0), mix(duty, other, ONE)), (duty, other));
            }
        }
        assert_eq!((scale(1, 32_768), scale(1, 32_767), mix(0, 65_535, 32_768)), (1, 0, 32_768));
    }

    #[test]
    fn an_edge_is_eased_from_its_foot_to_its_top() {
        for width in [1, 2, 3, 700, 65_535, 65_536, 131_072] {
            let edge = Edge::new(width);
            assert_eq!((edge.rise(0), edge.rise(width), edge.rise(u32::MAX)), (0, ONE, ONE));
            assert!((1..width.min(5_000)).all(|into| edge.rise(into - 1) <= edge.rise(into)));
        }
    }
}
