//! The seven motifs by name, their parameters, and how fast each of them may go.

/// How light moves over a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum MotifName {
    /// Nothing moves.
    Steady,
    /// The whole rises and falls.
    Swell,
    /// A lit stretch moves along, and comes in at one end while it leaves at the other.
    Travel,
    /// It lights up from one end in the first half of the period, and goes dark from the same end in the second.
    Unroll,
    /// Restless like embers.
    Hearth,
    /// Single points flash up.
    Glint,
    /// The colour drifts through its list.
    Wander,
}

impl MotifName {
    /// All of them.
    pub const ALL: [Self; 7] =
        [Self::Steady, Self::Swell, Self::Travel, Self::Unroll, Self::Hearth, Self::Glint, Self::Wander];

    /// The name as documents and messages write it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Swell => "swell",
            Self::Travel => "travel",
            Self::Unroll => "unroll",
            Self::Hearth => "hearth",
            Self::Glint => "glint",
            Self::Wander => "wander",
        }
    }

    /// The motif of this name, if there is one.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|name| name.as_str() == text)
    }

    /// The shortest period in milliseconds with `colours` colours. A shorter one is shown as this one.
    ///
    /// By construction nothing then flashes more than three times in a second (WCAG 2.3.1). `swell`, `travel` and `unroll`
    /// raise and lower a pixel once in a period, `glint` once in a slot, which is no shorter: in 400 ms at least. `hearth`
    /// and `wander` turn back only where two of their steps meet, and a step takes 200 ms at least. So a second holds at
    /// most six turns, which leaves room for one more when looks change; see [`Player`](crate::Player).
    #[must_use]
    pub const fn least_period_ms(self, colours: usize) -> u32 {
        match self {
            Self::Wander => match colours {
                0..=2 => 400,
                3 => 600,
                4 => 800,
                5 => 1_000,
                6 => 1_200,
                7 => 1_400,
                _ => 1_600,
            },
            Self::Steady | Self::Swell | Self::Travel | Self::Unroll | Self::Hearth | Self::Glint => 400,
        }
    }
}

/// Which end of the strip a motif moves to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Toward {
    /// Away from the first pixel.
    End,
    /// To the first pixel.
    Start,
}

impl Toward {
    /// The word as documents and messages write it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::End => "end",
            Self::Start => "start",
        }
    }

    /// The direction of this word, if it is one.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        [Self::End, Self::Start].into_iter().find(|toward| toward.as_str() == text)
    }
}

/// A motif with its parameters, as the `showing` message carries them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Motif {
    /// Which motif.
    pub name: MotifName,
    /// After how many milliseconds everything is as it was before.
    pub period_ms: u32,
    /// `travel`: the lit stretch; `hearth`: an ember; both as a part of the span. `glint`: the share of points that
    /// flash up. 0 to 65535.
    pub width: u16,
    /// Hard (0) to soft (65535): edges in `travel` and `unroll`; how gently `swell`, `glint` and `wander` change; how
    /// shallow `hearth` is.
    pub softness: u16,
    /// `travel` and `unroll`: where it moves to. `wander`: through its list in order (end) or against it (start).
    pub toward: Toward,
    /// What sets apart two fixtures that would otherwise move alike.
    pub seed: u16,
}

impl Motif {
    /// Nothing moves.
    pub const STEADY: Self = Self::new(MotifName::Steady);

    /// The motif with every parameter at its default: 4 s, a quarter, half soft, to the end, seed 0.
    #[must_use]
    pub const fn new(name: MotifName) -> Self {
        Self { name, period_ms: 4_000, width: 16_384, softness: 32_768, toward: Toward::End, seed: 0 }
    }
}
