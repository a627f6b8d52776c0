//! From what messages say to a look in the device's integers: worked out of a document, or resolved by the daemon.
//!
//! Both are read by themselves, without the daemon's own readers: whoever writes firmware has to do the same.

use device::{COLOURS_MAX, DeviceLook, Duty, Motif, MotifName, Toward};
use document::Value;
use light::{Fade, Intensity, Look, LookBuilder, Seconds, Span, WhiteLed, floor_beneath};
use serde::Deserialize;

/// What is to be shown, and how long the change to it takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Picture {
    pub(crate) look: DeviceLook,
    pub(crate) fade_ms: u32,
}

/// The picture of a look of a document by its name in the agenda, above the document's floor if it is `floored`. What
/// cannot be read is dark: the daemon lets nothing through that cannot.
pub(crate) fn of_document(document: &Value, name: &str, floored: bool, white: Option<WhiteLed>) -> Picture {
    let look = look_of(document, name).map_or_else(DeviceLook::dark, |look| {
        DeviceLook::from(&white.map_or_else(|| look.compile(), |white| look.compile_with_white(white)))
    });
    let look = match floor_of(document).filter(|_| floored) {
        Some(floor) => {
            let default = document.get("default").and_then(Value::as_str).and_then(|name| look_of(document, name));
            look.with_floor(floor_beneath(default.as_ref(), floor, white))
        }
        None => look,
    };
    let fade = document.get("fade").and_then(Value::as_f64).and_then(|seconds| Fade::new(seconds).ok());
    Picture { look, fade_ms: fade.unwrap_or(Fade::NONE).milliseconds() }
}

/// The look of a name in the agenda; nothing for `dark` and for what cannot be read.
fn look_of(document: &Value, name: &str) -> Option<Look> {
    let written = match name {
        "dark" => None,
        "override" => document.get("override").and_then(|held| held.get("look")).filter(|look| look.is_object()),
        name => document.get("looks").and_then(|looks| looks.get(name)),
    };
    written.and_then(read_look)
}

/// The least intensity that a document keeps in the dark hours, if it is one that keeps any and is lit.
pub(crate) fn floor_of(document: &Value) -> Option<Intensity> {
    let lit = document.get("lit").and_then(Value::as_bool).unwrap_or(true);
    let floor = document.get("floor").and_then(Value::as_f64).and_then(|floor| Intensity::new(floor).ok());
    floor.filter(|floor| lit && *floor != Intensity::DARK)
}

#[derive(Deserialize)]
struct WrittenLook {
    colours: Option<Vec<String>>,
    kelvin: Option<f64>,
    intensity: Option<f64>,
    span: Option<[f64; 2]>,
    motif: Option<WrittenMotif>,
}

#[derive(Deserialize)]
struct WrittenMotif {
    name: String,
    seconds: Option<f64>,
    width: Option<f64>,
    softness: Option<f64>,
    toward: Option<String>,
    seed: Option<f64>,
}

fn read_look(value: &Value) -> Option<Look> {
    let written = WrittenLook::deserialize(value).ok()?;
    let mut builder: LookBuilder = Look::builder();
    if let Some(colours) = written.colours {
        builder = builder.colours(colours.iter().map(|colour| colour.parse().ok()).collect::<Option<_>>()?);
    }
    if let Some(kelvin) = written.kelvin {
        builder = builder.kelvin(kelvin);
    }
    if let Some(intensity) = written.intensity {
        builder = builder.intensity(Intensity::new(intensity).ok()?);
    }
    if let Some([from, to]) = written.span {
        builder = builder.span(Span::new(from, to).ok()?);
    }
    if let Some(motif) = written.motif {
        builder = builder.motif(read_motif(&motif)?);
    }
    builder.build().ok()
}

fn read_motif(written: &WrittenMotif) -> Option<light::Motif> {
    let mut motif = light::Motif::new(written.name.parse().ok()?);
    if let Some(seconds) = written.seconds {
        motif.seconds = Seconds::new(seconds).ok()?;
    }
    if let Some(width) = written.width {
        motif.width = light::Fraction::new(width).ok()?;
    }
    if let Some(softness) = written.softness {
        motif.softness = light::Fraction::new(softness).ok()?;
    }
    if let Some(toward) = &written.toward {
        motif.toward = toward.parse().ok()?;
    }
    if let Some(seed) = written.seed {
        // A whole number in whatever spelling: 3, 3.0, 3e0. The cast saturates.
        motif.seed = light::Motif::seed(seed as i64).ok()?;
    }
    Some(motif)
}

#[derive(Deserialize)]
struct Resolved {
    channels: Vec<Vec<u16>>,
    span: Option<[u16; 2]>,
    motif: Option<Vec<Value>>,
    #[serde(default)]
    fade_ms: u32,
    floor: Option<Vec<u16>>,
}

/// The picture of a `showing` message; nothing when it does not say what to show.
pub(crate) fn of_showing(showing: &Value) -> Option<Picture> {
    let resolved = Resolved::deserialize(showing).ok()?;
    let colours: Vec<Duty> = resolved.channels.iter().take(COLOURS_MAX).map(|channels| duty(channels)).collect();
    let motif = resolved.motif.as_deref().map_or(Motif::STEADY, resolved_motif);
    let look = DeviceLook::new(&colours, resolved.span.unwrap_or([0, u16::MAX]), motif);
    let look = resolved.floor.map_or(look, |floor| look.with_floor(duty(&floor)));
    Some(Picture { look, fade_ms: resolved.fade_ms })
}

fn duty(channels: &[u16]) -> Duty {
    let mut duty = Duty::default();
    for (duty, channel) in duty.iter_mut().zip(channels) {
        *duty = *channel;
    }
    duty
}

/// `["steady"]`, or name, period, width, softness, toward and seed. A motif that firmware does not know holds still, and
/// a parameter that it cannot read is the usual one.
fn resolved_motif(parts: &[Value]) -> Motif {
    let text = |index: usize| parts.get(index).and_then(Value::as_str);
    let number = |index: usize| parts.get(index).and_then(Value::as_u64);
    let small = |index: usize, usual: u16| number(index).and_then(|n| u16::try_from(n).ok()).unwrap_or(usual);
    let Some(name) = text(0).and_then(MotifName::parse) else { return Motif::STEADY };
    let usual = Motif::new(name);
    Motif {
        period_ms: number(1).and_then(|n| u32::try_from(n).ok()).unwrap_or(usual.period_ms),
        width: small(2, usual.width),
        softness: small(3, usual.softness),
        toward: text(4).and_then(Toward::parse).unwrap_or(usual.toward),
        seed: small(5, usual.seed),
        ..usual
    }
}

#[cfg(test)]
mod tests;
