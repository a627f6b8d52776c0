//! The strip itself: pictures that cross into each other, and the very bytes with the current that they draw.

use device::{Duty, Layout, Now, Output, Player};

use crate::picture::Picture;
use crate::strip::Strip;

/// One frame, as it goes to the strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// By the fixture's own clock, in milliseconds of Unix time; of its uptime while it does not know the time.
    pub unix_ms: u64,
    /// What goes over the data line, in its order.
    pub bytes: Vec<u8>,
    /// What it draws, in milliamps: all channels and every idle pixel.
    pub milliamps: f64,
    /// What it would draw if it were not held below the ceiling, in milliamps.
    pub wanted_milliamps: f64,
}

/// A strip that shows one picture after the other.
#[derive(Debug)]
pub(crate) struct Screen<'a> {
    strip: &'a Strip,
    player: Player<'a>,
}

/// As much room as a strip's screen needs.
pub(crate) fn room(strip: &Strip) -> Vec<Duty> {
    vec![Duty::default(); layout(strip).picture()]
}

fn layout(strip: &Strip) -> Layout<'static> {
    Layout::straight(0, strip.pixels)
}

impl<'a> Screen<'a> {
    /// A dark strip in a `room` of its size.
    pub(crate) fn new(strip: &'a Strip, room: &'a mut [Duty]) -> Self {
        Self { strip, player: Player::new(room) }
    }

    /// Begins to cross to a picture.
    pub(crate) fn set(&mut self, picture: Picture, now: Now) {
        self.player.set(picture.look, picture.fade_ms, now);
    }

    /// What goes to the strip at `now`, held below the ceiling.
    ///
    /// It is held by [`Output::limit`], which knows this frame alone. A controller that draws sixty frames a second uses
    /// [`device::Limiter`], which lets go slowly; here frames are drawn when somebody looks, and what one sees must not
    /// depend on how often that was.
    pub(crate) fn frame(&self, now: Now, ceiling_milliamps: u64) -> Frame {
        let output = Output::new(self.strip.chip, layout(self.strip));
        let mut bytes = vec![0; output.bytes()];
        output.write(self.player.pixels(now), &mut bytes);
        let ceiling = u32::try_from(ceiling_milliamps).unwrap_or(u32::MAX);
        let drawn = output.limit(&mut bytes, &self.strip.currents, ceiling);
        let milliamps = |hundredths: u64| hundredths as f64 / 100.0;
        Frame {
            unix_ms: now.unix_ms,
            bytes,
            milliamps: milliamps(drawn.drawn),
            wanted_milliamps: milliamps(drawn.wanted),
        }
    }
}
