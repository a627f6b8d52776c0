//! The very bytes that a strip gets.

use crate::fixed::{ONE, count32, low16, scale};
use crate::lanes::Lanes;
use crate::look::{DeviceLook, Duty};
use crate::{Chip, Layout, Order, Protocol};

/// The brightness, or current, of a clocked chip at its most.
pub const GLOBAL_MOST: u8 = 31;

/// A strip on its data line, as built.
///
/// ```
/// use device::{Chip, DeviceLook, Layout, Motif, Output};
///
/// let output = Output::new(Chip::Ws2812b, Layout::new(1, 2, &[[1, 0]]));
/// let look = DeviceLook::new(&[[65_535, 0, 0, 0], [0, 0, 65_535, 0]], [0, 65_535], Motif::STEADY);
/// let mut bytes = [0; 9];
/// assert_eq!(output.frame(&look, 0, &mut bytes), Some(9));
/// assert_eq!(bytes, [0, 0, 0, 0, 0, 255, 0, 255, 0]);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Output<'a> {
    chip: Chip,
    order: Order,
    layout: Layout<'a>,
    balance: [u32; 4],
    global: u8,
}

impl<'a> Output<'a> {
    /// A strip of this chip with its usual order of bytes, no white balance and full current.
    #[must_use]
    pub const fn new(chip: Chip, layout: Layout<'a>) -> Self {
        Self { chip, order: chip.order(), layout, balance: [ONE; 4], global: GLOBAL_MOST }
    }

    /// With another order of bytes. One of another number of channels than the chip has is not taken.
    #[must_use]
    pub fn with_order(self, order: Order) -> Self {
        if order.count() == self.chip.channels() { Self { order, ..self } } else { self }
    }

    /// With a white balance: red, green, blue and white in thousandths of what they would be; above 1000 counts as 1000.
    #[must_use]
    pub fn with_balance(self, permille: [u16; 4]) -> Self {
        let part = |permille: u16| u32::from(permille.min(1_000)).wrapping_mul(ONE).wrapping_add(500) / 1_000;
        Self { balance: permille.map(part), ..self }
    }

    /// With a clocked chip's global brightness, 1 to 31. The bytes grow by as much as it is lowered, so a look keeps its
    /// light and gains steps, as far as 8 bits reach. Other chips have none and stay as they are.
    #[must_use]
    pub fn with_global(self, global: u8) -> Self {
        match self.chip.protocol() {
            Protocol::Clocked { .. } => Self { global: global.clamp(1, GLOBAL_MOST), ..self },
            Protocol::OneWire { .. } => self,
        }
    }

    /// Whether temporal dither stays out of sight: the frames' pattern of four comes round at 100 Hz or more, which takes
    /// 400 frames a second, and the chip's PWM has at least two turns in each frame, so that a frame shows what it says.
    /// Both are common practice; no standard gives them. `frames_per_second` is what the controller really reaches, and
    /// `clock_hz` the clock of a clocked chip.
    #[must_use]
    pub fn dither_fits(&self, clock_hz: u32, frames_per_second: u32) -> bool {
        let room = 1_000_000_u64.checked_div(u64::from(frames_per_second)).unwrap_or(0);
        frames_per_second >= 400
            && self.chip.pwm_hz(self.global) >= frames_per_second.saturating_mul(2)
            && self.chip.frame_us(count32(self.layout.wired()), clock_hz) <= room
    }

    /// Its chip.
    #[must_use]
    pub const fn chip(&self) -> Chip {
        self.chip
    }

