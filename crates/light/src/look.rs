//! A look: colours, intensity, span and motif, checked together.

use crate::compiled::{Compiled, CompiledMotif};
use crate::quantity::scale_u16;
use crate::{Colour, Intensity, KELVIN_MAX, KELVIN_MIN, LightError, Motif, MotifName, Span, WhiteLed, kelvin_linear};

/// The most colours that a look has.
pub const COLOURS_MAX: usize = 8;

/// What a look is coloured with. [`LookBuilder::build`] checks it again, so a look never holds one
/// out of bounds.
#[derive(Debug, Clone, PartialEq)]
pub enum Palette {
    /// 1 to 8 colours, spread along the span.
    Colours(Vec<Colour>),
    /// A white by its colour temperature, 1000 to 12000 kelvin.
    Kelvin(f64),
}

impl Palette {
    /// Takes 1 to 8 colours.
    ///
    /// # Errors
    /// [`LightError::ColourCount`] for none or more than eight.
    pub fn colours(colours: Vec<Colour>) -> Result<Self, LightError> {
        Self::Colours(colours).checked()
    }

    /// Takes a colour temperature in kelvin, 1000 to 12000.
    ///
    /// # Errors
    /// [`LightError::Kelvin`] outside that range, and for what is not a number.
    pub fn kelvin(kelvin: f64) -> Result<Self, LightError> {
        Self::Kelvin(kelvin).checked()
    }

    /// The linear sRGB light of each colour, 0 to 1 a channel, before any dimming. A colour
    /// temperature has one, with its largest channel at 1.
    #[must_use]
    pub fn linear(&self) -> Vec<[f64; 3]> {
        match self {
            Self::Colours(colours) => colours.iter().map(|colour| colour.linear()).collect(),
            // Out of bounds only where a caller wrote the variant by hand: dark is the answer that
            // harms nothing.
            Self::Kelvin(kelvin) => vec![kelvin_linear(*kelvin).unwrap_or([0.0; 3])],
        }
    }

    fn checked(self) -> Result<Self, LightError> {
        match &self {
            Self::Colours(colours) if colours.is_empty() || colours.len() > COLOURS_MAX => {
                Err(LightError::ColourCount { count: colours.len() })
            }
            Self::Kelvin(value) if !(KELVIN_MIN..=KELVIN_MAX).contains(value) => {
                Err(LightError::Kelvin { value: *value })
            }
            _ => Ok(self),
        }
    }
}

/// A named appearance, valid by construction.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    palette: Palette,
    intensity: Intensity,
    span: Span,
    motif: Motif,
}

impl Look {
    /// Begins a look at full intensity over the whole length, without movement; it still needs its
    /// palette.
    pub fn builder() -> LookBuilder {
        LookBuilder { colours: None, kelvin: None, intensity: Intensity::FULL, span: Span::WHOLE, motif: Motif::STEADY }
    }

    /// The built-in look `dark`: nothing lit.
    #[must_use]
    pub fn dark() -> Self {
        Self {
            palette: Palette::Colours(vec![Colour::BLACK]),
            intensity: Intensity::DARK,
            span: Span::WHOLE,
            motif: Motif::STEADY,
        }
    }

    /// What it is coloured with.
    #[must_use]
    pub fn palette(&self) -> &Palette {
        &self.palette
    }

    /// How bright it is.
    #[must_use]
    pub fn intensity(&self) -> Intensity {
        self.intensity
    }

    /// Which part of the length is lit.
    #[must_use]
    pub fn span(&self) -> Span {
        self.span
    }

    /// How it moves.
    #[must_use]
    pub fn motif(&self) -> Motif {
        self.motif
    }

    /// The same look at another intensity, as a floor or a dimmer asks for it.
    #[must_use]
    pub fn at_intensity(&self, intensity: Intensity) -> Self {
        Self { intensity, ..self.clone() }
    }

    /// The integers that the device shows: every channel's linear duty with the intensity applied.
    ///
    /// A channel's duty is its linear light times the luminance of the intensity, on 0 to 65535,
    /// rounded half up; so intensity 100 of white is full duty, and a darker colour is as much
    /// darker as it is written.
    #[must_use]
    pub fn compile(&self) -> Compiled {
        self.compile_for(None)
    }

