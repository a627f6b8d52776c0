//! How much current a frame draws, and keeping it below a ceiling.

use crate::fixed::{ONE, low16, low32};
use crate::look::Duty;
use crate::output::GLOBAL_MOST;
use crate::{Output, Protocol};

/// What a strip's pixel draws, in hundredths of a milliampere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Currents {
    /// Red, green, blue and white, each at full duty and full global brightness.
    pub channels: [u16; 4],
    /// A pixel that shows nothing.
    pub idle: u16,
}

/// What a frame draws before and after it was limited, in hundredths of a milliampere, rounded up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawn {
    /// As it was written.
    pub wanted: u64,
    /// As it is now.
    pub drawn: u64,
    /// What every byte was multiplied by, of 65536.
    pub factor: u32,
}

impl Output<'_> {
    /// What a frame that [`Output::write`] made draws, in hundredths of a milliampere, rounded up; every wired pixel idles.
    #[must_use]
    pub fn current(&self, frame: &[u8], currents: &Currents) -> u64 {
        let lit = self.lit(frame, currents).div_ceil(Self::FULL);
        lit.saturating_add(self.idle(currents))
    }

    /// Dims a whole frame by one factor so that it draws at most `ceiling_milliamps`. It is reckoned on the bytes that
    /// are sent, each rounded down, so rounding cannot lift it above the ceiling. A ceiling that leaves nothing above the
    /// idle current makes the frame dark; less than that no byte can do.
    pub fn limit(&self, frame: &mut [u8], currents: &Currents, ceiling_milliamps: u32) -> Drawn {
        self.limit_to(frame, currents, ceiling_milliamps, ONE)
    }

    /// [`Output::limit`] with a factor of at most `most`.
    fn limit_to(&self, frame: &mut [u8], currents: &Currents, ceiling_milliamps: u32, most: u32) -> Drawn {
        let lit = self.lit(frame, currents);
        let idle = self.idle(currents);
        let wanted = lit.div_ceil(Self::FULL).saturating_add(idle);
        let ceiling = u64::from(ceiling_milliamps).saturating_mul(100);
        let room = ceiling.saturating_sub(idle).saturating_mul(Self::FULL);
        let fits = if lit <= room {
            ONE
        } else {
            // Below one, since the room is less than what is wanted of it.
            let part = u128::from(room).wrapping_mul(u128::from(ONE)).checked_div(u128::from(lit)).unwrap_or(0);
            u32::try_from(part).unwrap_or(0)
        };
        let factor = fits.min(most);
        if factor < ONE {
            self.each_pixel(frame, |pixel| {
                for byte in pixel {
                    let [dimmed, _] = low16(u32::from(*byte).wrapping_mul(factor) >> 16).to_le_bytes();
                    *byte = dimmed;
                }
            });
        }
        Drawn { wanted, drawn: self.current(frame, currents), factor }
    }

    /// A byte's step by a step of the global brightness, of which one is a hundredth of a milliampere.
    const FULL: u64 = 255 * 31;

    fn idle(&self, currents: &Currents) -> u64 {
        let wired = u64::try_from(self.layout().wired()).unwrap_or(u64::MAX);
        u64::from(currents.idle).saturating_mul(wired)
    }

    fn lit(&self, frame: &[u8], currents: &Currents) -> u64 {
        let weights = self.arranged(currents.channels);
        let (start, end) = self.margins();
        let stride = self.stride();
        let header = usize::from(matches!(self.chip().protocol(), Protocol::Clocked { .. }));
        let body = frame.len().checked_sub(end).and_then(|end| frame.get(start..end)).unwrap_or_default();
        let mut sum = 0_u64;
        for pixel in body.chunks_exact(stride) {
            for (byte, weight) in pixel.iter().skip(header).zip(weights) {
                sum = sum.wrapping_add(u64::from(u32::from(*byte).wrapping_mul(u32::from(weight))));
            }
        }
        // 4 channels of 255 · 65535 by 31 leave room for 2³¹ pixels.
        sum.saturating_mul(u64::from(self.global().min(GLOBAL_MOST)))
    }

    fn each_pixel(&self, frame: &mut [u8], mut change: impl FnMut(&mut [u8])) {
        let (start, end) = self.margins();
        let stride = self.stride();
        let header = usize::from(matches!(self.chip().protocol(), Protocol::Clocked { .. }));
        let until = frame.len().saturating_sub(end);
        for pixel in frame.get_mut(start..until).unwrap_or_default().chunks_exact_mut(stride) {
            change(pixel.get_mut(header..).unwrap_or_default());
        }
    }
}

/// Keeps a moving picture below a ceiling without pumping.
///
/// It dims at once and lets go slowly, over [`Limiter::RECOVERY_MS`], so that the limit itself makes no flash of what
/// moves (WCAG 2.3.1): to rise by a tenth takes it a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limiter {
    /// The most that a frame may be multiplied by: of [`ONE`], in parts of [`Limiter::RECOVERY_MS`], so that each
    /// millisecond gives back a whole number of them.
    held: u64,
    at_ms: u64,
}

impl Limiter {
    /// How long it takes from dark to undimmed, in milliseconds.
    pub const RECOVERY_MS: u64 = 10_000;

    // ONE, which is a literal here since a constant cannot call `u64::from`.
    const UNDIMMED: u64 = 65_536 * Self::RECOVERY_MS;

    /// Nothing is dimmed.
    #[must_use]
    pub const fn new() -> Self {
        Self { held: Self::UNDIMMED, at_ms: 0 }
    }

    /// Dims a frame of `output` to at most `ceiling_milliamps`, at `uptime_ms`.
    pub fn limit(
        &mut self,
        output: &Output<'_>,
        frame: &mut [u8],
        currents: &Currents,
        ceiling_milliamps: u32,
        uptime_ms: u64,
    ) -> Drawn {
        let gone = uptime_ms.saturating_sub(self.at_ms).min(Self::RECOVERY_MS);
        let regained = gone.saturating_mul(u64::from(ONE));
        self.held = self.held.saturating_add(regained).min(Self::UNDIMMED);
        self.at_ms = uptime_ms;
        let most = low32(self.held / Self::RECOVERY_MS);
        let drawn = output.limit_to(frame, currents, ceiling_milliamps, most);
        if drawn.factor < most {
            self.held = u64::from(drawn.factor).saturating_mul(Self::RECOVERY_MS);
        }
        drawn
    }
}

impl Default for Limiter {
    fn default() -> Self {
        Self::new()
    }
}

/// The sum of each channel's duty over a picture, of 65535 a pixel.
#[must_use]
pub fn duty_sum(picture: impl IntoIterator<Item = Duty>) -> [u64; 4] {
    let mut sums = [0_u64; 4];
    for pixel in picture {
        for (sum, duty) in sums.iter_mut().zip(pixel) {
            *sum = sum.saturating_add(u64::from(duty));
        }
    }
    sums
}