    /// Its layout.
    #[must_use]
    pub const fn layout(&self) -> &Layout<'a> {
        &self.layout
    }

    /// The global brightness, 1 to 31; 31 on chips that have none.
    #[must_use]
    pub const fn global(&self) -> u8 {
        self.global
    }

    /// How many bytes a frame has.
    #[must_use]
    pub fn bytes(&self) -> usize {
        let pixels = self.layout.wired().saturating_mul(self.stride());
        let (start, end) = self.margins();
        pixels.saturating_add(start).saturating_add(end)
    }

    /// Writes a frame of a look at Unix time `unix_ms` and says how many bytes it has; nothing is written when `out` is
    /// shorter than [`Output::bytes`].
    pub fn frame(&self, look: &DeviceLook, unix_ms: u64, out: &mut [u8]) -> Option<usize> {
        self.write(look.pixels(unix_ms, self.layout.picture()), out)
    }

    /// Writes a frame of a picture, one pixel after the other, as [`Player::pixels`](crate::Player::pixels) and
    /// [`DeviceLook::pixels`] give it. Each duty is rounded half up to 8 bits.
    pub fn write(&self, picture: impl IntoIterator<Item = Duty>, out: &mut [u8]) -> Option<usize> {
        self.write_at(picture, out, |_| HALF)
    }

    /// [`Output::write`] with temporal dither: in four frames, one after the other, a channel has the mean that its duty
    /// asks for, in quarters of an 8-bit step. `frame` counts the frames. Only where
    /// [`Output::dither_fits`].
    pub fn write_dithered(&self, picture: impl IntoIterator<Item = Duty>, frame: u32, out: &mut [u8]) -> Option<usize> {
        self.write_at(picture, out, |pixel| match frame.wrapping_add(pixel) & 3 {
            0 => 8_191,
            1 => 40_959,
            2 => 24_575,
            _ => 57_343,
        })
    }

    fn write_at(
        &self,
        picture: impl IntoIterator<Item = Duty>,
        out: &mut [u8],
        threshold: impl Fn(u32) -> u32,
    ) -> Option<usize> {
        let bytes = self.bytes();
        let out = out.get_mut(..bytes)?;
        out.fill(0);
        let (start, end) = self.margins();
        let stride = self.stride();
        let header = stride > usize::from(self.order.count());
        if let (Protocol::Clocked { end_fill, .. }, Some(at)) = (self.chip.protocol(), bytes.checked_sub(end)) {
            out.get_mut(at..)?.fill(end_fill);
        }
        let body = out.get_mut(start..bytes.checked_sub(end)?)?;
        if header {
            body.iter_mut().step_by(stride).for_each(|first| *first = 0xe0 | self.global);
        }
        let mut pen = Pen { output: self, picture: picture.into_iter(), threshold, index: 0 };
        for (first, last, backwards) in self.layout.stretches() {
            let from = first.saturating_mul(stride);
            let until = last.saturating_add(1).saturating_mul(stride);
            let Some(run) = body.get_mut(from..until) else { continue };
            // A length that is known lets the compiler unroll a pixel's bytes.
            match (stride, header) {
                (3, _) => pen.draw::<3, 0>(run, backwards),
                (4, false) => pen.draw::<4, 0>(run, backwards),
                (4, true) => pen.draw::<4, 1>(run, backwards),
                _ => pen.draw::<5, 1>(run, backwards),
            }
        }
        Some(bytes)
    }

    fn balance(&self, duty: Duty) -> Duty {
        let ([a, b, c, d], [e, f, g, h]) = (duty, self.balance);
        [scale(a, e), scale(b, f), scale(c, g), scale(d, h)]
    }

    /// The least global brightness makes 65535 · 31 of a duty, below 2²¹.
    fn lift(&self, duty: Duty) -> Duty {
        duty.map(|duty| {
            let wanted = u32::from(duty).wrapping_mul(u32::from(GLOBAL_MOST));
            let lifted = wanted.checked_div(u32::from(self.global)).unwrap_or(wanted);
            low16(lifted.min(65_535))
        })
    }

    /// The bytes of a pixel.
    pub(crate) fn stride(&self) -> usize {
        let channels = usize::from(self.order.count());
        match self.chip.protocol() {
            Protocol::Clocked { .. } => channels.saturating_add(1),
            Protocol::OneWire { .. } => channels,
        }
    }

    /// The bytes before the first pixel and those after the last.
    pub(crate) fn margins(&self) -> (usize, usize) {
        match self.chip.protocol() {
            Protocol::Clocked { end_least, .. } => {
                (4, usize::from(end_least).saturating_add(self.layout.wired().div_ceil(16)))
            }
            Protocol::OneWire { .. } => (0, 0),
        }
    }

    /// Values of red, green, blue and white in the order of a pixel's bytes.
    pub(crate) fn arranged<T: Copy + Default>(&self, values: [T; 4]) -> [T; 4] {
        self.order.arrange(values)
    }
}

/// Draws a picture into the runs of a frame, one after the other.
struct Pen<'a, P, T> {
    output: &'a Output<'a>,
    picture: P,
    threshold: T,
    index: u32,
}

impl<P: Iterator<Item = Duty>, T: Fn(u32) -> u32> Pen<'_, P, T> {
    /// Draws pixels of `STRIDE` bytes, of which the first `HEADER` stand already.
    fn draw<const STRIDE: usize, const HEADER: usize>(&mut self, run: &mut [u8], backwards: bool) {
        let (pixels, _) = run.as_chunks_mut::<STRIDE>();
        if backwards {
            self.draw_each::<STRIDE, HEADER>(pixels.iter_mut().rev());
        } else {
            self.draw_each::<STRIDE, HEADER>(pixels.iter_mut());
        }
    }

    fn draw_each<'b, const STRIDE: usize, const HEADER: usize>(
        &mut self,
        pixels: impl Iterator<Item = &'b mut [u8; STRIDE]>,
    ) {
        let output = self.output;
        let balanced = output.balance != [ONE; 4];
        let lifted = output.global != GLOBAL_MOST;
        let shifts = output.order.arrange([0_u32, 8, 16, 24]);
        for (pixel, duty) in pixels.zip(self.picture.by_ref()) {
            let duty = if balanced { output.balance(duty) } else { duty };
            let duty = if lifted { output.lift(duty) } else { duty };
            let threshold = (self.threshold)(self.index);
            self.index = self.index.wrapping_add(1);
            let bytes = u32::from_le_bytes(Lanes::of(duty).bytes(threshold));
            for (channel, shift) in pixel.iter_mut().skip(HEADER).zip(shifts) {
                [*channel, ..] = bytes.wrapping_shr(shift).to_le_bytes();
            }
        }
    }
}

/// Rounding half up, of 65535.
const HALF: u32 = 32_767;