    /// [`Look::compile`] for a strip with a white LED, which has four channels: white gives as much of
    /// each colour as it can, and the light stays what it is without it.
    #[must_use]
    pub fn compile_with_white(&self, white: WhiteLed) -> Compiled {
        self.compile_for(Some(white))
    }

    fn compile_for(&self, white: Option<WhiteLed>) -> Compiled {
        let luminance = self.intensity.luminance();
        let count = if white.is_some() { 4 } else { 3 };
        let channels = self
            .palette
            .linear()
            .into_iter()
            .map(|linear| {
                let duty = duties(linear.map(|light| light * luminance), white);
                duty.into_iter().take(count).collect()
            })
            .collect();
        Compiled { channels, span: self.span.to_u16(), motif: CompiledMotif::from(self.motif), floor: None }
    }
}

/// The duty of red, green, blue and white for linear light, 0 to 1 a channel; white stays 0 without
/// a white LED.
pub(crate) fn duties(linear: [f64; 3], white: Option<WhiteLed>) -> device::Duty {
    match white {
        Some(white) => white.split(linear),
        None => {
            let [red, green, blue] = linear.map(scale_u16);
            [red, green, blue, 0]
        }
    }
}

/// A look in the making. Setting a member twice keeps the later.
#[derive(Debug, Clone)]
#[must_use = "a builder does nothing until `build`"]
pub struct LookBuilder {
    colours: Option<Vec<Colour>>,
    kelvin: Option<f64>,
    intensity: Intensity,
    span: Span,
    motif: Motif,
}

impl LookBuilder {
    /// Colours it with either kind of palette.
    pub fn palette(self, palette: Palette) -> Self {
        match palette {
            Palette::Colours(colours) => self.colours(colours),
            Palette::Kelvin(kelvin) => self.kelvin(kelvin),
        }
    }

    /// Colours it with 1 to 8 colours.
    pub fn colours(mut self, colours: Vec<Colour>) -> Self {
        self.colours = Some(colours);
        self
    }

    /// Colours it with a white of 1000 to 12000 kelvin.
    pub fn kelvin(mut self, kelvin: f64) -> Self {
        self.kelvin = Some(kelvin);
        self
    }

    /// Sets how bright it is.
    pub fn intensity(mut self, intensity: Intensity) -> Self {
        self.intensity = intensity;
        self
    }

    /// Sets which part of the length is lit.
    pub fn span(mut self, span: Span) -> Self {
        self.span = span;
        self
    }

    /// Sets how it moves.
    pub fn motif(mut self, motif: Motif) -> Self {
        self.motif = motif;
        self
    }

    /// Checks the whole.
    ///
    /// # Errors
    /// [`LightError::NoPalette`] and [`LightError::TwoPalettes`] unless it has colours or kelvin
    /// and not both; [`LightError::ColourCount`] and [`LightError::Kelvin`] as [`Palette::colours`]
    /// and [`Palette::kelvin`]; [`LightError::FlashesTooFast`] when `wander` has too many colours
    /// for its period (WCAG 2.3.1).
    pub fn build(self) -> Result<Look, LightError> {
        let palette = match (self.colours, self.kelvin) {
            (Some(_), Some(_)) => return Err(LightError::TwoPalettes),
            (None, None) => return Err(LightError::NoPalette),
            (Some(colours), None) => Palette::colours(colours)?,
            (None, Some(kelvin)) => Palette::kelvin(kelvin)?,
        };
        if let (Palette::Colours(colours), MotifName::Wander) = (&palette, self.motif.name) {
            let (seconds, least) = (self.motif.seconds.get(), self.motif.least_seconds(colours.len()));
            if seconds < least {
                return Err(LightError::FlashesTooFast { colours: colours.len(), seconds, least });
            }
        }
        Ok(Look { palette, intensity: self.intensity, span: self.span, motif: self.motif })
    }
}
