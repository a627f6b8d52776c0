//! Random numbers for jitter: quick, small, and of no use for secrets.

/// A SplitMix64 generator (Steele, Lea and Flood, 2014), seeded from the operating system.
#[derive(Debug, Clone)]
pub(crate) struct Randomness(u64);

impl Randomness {
    /// Seeds from the operating system; should that fail, from the text, so that two fixtures still differ.
    pub(crate) fn new(text: &str) -> Self {
        let fallback = || text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| step(hash ^ u64::from(byte)));
        Self(getrandom::u64().unwrap_or_else(|_| fallback()))
    }

    /// A generator that always gives the same numbers.
    pub(crate) const fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        step(self.0)
    }

    pub(crate) fn next_u32(&mut self) -> u32 {
        u32::try_from(self.next_u64() >> 32).unwrap_or_default()
    }

    /// A number from 0 up to, not including, `limit`; 0 when the limit is 0.
    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        self.next_u64().checked_rem(limit).unwrap_or_default()
    }
}

fn step(state: u64) -> u64 {
    let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seeded_generator_repeats_itself_and_stays_below_its_limit() {
        let mut one = Randomness::seeded(7);
        let mut two = Randomness::seeded(7);
        for _ in 0..1_000 {
            let number = one.below(12);
            assert!(number < 12);
            assert_eq!(number, two.below(12));
        }
        assert_eq!(one.below(0), 0);
    }
}
