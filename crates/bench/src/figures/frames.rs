//! What a frame costs: each motif rendered to the bytes of a strip, against a bare copy of as many bytes; and the
//! budget of a strip of 5,000 pixels.

use std::hint::black_box;
use std::time::{Duration, Instant};

use device::{Chip, DeviceLook, Layout, Motif, MotifName, Output};
use light::budget::{LookLoad, SheetMembers, budget};

use crate::error::BenchError;
use crate::figure::Figure;
use crate::plan::thousands;
use crate::rounds::{Pairs, median};
use crate::yard::Yard;

const WHAT: &str = "frames";
const MOTIFS: [MotifName; 7] = [
    MotifName::Steady,
    MotifName::Swell,
    MotifName::Travel,
    MotifName::Unroll,
    MotifName::Hearth,
    MotifName::Glint,
    MotifName::Wander,
];
/// A frame every 16 ms of a fixture's time.
const STEP_MS: u64 = 16;

pub(super) fn measure(yard: &Yard) -> Result<Vec<Figure>, BenchError> {
    let (rounds, length) = (yard.plan.rounds, yard.plan.slice / 20);
    let mut figures = Vec::new();
    for pixels in [144, 1_000] {
        for motif in MOTIFS {
            figures.push(motif_figure(motif, pixels, rounds, length)?);
        }
    }
    figures.push(budget_figure(rounds)?);
    Ok(figures)
}

/// Eight colours, the dearest that a look can have.
fn look(name: MotifName) -> DeviceLook {
    let colours =
        [0_u16, 9_000, 18_000, 27_000, 36_000, 45_000, 54_000, 63_000].map(|duty| [duty, 65_535 - duty, 500, 0]);
    DeviceLook::new(&colours, [0, u16::MAX], Motif { seed: 7, ..Motif::new(name) })
}

fn motif_figure(name: MotifName, pixels: u32, rounds: usize, length: Duration) -> Result<Figure, BenchError> {
    let output = Output::new(Chip::Ws2812b, Layout::straight(0, pixels));
    let look = look(name);
    let mut out = vec![0; output.bytes()];
    let mut pairs = Pairs::default();
    for _ in 0..rounds {
        let mut now_ms = 1_764_060_000_000;
        let ours = each(length, || {
            now_ms += STEP_MS;
            output.frame(black_box(&look), now_ms, black_box(&mut out)).is_some()
        });
        let from = vec![1_u8; out.len()];
        let copied = each(length, || {
            black_box(&mut out).copy_from_slice(black_box(&from));
            true
        });
        let (Some(ours), Some(copied)) = (ours, copied) else {
            return Err(BenchError::unexpected("rendering a frame", "its buffer is too short"));
        };
        pairs.push(ours * 1e9 / f64::from(pixels), copied * 1e9 / f64::from(pixels));
    }
    Ok(Figure::paired(WHAT, format!("{}, each pixel", name.as_str()), "ns", &pairs)
        .size(format!("{} pixels", thousands(u64::from(pixels))))
        .ceiling_is("a bare copy of the same bytes"))
}

/// Seconds that one call takes, over many; nothing if one fails.
fn each(length: Duration, mut call: impl FnMut() -> bool) -> Option<f64> {
    let began = Instant::now();
    let mut calls = 0_u32;
    while began.elapsed() < length {
        for _ in 0..64 {
            if !call() {
                return None;
            }
        }
        calls += 64;
    }
    Some(began.elapsed().as_secs_f64() / f64::from(calls.max(1)))
}

fn budget_figure(rounds: usize) -> Result<Figure, BenchError> {
    let wrong = |error: light::budget::BudgetError| BenchError::unexpected("checking a build sheet", error.to_string());
    let sheet = SheetMembers::new(light::budget::Chip::Ws2812b, 5_000).check().map_err(wrong)?;
    let load = LookLoad { name: "evening".into(), peak: vec![0.5; 3], mean: vec![0.3; 3], profile: None };
    let taken = (0..rounds).map(|_| {
        let began = Instant::now();
        black_box(budget(black_box(&sheet), std::slice::from_ref(&load)));
        began.elapsed().as_secs_f64() * 1e3
    });
    Ok(Figure::alone(WHAT, "budget of a build sheet", "ms", median(taken.collect())).size("5,000 pixels, one feed"))
}
