//! Rounds in which ours and the ceiling are measured in turn, and what is made of their values.

use crate::error::BenchError;

/// The values of rounds: ours and the ceiling's of the same moment side by side.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pairs(Vec<(f64, f64)>);

impl Pairs {
    /// Adds a round.
    pub(crate) fn push(&mut self, ours: f64, ceiling: f64) {
        self.0.push((ours, ceiling));
    }

    /// The median of ours.
    pub(crate) fn ours(&self) -> f64 {
        median(self.0.iter().map(|(ours, _)| *ours).collect())
    }

    /// The median of the ceiling.
    pub(crate) fn ceiling(&self) -> f64 {
        median(self.0.iter().map(|(_, ceiling)| *ceiling).collect())
    }

    fn ratios(&self) -> Vec<f64> {
        self.0.iter().filter(|(_, ceiling)| *ceiling > 0.0).map(|(ours, ceiling)| ours / ceiling).collect()
    }

    /// The median of the rounds' ratios: the disk wanders from round to round, so each is held against its own ceiling.
    pub(crate) fn ratio(&self) -> Option<f64> {
        let ratios = self.ratios();
        if ratios.is_empty() { None } else { Some(median(ratios)) }
    }

    /// The least and the greatest ratio.
    pub(crate) fn spread(&self) -> Option<(f64, f64)> {
        let ratios = self.ratios();
        let first = *ratios.first()?;
        Some(ratios.iter().fold((first, first), |(least, most), ratio| (least.min(*ratio), most.max(*ratio))))
    }
}

/// The middle value; of an even number the mean of the two in the middle; 0 of none.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let at = |index: usize| values.get(index).copied().unwrap_or(0.0);
    if values.len().is_multiple_of(2) { (at(middle.saturating_sub(1)) + at(middle)) / 2.0 } else { at(middle) }
}

/// The value below which the fraction `share` of all lies (nearest rank), of nanoseconds, in milliseconds.
pub(crate) fn percentile_ms(nanoseconds: &mut [u64], share: f64) -> f64 {
    if nanoseconds.is_empty() {
        return 0.0;
    }
    nanoseconds.sort_unstable();
    // fewer than 2^52 samples: exact as a double
    let rank = (share * nanoseconds.len() as f64).ceil().max(1.0) as usize;
    nanoseconds.get(rank.min(nanoseconds.len()) - 1).map_or(0.0, |ns| *ns as f64 / 1e6)
}

/// Measures both in turn, the one that begins changing from round to round.
pub(crate) async fn alternate(
    rounds: usize,
    mut ours: impl AsyncFnMut() -> Result<f64, BenchError>,
    mut ceiling: impl AsyncFnMut() -> Result<f64, BenchError>,
) -> Result<Pairs, BenchError> {
    let mut pairs = Pairs::default();
    for round in 0..rounds {
        let (ours, ceiling) = if round.is_multiple_of(2) {
            let ours = ours().await?;
            (ours, ceiling().await?)
        } else {
            let ceiling = ceiling().await?;
            (ours().await?, ceiling)
        };
        pairs.push(ours, ceiling);
    }
    Ok(pairs)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_median_is_the_middle_whatever_the_order() {
        assert!((median(vec![9.0, 1.0, 5.0]) - 5.0).abs() < 1e-12);
        assert!((median(vec![4.0, 1.0, 2.0, 100.0]) - 3.0).abs() < 1e-12);
        assert!(median(Vec::new()).abs() < 1e-12);
    }

    #[test]
    fn percentiles_are_nearest_ranks() {
        let mut values: Vec<u64> = (1..=100).map(|ms| ms * 1_000_000).collect();
        values.reverse();
        assert!((percentile_ms(&mut values, 0.5) - 50.0).abs() < 1e-9);
        assert!((percentile_ms(&mut values, 0.99) - 99.0).abs() < 1e-9);
        assert!((percentile_ms(&mut [7_000_000], 0.99) - 7.0).abs() < 1e-9);
        assert!(percentile_ms(&mut [], 0.5).abs() < 1e-9);
    }

    #[test]
    fn a_ratio_pairs_each_round_with_its_own_ceiling() {
        let mut pairs = Pairs::default();
        // the disk is twice as slow in the last two rounds; the ratio is the same all along
        for (ours, ceiling) in [(80.0, 100.0), (40.0, 50.0), (40.0, 50.0)] {
            pairs.push(ours, ceiling);
        }
        assert!(pairs.ratio().is_some_and(|ratio| (ratio - 0.8).abs() < 1e-12));
        assert!(pairs.spread().is_some_and(|(least, most)| most - least < 1e-12));
    }

    #[tokio::test]
    async fn the_one_that_begins_changes_from_round_to_round() {
        let order = std::cell::RefCell::new(String::new());
        let note = |letter| {
            order.borrow_mut().push(letter);
            1.0
        };
        alternate(3, async || Ok(note('o')), async || Ok(note('c'))).await.unwrap();
        assert_eq!(*order.borrow(), "occooc");
    }
}
