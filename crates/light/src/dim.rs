//! How far a look can be dimmed on 8 bits before it loses its hue, and what helps.

use device::{Chip, Protocol};
use palette::color_difference::Ciede2000;
use palette::convert::FromColorUnclamped;
use palette::white_point::D65;
use palette::{Lab, LinSrgb, Xyz};

use crate::{Intensity, Look, Palette, WhiteLed};

/// The greatest hue error that counts as usable, as a CIEDE2000 difference. About 1 can just be told apart side by side;
/// a look has nothing beside it, and three of that pass. Common practice, no source.
pub const HUE_ERROR_MOST: f64 = 3.0;

/// The fewest 8-bit steps that a colour's strongest channel should have: at 8 the next one is an eighth brighter, and a
/// fade still looks even. Common practice, no source.
pub const STEPS_LEAST: u8 = 8;

/// What turns duty into light: the chip, its white LED if it has one, and the global brightness if it has that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Emitter {
    chip: Chip,
    white: Option<WhiteLed>,
    global: u8,
}

impl Emitter {
    /// A strip of this chip, at full global brightness. Chips of four channels have the usual white LED.
    #[must_use]
    pub fn new(chip: Chip) -> Self {
        Self { chip, white: (chip.channels() == 4).then(WhiteLed::default), global: device::GLOBAL_MOST }
    }

    /// With another white LED; chips without one stay without.
    #[must_use]
    pub fn with_white(self, white: WhiteLed) -> Self {
        Self { white: self.white.map(|_| white), ..self }
    }

    /// With a global brightness of 1 to 31; chips without one stay at 31.
    #[must_use]
    pub fn with_global(self, global: u8) -> Self {
        let global = if self.has_global() { global.clamp(1, device::GLOBAL_MOST) } else { device::GLOBAL_MOST };
        Self { global, ..self }
    }

    /// The chip.
    #[must_use]
    pub fn chip(&self) -> Chip {
        self.chip
    }

    /// The white LED, if there is one.
    #[must_use]
    pub fn white(&self) -> Option<WhiteLed> {
        self.white
    }

    fn has_global(&self) -> bool {
        matches!(self.chip.protocol(), Protocol::Clocked { .. })
    }

    /// The 8-bit values of red, green, blue and white that are sent for linear light, and the light that comes of them.
    fn sent(&self, linear: [f64; 3]) -> ([u8; 4], [f64; 3]) {
        let lift = f64::from(device::GLOBAL_MOST) / f64::from(self.global);
        let bytes = crate::look::duties(linear, self.white)
            .map(|duty| ((f64::from(duty) * lift).min(65_535.0) / 257.0 + 0.5).floor() as u8);
        let [red, green, blue, white] = bytes.map(|byte| f64::from(byte) / 255.0 / lift);
        let [of_red, of_green, of_blue] = self.white.map_or([0.0; 3], WhiteLed::linear);
        (bytes, [red + white * of_red, green + white * of_green, blue + white * of_blue])
    }
}

/// The lowest intensity at which a look is still itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usable {
    /// From this intensity up every colour keeps its hue and has its steps.
    pub intensity: Intensity,
    /// The hue error at this intensity, as [`hue_error`] gives it.
    pub hue_error: f64,
}

/// The hue error of a look at its own intensity on 8 bits: the greatest of its colours' CIEDE2000 differences (CIE 142;
/// ISO/CIE 11664-6) between the colour as written and the colour as sent, the latter brought to the same luminance, as the
/// eye does that has adapted to the dim light. Infinite when a colour is lost altogether; 0 for a look without light.
#[must_use]
pub fn hue_error(look: &Look, emitter: &Emitter) -> f64 {
    judged(look, look.intensity(), emitter).0
}

/// The lowest intensity, in steps of a half, from which on up to 100 the hue error of a look stays within
/// [`HUE_ERROR_MOST`] and the strongest channel of each of its colours has [`STEPS_LEAST`] steps. Nothing when not even
/// 100 does, as for a colour that is written almost black, and for a look without light.
#[must_use]
pub fn lowest_usable_intensity(look: &Look, emitter: &Emitter) -> Option<Usable> {
    if look.palette().linear().iter().all(|linear| is_dark(*linear)) {
        return None;
    }
    let mut lowest = None;
    for half_steps in (1..=200_u32).rev() {
        let Ok(intensity) = Intensity::new(f64::from(half_steps) / 2.0) else { break };
        let (hue_error, steps) = judged(look, intensity, emitter);
        if hue_error > HUE_ERROR_MOST || steps < STEPS_LEAST {
            break;
        }
        lowest = Some(Usable { intensity, hue_error });
    }
    lowest
}

