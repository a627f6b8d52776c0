//! The integer form of a look, as the `showing` message carries it.

use std::fmt::Write as _;

use crate::{Motif, MotifName, Toward};

/// A look in the device's integers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compiled {
    /// The linear duty, 0 to 65535, of red, green, blue and, where the strip has it, white for each
    /// colour in order, intensity applied.
    pub channels: Vec<Vec<u16>>,
    /// The lit part of the length, 0 to 65535; the first is less than the second.
    pub span: [u16; 2],
    /// How it moves.
    pub motif: CompiledMotif,
    /// The least duty beneath everything, over the whole length and not only the span, in as many channels as the
    /// colours have; nothing where no floor is kept. [`floor_beneath`](crate::floor_beneath) reckons it.
    pub floor: Option<Vec<u16>>,
}

/// A motif in the device's integers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CompiledMotif {
    /// Which motif.
    pub name: MotifName,
    /// The period in milliseconds, 400 to 3600000.
    pub period_ms: u32,
    /// How much of the span the lit stretch takes, 0 to 65535.
    pub width: u16,
    /// Hard edges (0) to the softest (65535).
    pub softness: u16,
    /// Which end it moves to.
    pub toward: Toward,
    /// What sets apart two fixtures that would otherwise move alike.
    pub seed: u16,
}

impl CompiledMotif {
    /// Appends the motif as the JSON array of the `showing` message: `["steady"]`, or for every
    /// other `[name, period_ms, width, softness, toward, seed]`, such as
    /// `["unroll",1500,16384,32768,"start",0]`.
    pub fn write(&self, out: &mut String) {
        // Writing to a String cannot fail, and the names hold nothing that JSON would escape.
        let _ = write!(out, "[\"{}\"", self.name);
        if self.name != MotifName::Steady {
            let _ =
                write!(out, ",{},{},{},\"{}\",{}", self.period_ms, self.width, self.softness, self.toward, self.seed);
        }
        out.push(']');
    }
}

impl From<Motif> for CompiledMotif {
    fn from(motif: Motif) -> Self {
        Self {
            name: motif.name,
            period_ms: motif.seconds.milliseconds(),
            width: motif.width.to_u16(),
            softness: motif.softness.to_u16(),
            toward: motif.toward,
            seed: motif.seed,
        }
    }
}
