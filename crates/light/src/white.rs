//! The white channel: how much of a colour a strip's white LED can give.

use crate::quantity::scale_u16;
use crate::{LightError, kelvin_linear};

/// The light of a strip's white LED at full duty, as linear sRGB in which red, green and blue at full duty are 1 each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhiteLed {
    linear: [f64; 3],
}

impl WhiteLed {
    /// The colour temperature that is taken when nobody measured it, in kelvin: neutral white, between the warm (about
    /// 3000) and cold (about 6000) strips that are sold. Common practice, no source.
    pub const USUAL_KELVIN: f64 = 4_500.0;

    /// A white of this colour temperature, 1000 to 12000 kelvin, whose strongest component is as bright as the strip's own
    /// colour there. That a white LED is no brighter than this is an assumption; [`WhiteLed::measured`] takes what is so.
    ///
    /// # Errors
    /// [`LightError::Kelvin`] outside that range, and for what is not a number.
    pub fn of_kelvin(kelvin: f64) -> Result<Self, LightError> {
        Ok(Self { linear: kelvin_linear(kelvin)? })
    }

    /// A white as it was measured: linear sRGB in units of the strip's own colours at full duty.
    ///
    /// # Errors
    /// [`LightError::WhiteLed`] unless every component is a number from 0 to 10 and one of them is above 0.
    pub fn measured(linear: [f64; 3]) -> Result<Self, LightError> {
        let sound = linear.iter().all(|light| (0.0..=10.0).contains(light)) && linear.iter().any(|light| *light > 0.0);
        if sound { Ok(Self { linear }) } else { Err(LightError::WhiteLed { linear }) }
    }

    /// Its linear light at full duty.
    #[must_use]
    pub fn linear(self) -> [f64; 3] {
        self.linear
    }

    /// Splits linear light (0 to 1 a channel) into duties of red, green, blue and white, 0 to 65535.
    ///
    /// White takes as much as it can without adding to any component; the colours give the rest. White is rounded down
    /// first, and the colours make up for it, so the light is kept to half a step a component.
    #[must_use]
    pub fn split(self, linear: [f64; 3]) -> [u16; 4] {
        let most = linear
            .iter()
            .zip(self.linear)
            .filter(|(_, white)| *white > 0.0)
            .map(|(light, white)| light / white)
            .fold(1.0, f64::min);
        // Rounded down: rounding up could take more of a component than there is.
        let white = (most.max(0.0) * f64::from(u16::MAX)).floor() / f64::from(u16::MAX);
        let rest = |index: usize| match (linear.get(index), self.linear.get(index)) {
            (Some(light), Some(of_white)) => scale_u16((light - white * of_white).clamp(0.0, 1.0)),
            _ => 0,
        };
        [rest(0), rest(1), rest(2), scale_u16(white)]
    }
}

/// [`WhiteLed::USUAL_KELVIN`].
impl Default for WhiteLed {
    fn default() -> Self {
        // Within the range, so the other case never comes.
        Self::of_kelvin(Self::USUAL_KELVIN).unwrap_or(Self { linear: [1.0; 3] })
    }
}
