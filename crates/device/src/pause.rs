//! Growing pauses between attempts, with jitter, in integer arithmetic.

/// Pauses that double from a first length up to a longest one.
///
/// Each pause is drawn from the upper half of its length, so that a house full of fixtures which lost their power
/// together does not come back in step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pause {
    first_ms: u32,
    most_ms: u32,
    length_ms: u32,
}

impl Pause {
    /// The first pause after a message that asks for an answer, in milliseconds.
    pub const FIRST_MS: u32 = 1_000;
    /// The longest pause between two of them, in milliseconds.
    pub const MOST_MS: u32 = 60_000;

    /// Pauses from `first_ms` to `most_ms` milliseconds. A longest pause below the first one counts as the first one.
    #[must_use]
    pub const fn new(first_ms: u32, most_ms: u32) -> Self {
        let most_ms = if most_ms < first_ms { first_ms } else { most_ms };
        Self { first_ms, most_ms, length_ms: first_ms }
    }

    /// The next pause in milliseconds: at least half of the present length and never more than it. The length doubles
    /// for the time after. `random` is any number from the caller's source of randomness, all 32 bits of it.
    pub fn next(&mut self, random: u32) -> u64 {
        let length = u64::from(self.length_ms);
        self.length_ms = self.length_ms.saturating_mul(2).min(self.most_ms);
        let half = length / 2;
        let rest = length.saturating_sub(half);
        half.saturating_add(rest.saturating_mul(u64::from(random)) >> 32)
    }

    /// Starts again from the first length, after a success.
    pub fn reset(&mut self) {
        self.length_ms = self.first_ms;
    }
}

impl Default for Pause {
    fn default() -> Self {
        Self::new(Self::FIRST_MS, Self::MOST_MS)
    }
}
