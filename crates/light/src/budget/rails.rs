//! The voltage at every pixel: a ladder of rail resistances with constant currents, solved as a tridiagonal system.
//!
//! The plus and the minus rail have the same resistance and the same currents, and each feed point has a wire of its
//! own in both, so one solution serves both: what a pixel loses is twice what one rail loses.
//!
//! Constant current is the worst case: a real pixel draws less as its voltage sags.

/// A feed resistance of nothing would be infinite conductance: this many ohms stand for it, a nanovolt an amp.
const LEAST_OHMS: f64 = 1e-9;
/// A feed point this near to a pixel, in pitches, is at the pixel: shorter pieces of rail have no meaning.
const SNAP: f64 = 1e-3;

/// One rail of a strip with its feed points. Pixel `k`, counted from 0, is `k + 1` pitches from the start; the start
/// itself and each feed point are nodes too.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    /// Conductance between each node and the next, in siemens.
    rail: Vec<f64>,
    /// Conductance from each node to the supply, in siemens; 0 where no feed is.
    feed: Vec<f64>,
    /// The node of each pixel.
    pixels: Vec<usize>,
    /// The node of each feed point, in the order given.
    points: Vec<usize>,
}

impl Ladder {
    /// A strip of `pixels` at `pixels_per_metre`, one rail of `rail_ohms_per_metre`, fed at `points` (metres from the
    /// start) through one conductor of `feed_ohms` each.
    ///
    /// Points beyond the ends are taken to the ends, and no point at all is one at the start, so that there is always
    /// a solution. Resistances are to be positive and finite.
    pub fn new(pixels: usize, pixels_per_metre: f64, rail_ohms_per_metre: f64, feed_ohms: f64, points: &[f64]) -> Self {
        let pitch = 1.0 / pixels_per_metre;
        // Places in pitches: a pixel's is whole, a point's is made whole where it is as good as that.
        let last = pixels as f64;
        let mut places: Vec<f64> = points
            .iter()
            .map(|metres| (metres / pitch).clamp(0.0, last))
            .map(|place| if (place - place.round()).abs() < SNAP { place.round() } else { place })
            .collect();
        if places.is_empty() {
            places.push(0.0);
        }
        let mut nodes: Vec<f64> = (0..=pixels).map(|place| place as f64).chain(places.iter().copied()).collect();
        nodes.sort_by(f64::total_cmp);
        nodes.dedup();
        let node_of = |place: f64| nodes.partition_point(|node| *node < place);
        let rail_of = |from: &f64, to: &f64| 1.0 / ((to - from) * pitch * rail_ohms_per_metre);
        let rail = nodes.iter().zip(nodes.iter().skip(1)).map(|(from, to)| rail_of(from, to)).collect();
        let points: Vec<usize> = places.iter().map(|place| node_of(*place)).collect();
        let mut feed = vec![0.0; nodes.len()];
        for point in &points {
            if let Some(feed) = feed.get_mut(*point) {
                *feed += 1.0 / feed_ohms.max(LEAST_OHMS);
            }
        }
        let pixels = (1..=pixels).map(|place| node_of(place as f64)).collect();
        Self { rail, feed, pixels, points }
    }

    /// What one rail loses at each node when these currents leave at the nodes, in volts: the Thomas algorithm.
    fn solve(&self, amps: &[f64]) -> Vec<f64> {
        let count = self.feed.len();
        // Elimination from the start. The pivot is kept as the conductance seen from the node to the left and to its
        // feed, a sum of positive terms, so nothing cancels.
        let mut gone = Vec::with_capacity(count);
        let (mut toward_start, mut carried) = (0.0, 0.0);
        for ((feed, out), next) in self.feed.iter().zip(amps).zip(self.rail.iter().copied().chain([0.0])) {
            let ground = feed + toward_start;
            let pivot = ground + next;
            let current = out + carried;
            gone.push((pivot, current, next));
            let share = next / pivot;
            toward_start = ground * share;
            carried = current * share;
        }
        let mut loss = vec![0.0; count];
        let mut right = 0.0;
        for (loss, (pivot, current, next)) in loss.iter_mut().zip(&gone).rev() {
            *loss = (current + next * right) / pivot;
            right = *loss;
        }
        loss
    }

    /// Currents of the pixels as currents of the nodes.
    fn at_nodes(&self, pixel_amps: &[f64]) -> Vec<f64> {
        let mut amps = vec![0.0; self.feed.len()];
        for (node, each) in self.pixels.iter().zip(pixel_amps) {
            if let Some(amps) = amps.get_mut(*node) {
                *amps += each;
            }
        }
        amps
    }