/// What to say of a look that is dimmed below its lowest usable intensity, and what helps; nothing when it is not.
#[must_use]
pub fn dim_advice(look: &Look, emitter: &Emitter) -> Vec<String> {
    let intensity = look.intensity();
    let dark = intensity.luminance() == 0.0 || look.palette().linear().iter().all(|linear| is_dark(*linear));
    let (chip, now) = (emitter.chip.name(), intensity.get());
    let usable = lowest_usable_intensity(look, emitter);
    if dark || usable.is_some_and(|usable| usable.intensity.get() <= now) {
        return Vec::new();
    }
    let Some(usable) = usable else {
        return vec![format!(
            "one of its colours is so dark that the 8 bits of {chip} cannot show it at any intensity: write that colour brighter, and lower \"intensity\" instead"
        )];
    };
    let least = usable.intensity.get();
    let error = hue_error(look, emitter);
    let mut texts = vec![if error > HUE_ERROR_MOST {
        let error =
            if error.is_finite() { format!("by a CIEDE2000 difference of {error:.1}") } else { "altogether".into() };
        format!("at intensity {now} the 8 bits of {chip} lose its hue ({error}): {least} is the lowest that keeps it")
    } else {
        format!("at intensity {now} it has too few of the 8-bit steps of {chip} to fade evenly: {least} has enough")
    }];
    let part = intensity.luminance() / usable.intensity.luminance();
    texts.push(format!(
        "fewer, brighter pixels give the same light with the right hue: {:.0} % of its \"span\" at intensity {least}",
        (part * 100.0).max(1.0)
    ));
    if emitter.has_global() {
        let lower = (1..emitter.global).rev().find(|global| {
            let dimmed = emitter.with_global(*global);
            lowest_within(look, &dimmed).is_some_and(|usable| usable.get() <= now)
        });
        if let Some(global) = lower {
            texts.push(format!(
                "a global brightness of {global} in place of {} keeps it at this intensity",
                emitter.global
            ));
        }
    }
    if emitter.white.is_none() && matches!(look.palette(), Palette::Kelvin(_)) {
        texts.push("a strip with a white channel keeps a white its colour down to lower intensities".to_owned());
    }
    texts
}

/// The look's own intensity if it is usable as it stands. A low global brightness cuts off what is brighter, which is no
/// matter here.
fn lowest_within(look: &Look, emitter: &Emitter) -> Option<Intensity> {
    let (error, steps) = judged(look, look.intensity(), emitter);
    let cut = look.palette().linear().iter().any(|linear| {
        let luminance = look.intensity().luminance();
        let most = f64::from(emitter.global) / f64::from(device::GLOBAL_MOST);
        linear.iter().any(|light| light * luminance > most)
    });
    (error <= HUE_ERROR_MOST && steps >= STEPS_LEAST && !cut).then(|| look.intensity())
}

fn is_dark(linear: [f64; 3]) -> bool {
    linear == [0.0; 3]
}

/// The greatest hue error of the colours, and the fewest steps that a colour's strongest channel has.
fn judged(look: &Look, intensity: Intensity, emitter: &Emitter) -> (f64, u8) {
    let luminance = intensity.luminance();
    let mut worst = (0.0_f64, u8::MAX);
    for linear in look.palette().linear().into_iter().filter(|linear| !is_dark(*linear)) {
        let (bytes, light) = emitter.sent(linear.map(|light| light * luminance));
        let steps = bytes.into_iter().max().unwrap_or(0);
        worst = (worst.0.max(difference(linear, light)), worst.1.min(steps));
    }
    worst
}

/// The CIEDE2000 difference between a colour and another that is brought to its luminance.
fn difference(wanted: [f64; 3], got: [f64; 3]) -> f64 {
    let xyz =
        |[red, green, blue]: [f64; 3]| Xyz::<D65, f64>::from_color_unclamped(LinSrgb::<f64>::new(red, green, blue));
    let (wanted, got) = (xyz(wanted), xyz(got));
    if got.y <= 0.0 {
        return f64::INFINITY;
    }
    let part = wanted.y / got.y;
    let got = Xyz::new(got.x * part, wanted.y, got.z * part);
    Lab::from_color_unclamped(wanted).difference(Lab::<D65, f64>::from_color_unclamped(got))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test
    /// data, and mathematical observations", Color Research and Application 30 (2005), table 1; these pairs and their
    /// differences from memory. They hold the library to the published figures.
    #[test]
    fn the_library_gives_the_published_differences() {
        for (one, other, published) in [
            ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
            ([50.0, 3.1571, -77.2803], [50.0, 0.0, -82.7485], 2.8615),
            ([50.0, 2.8361, -74.0200], [50.0, 0.0, -82.7485], 3.4412),
            ([50.0, -1.3802, -84.2814], [50.0, 0.0, -82.7485], 1.0000),
            ([50.0, 0.0, 0.0], [50.0, -1.0, 2.0], 2.3669),
            ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
            ([50.0, 2.5, 0.0], [61.0, -5.0, 29.0], 22.8977),
            ([50.0, 2.5, 0.0], [56.0, -27.0, -3.0], 31.9030),
            ([50.0, 2.5, 0.0], [58.0, 24.0, 15.0], 19.4535),
            ([60.2574, -34.0099, 36.2677], [60.4626, -34.1751, 39.4387], 1.2644),
            ([2.0776, 0.0795, -1.1350], [0.9033, -0.0636, -0.5514], 0.9082),
        ] {
            let lab = |[l, a, b]: [f64; 3]| Lab::<D65, f64>::new(l, a, b);
            let difference = lab(one).difference(lab(other));
            assert!((difference - published).abs() < 0.000_1, "{one:?} {other:?}: {difference}");
        }
    }
}
