//! From a compiled look to what the device renders, and how much it lights there.

use device::{DeviceLook, Duty, duty_sum};

use crate::{Compiled, CompiledMotif, Intensity, Look, MotifName, Toward, WhiteLed};

impl From<MotifName> for device::MotifName {
    fn from(name: MotifName) -> Self {
        match name {
            MotifName::Steady => Self::Steady,
            MotifName::Swell => Self::Swell,
            MotifName::Travel => Self::Travel,
            MotifName::Unroll => Self::Unroll,
            MotifName::Hearth => Self::Hearth,
            MotifName::Glint => Self::Glint,
            MotifName::Wander => Self::Wander,
        }
    }
}

impl From<Toward> for device::Toward {
    fn from(toward: Toward) -> Self {
        match toward {
            Toward::End => Self::End,
            Toward::Start => Self::Start,
        }
    }
}

impl From<CompiledMotif> for device::Motif {
    fn from(motif: CompiledMotif) -> Self {
        let CompiledMotif { name, period_ms, width, softness, toward, seed } = motif;
        Self { name: name.into(), period_ms, width, softness, toward: toward.into(), seed }
    }
}

/// With its floor, where it has one, laid beneath.
impl From<&Compiled> for DeviceLook {
    fn from(compiled: &Compiled) -> Self {
        let colours: Vec<Duty> = compiled.channels.iter().map(|channels| duty(channels)).collect();
        let look = Self::new(&colours, compiled.span, compiled.motif.into());
        compiled.floor.as_ref().map_or(look, |floor| look.with_floor(duty(floor)))
    }
}

/// Three or four channels as the device has them.
fn duty(channels: &[u16]) -> Duty {
    let mut duty = Duty::default();
    for (duty, channel) in duty.iter_mut().zip(channels) {
        *duty = *channel;
    }
    duty
}

/// The colour temperature of a floor that has no look to take its colour from, in kelvin: the warm white of a night
/// light.
pub const FLOOR_KELVIN: f64 = 2_200.0;

/// The duty of the floor that a fixture keeps beneath everything: the light of its default look at the floor's
/// intensity, several colours mixed into one; where there is no such look, or it lights nothing at that intensity, the
/// warm white of [`floor_duty`]. So an intensity above 0 never comes to a floor that is dark for want of a colour.
#[must_use]
pub fn floor_beneath(default: Option<&Look>, intensity: Intensity, white: Option<WhiteLed>) -> Duty {
    let mixed = default.map(|look| {
        let colours = look.palette().linear();
        let share = intensity.luminance() / (colours.len() as f64).max(1.0);
        let mut sum = [0.0; 3];
        for colour in colours {
            for (sum, light) in sum.iter_mut().zip(colour) {
                *sum += light * share;
            }
        }
        crate::look::duties(sum, white)
    });
    mixed.filter(|duty| *duty != Duty::default()).unwrap_or_else(|| floor_duty(intensity, white))
}

/// The duty of a floor at an intensity, for [`DeviceLook::with_floor`]: warm white, by the white LED as far as the strip
/// has one.
#[must_use]
pub fn floor_duty(intensity: Intensity, white: Option<WhiteLed>) -> Duty {
    let palette = crate::Palette::Kelvin(FLOOR_KELVIN);
    let luminance = intensity.luminance();
    let linear = palette.linear().first().map_or([0.0; 3], |linear| linear.map(|light| light * luminance));
    crate::look::duties(linear, white)
}

/// How much a look lights, as the mean duty of each channel over all pixels, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LookDuty {
    /// Red, green, blue and white at the instant when their sum is greatest.
    pub peak: [f64; 4],
    /// The same over the whole period.
    pub mean: [f64; 4],
}

/// At how many instants of a period [`look_duty`] looks.
const INSTANTS: u64 = 240;

/// How much a look lights on `pixels` pixels.
///
/// A look that moves is rendered at 240 instants, evenly spread over one period, after which everything repeats; `hearth`
/// and `glint` change at most 16 times in a period, so no instant is further than a fifteenth of a step from one that was
/// looked at. Between two of them the peak may be higher by what the motif rises in that time.
#[must_use]
pub fn look_duty(look: &DeviceLook, pixels: usize) -> LookDuty {
    let motif = look.motif();
    let instants = if motif.name == device::MotifName::Steady { 1 } else { INSTANTS };
    let whole = f64::from(u16::MAX) * (pixels as f64).max(1.0);
    let mut peak = [0.0; 4];
    let mut mean = [0.0; 4];
    for instant in 0..instants {
        let unix_ms = instant * u64::from(motif.period_ms) / instants;
        let duty = duty_sum(look.pixels(unix_ms, pixels)).map(|sum| sum as f64 / whole);
        if duty.iter().sum::<f64>() > peak.iter().sum::<f64>() {
            peak = duty;
        }
        for (mean, duty) in mean.iter_mut().zip(duty) {
            *mean += duty / instants as f64;
        }
    }
    LookDuty { peak, mean }
}
