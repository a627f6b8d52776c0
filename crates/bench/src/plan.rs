//! Sizes, rounds and lengths of time: of a whole run, and of a quick one.

use std::time::Duration;

/// A house: how many fixtures, and how many revisions of each one's desired document history holds (0: no history, as
/// after retention has taken it all).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct HouseSize {
    /// Fixtures.
    pub(crate) fixtures: u32,
    /// Revisions of each desired document.
    pub(crate) revisions: u32,
}

impl HouseSize {
    /// Rows of history of desired documents.
    pub(crate) fn rows(self) -> u64 {
        u64::from(self.fixtures) * u64::from(self.revisions)
    }

    /// The size in words.
    pub(crate) fn words(self) -> String {
        format!("{} fixtures, {} rows", thousands(u64::from(self.fixtures)), thousands(self.rows()))
    }
}

/// A number with its thousands parted.
pub(crate) fn thousands(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + 4);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// How much is measured.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plan {
    /// Whether it is the quick one.
    pub(crate) quick: bool,
    /// Rounds of a figure; ours and the ceiling in each, in turn.
    pub(crate) rounds: usize,
    /// How long one measurement of a rate takes.
    pub(crate) slice: Duration,
    /// The houses by which growth is seen, smallest first.
    pub(crate) growth: [HouseSize; 3],
    /// As many fixtures as the largest of them, without history.
    pub(crate) bare_large: HouseSize,
    /// The house that most figures use.
    pub(crate) street: HouseSize,
    /// Callers of edits and reads.
    pub(crate) callers: [usize; 4],
    /// Connections for reports and boots.
    pub(crate) connections: [usize; 2],
    /// Reports of each fixture in one wave.
    pub(crate) reports: u32,
    /// Fixtures in a storm.
    pub(crate) storm: [usize; 2],
    /// Edits one after the other, for medians.
    pub(crate) singles: usize,
    /// Reads of the past, and of 64 rows.
    pub(crate) past_reads: usize,
    /// How long an idle daemon is watched.
    pub(crate) idle: Duration,
    /// Starts of the daemon.
    pub(crate) starts: usize,
}

impl Plan {
    /// The whole, or the quick one.
    pub(crate) fn new(quick: bool) -> Self {
        let house = |fixtures, revisions| HouseSize { fixtures, revisions };
        if quick {
            Self {
                quick,
                rounds: 3,
                slice: Duration::from_millis(200),
                growth: [house(100, 100), house(1_000, 100), house(10_000, 100)],
                bare_large: house(10_000, 0),
                street: house(1_000, 2),
                callers: [1, 8, 64, 512],
                connections: [20, 200],
                reports: 20,
                storm: [100, 1_000],
                singles: 100,
                past_reads: 300,
                idle: Duration::from_secs(4),
                starts: 2,
            }
        } else {
            Self {
                quick,
                rounds: 5,
                slice: Duration::from_millis(1_200),
                growth: [house(100, 100), house(10_000, 100), house(100_000, 100)],
                bare_large: house(100_000, 0),
                street: house(5_000, 2),
                callers: [1, 8, 64, 512],
                connections: [20, 200],
                reports: 60,
                storm: [500, 5_000],
                singles: 400,
                past_reads: 2_000,
                idle: Duration::from_secs(60),
                starts: 3,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_in_groups_of_three() {
        let words: Vec<_> = [0, 999, 1_000, 10_000_000].map(thousands).into();
        assert_eq!(words, ["0", "999", "1,000", "10,000,000"]);
    }

    #[test]
    fn growth_reaches_the_sizes_that_are_promised() {
        let plan = Plan::new(false);
        assert_eq!(plan.growth.map(|house| house.fixtures), [100, 10_000, 100_000]);
        assert_eq!(plan.growth.map(HouseSize::rows), [10_000, 1_000_000, 10_000_000]);
    }

    #[test]
    fn every_plan_has_a_fixture_for_every_caller_and_connection() {
        for plan in [Plan::new(true), Plan::new(false)] {
            let fixtures = plan.street.fixtures as usize;
            assert!(plan.callers.iter().chain(&plan.connections).chain(&plan.storm).all(|n| *n <= fixtures));
        }
    }
}
