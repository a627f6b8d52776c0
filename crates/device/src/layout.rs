//! From the pixels of a picture to those of the strip: skipped first pixels, runs that are reversed or folded.

/// A stretch of a strip, from one pixel to another, both included: `[0, 71]`, or `[143, 72]` to run backwards.
pub type Run = [u32; 2];

/// Where each pixel of the picture is on the strip.
///
/// The picture is as long as all runs together, and goes through them one after the other. Pixels that no run names stay
/// dark. Several outputs are several layouts: each shows its own part of one picture ([`Iterator::skip`] leaves out what
/// comes before).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout<'a> {
    skip: u32,
    runs: &'a [Run],
    whole: [Run; 1],
    wired: u32,
}

impl<'a> Layout<'a> {
    /// A strip of `pixels` that the picture covers from first to last, after `skip` that stay dark.
    #[must_use]
    pub const fn straight(skip: u32, pixels: u32) -> Self {
        Self { skip, runs: &[], whole: [[0, pixels.saturating_sub(1)]], wired: skip.saturating_add(pixels) }
    }

    /// A strip of `pixels`, after `skip` that stay dark, on which the picture follows `runs`. Their pixels count from 0,
    /// the first one that is not skipped; what a run names beyond the strip is left out. No run at all is
    /// [`Layout::straight`].
    #[must_use]
    pub const fn new(skip: u32, pixels: u32, runs: &'a [Run]) -> Self {
        Self { runs, ..Self::straight(skip, pixels) }
    }

    /// How many pixels the picture has.
    #[must_use]
    pub fn picture(&self) -> usize {
        let length = |[from, to]: Run| index_of(from.abs_diff(to)).saturating_add(1);
        self.parts().map(length).fold(0, usize::saturating_add)
    }

    /// How many pixels hang on the data line, those that stay dark included.
    #[must_use]
    pub fn wired(&self) -> usize {
        index_of(self.wired)
    }

    /// For each pixel of the picture its place on the data line.
    pub fn places(&self) -> impl Iterator<Item = usize> + '_ {
        let skip = self.skip;
        self.parts().flat_map(places_of).map(move |place| index_of(place.saturating_add(skip)))
    }

    /// The stretches of the data line that the picture goes through, first and last place, and whether backwards.
    pub(crate) fn stretches(&self) -> impl Iterator<Item = (usize, usize, bool)> + '_ {
        let skip = self.skip;
        let place = move |pixel: u32| index_of(pixel.saturating_add(skip));
        self.parts().map(move |[from, to]| (place(from.min(to)), place(from.max(to)), to < from))
    }

    /// The runs, each as far as it is on the strip.
    fn parts(&self) -> impl Iterator<Item = Run> + '_ {
        let last = self.wired.saturating_sub(self.skip).checked_sub(1);
        let runs = if self.runs.is_empty() { self.whole.as_slice() } else { self.runs };
        runs.iter().filter_map(move |&[from, to]| {
            let last = last?;
            (from.min(to) <= last).then(|| [from.min(last), to.min(last)])
        })
    }
}

fn index_of(place: u32) -> usize {
    usize::try_from(place).unwrap_or(usize::MAX)
}

fn places_of([from, to]: Run) -> impl Iterator<Item = u32> {
    let backwards = to < from;
    (0..=from.abs_diff(to))
        .map(move |step| if backwards { from.saturating_sub(step) } else { from.saturating_add(step) })
}