    fn of_pixels(&self, nodes: &[f64]) -> Vec<f64> {
        self.pixels.iter().map(|node| nodes.get(*node).copied().unwrap_or_default()).collect()
    }

    /// What each pixel loses of the supply's voltage, both rails and both feed conductors together, in volts, and
    /// what each feed point carries, in amps, at the pixels' currents in amps.
    pub fn at_load(&self, pixel_amps: &[f64]) -> Loaded {
        let nodes = self.solve(&self.at_nodes(pixel_amps));
        let pixel_volts_lost = self.of_pixels(&nodes).into_iter().map(|loss| 2.0 * loss).collect();
        let start = nodes.first().copied().unwrap_or_default();
        let point_amps = self
            .points
            .iter()
            .map(|node| self.feed.get(*node).unwrap_or(&0.0) * nodes.get(*node).unwrap_or(&0.0))
            .collect();
        Loaded { pixel_volts_lost, start_volts_lost: 2.0 * start, point_amps }
    }

    /// For each feed point, which part of each pixel's current it carries.
    pub fn point_shares(&self) -> Vec<Vec<f64>> {
        let share = |node: &usize| {
            // Reciprocity: what a current at the point does at the pixel, the pixel's does at the point.
            let mut amps = vec![0.0; self.feed.len()];
            if let Some(amps) = amps.get_mut(*node) {
                *amps = self.feed.get(*node).copied().unwrap_or_default();
            }
            self.of_pixels(&self.solve(&amps))
        };
        self.points.iter().map(share).collect()
    }

    /// For each piece of rail next to a feed point, which part of each pixel's current it carries, with its sign.
    /// Between feed points a rail's current only falls, so the greatest is at one of these.
    pub fn rail_shares(&self) -> Vec<Vec<f64>> {
        let mut pieces: Vec<usize> =
            self.points.iter().flat_map(|node| [node.checked_sub(1), Some(*node)]).flatten().collect();
        pieces.sort_unstable();
        pieces.dedup();
        let share = |piece: usize| {
            let conductance = *self.rail.get(piece)?;
            let mut amps = vec![0.0; self.feed.len()];
            *amps.get_mut(piece)? = conductance;
            *amps.get_mut(piece + 1)? = -conductance;
            Some(self.of_pixels(&self.solve(&amps)))
        };
        pieces.into_iter().filter_map(share).collect()
    }

    /// The greatest resistance of the loop from the supply to a pixel and back, in ohms, and that pixel: where a short
    /// circuit draws least.
    pub fn farthest(&self) -> (f64, usize) {
        let series = |a: f64, b: f64| if a + b > 0.0 { a * b / (a + b) } else { 0.0 };
        let mut from_start = Vec::with_capacity(self.feed.len());
        let mut seen = 0.0;
        for (feed, rail) in self.feed.iter().zip(self.rail.iter().chain([&0.0])) {
            from_start.push(seen);
            seen = series(seen + feed, *rail);
        }
        let mut ohms = vec![0.0; self.feed.len()];
        let mut from_end = 0.0;
        let rails_before = std::iter::once(&0.0).chain(&self.rail);
        let nodes: Vec<_> = self.feed.iter().zip(rails_before).zip(&from_start).collect();
        for (ohms, ((feed, rail), start)) in ohms.iter_mut().zip(nodes).rev() {
            *ohms = 2.0 / (feed + start + from_end);
            from_end = series(from_end + feed, *rail);
        }
        let of_pixels = self.of_pixels(&ohms);
        let worst = of_pixels.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        worst.map_or((0.0, 0), |(pixel, ohms)| (*ohms, pixel))
    }
}

/// A strip under load.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// What each pixel loses of the supply's voltage, both rails together, in volts.
    pub pixel_volts_lost: Vec<f64>,
    /// What the start of the strip loses, both rails together, in volts; half of it is the offset of its minus.
    pub start_volts_lost: f64,
    /// What each feed point carries, in amps.
    pub point_amps: Vec<f64>,
}

impl Loaded {
    /// The greatest loss in volts and the pixel that has it, counted from 0.
    pub fn worst(&self) -> (f64, usize) {
        let worst = self.pixel_volts_lost.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)));
        worst.map_or((0.0, 0), |(pixel, lost)| (*lost, pixel))
    }
}
