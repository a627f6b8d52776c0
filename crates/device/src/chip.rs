//! The addressable LED chips: how each takes its bytes.
//!
//! Where a figure's data sheet was not read it says so: *second hand* is a public summary of data sheets, *memory* is
//! unverified. What a chip draws, and what it may be fed, is the budget's business.

use crate::Order;

/// An addressable LED chip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Chip {
    /// An outside driver chip for three LEDs, usually at 12 V.
    Ws2811,
    /// Three colours at 5 V.
    Ws2812b,
    /// Three colours at 12 V, with a backup data line.
    Ws2815,
    /// Three colours at 5 V.
    Sk6812,
    /// Three colours and white at 5 V.
    Sk6812rgbw,
    /// Three colours at 5 V, with a clock line and 5 bits of brightness.
    Apa102,
    /// Three colours at 5 V, with a clock line and 5 bits of current.
    Sk9822,
}

/// How a chip takes its data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Protocol {
    /// One line, on which a bit's length of high says what it is.
    OneWire {
        /// The time of a bit, in nanoseconds.
        bit_ns: u32,
        /// How long the line rests low until the pixels show what they were sent, in microseconds.
        reset_us: u32,
    },
    /// A data and a clock line; the controller chooses the clock. Before each pixel's bytes stand three set bits and
    /// five of brightness.
    Clocked {
        /// What the end frame is filled with.
        end_fill: u8,
        /// How many bytes of it there are at least, before those that only push the clock along the strip.
        end_least: u8,
    },
}

impl Chip {
    /// All of them.
    pub const ALL: [Self; 7] =
        [Self::Ws2811, Self::Ws2812b, Self::Ws2815, Self::Sk6812, Self::Sk6812rgbw, Self::Apa102, Self::Sk9822];

    /// The name as a build sheet writes it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ws2811 => "ws2811",
            Self::Ws2812b => "ws2812b",
            Self::Ws2815 => "ws2815",
            Self::Sk6812 => "sk6812",
            Self::Sk6812rgbw => "sk6812rgbw",
            Self::Apa102 => "apa102",
            Self::Sk9822 => "sk9822",
        }
    }

    /// The chip of this name; case does not matter.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|chip| chip.name().eq_ignore_ascii_case(text))
    }

    /// How many channels a pixel has, 3 or 4.
    #[must_use]
    pub const fn channels(self) -> u8 {
        self.order().count()
    }

    /// The order of bytes unless the build sheet names another; strips differ, so it is a setting.
    ///
    /// Sources: `ws2812b` its data sheet V1.0 of 2016 (read); `apa102` its data sheet as shown in public (read);
    /// `sk6812rgbw` G R B W on most strips (second hand); `ws2815` differs between sheets; the others from memory.
    #[must_use]
    pub const fn order(self) -> Order {
        match self {
            Self::Ws2811 => Order::RGB,
            Self::Ws2812b | Self::Ws2815 | Self::Sk6812 => Order::GRB,
            Self::Sk6812rgbw => Order::GRBW,
            Self::Apa102 | Self::Sk9822 => Order::BGR,
        }
    }

    /// How it takes its data.
    ///
    /// Sources: 800 kbit/s of the WS2812B data sheet V1.0 and the WS2815's, reset 280 µs of the WS2812B-V5's and 300 µs
    /// of the WS2815's (read; the WS2812B of 2016 is content with 50 µs); SK6812 80 µs and 1.2 µs (second hand), which is
    /// sent as 1.25 µs; WS2811 at 800 kbit/s, 280 µs to be safe (memory). End frames: 32 ones by the APA102's data sheet
    /// (read), zeros for the SK9822 (memory), and half a clock for each pixel beyond (from public analyses, memory).
    #[must_use]
    pub const fn protocol(self) -> Protocol {
        match self {
            Self::Ws2811 | Self::Ws2812b => Protocol::OneWire { bit_ns: 1_250, reset_us: 280 },
            Self::Ws2815 => Protocol::OneWire { bit_ns: 1_250, reset_us: 300 },
            Self::Sk6812 | Self::Sk6812rgbw => Protocol::OneWire { bit_ns: 1_250, reset_us: 80 },
            Self::Apa102 => Protocol::Clocked { end_fill: 0xff, end_least: 4 },
            Self::Sk9822 => Protocol::Clocked { end_fill: 0, end_least: 4 },
        }
    }

    /// How often its PWM begins anew, in Hz, at a global brightness of 1 to 31 (31 for chips without): the least that any
    /// revision is known to have.
    ///
    /// Sources: `ws2812b` not less than 400 by its data sheet V1.0 (read; its V5 has 2000); `ws2815` 2000 by its data
    /// sheet (read); `ws2811` 400, `sk6812` 1200, `apa102` 19000 for the colours, with a second PWM of 580 for a
    /// brightness below 31, `sk9822` 4700 at any, since there it sets the current (memory).
    #[must_use]
    pub const fn pwm_hz(self, global: u8) -> u32 {
        match self {
            Self::Ws2811 | Self::Ws2812b => 400,
            Self::Ws2815 => 2_000,
            Self::Sk6812 | Self::Sk6812rgbw => 1_200,
            Self::Apa102 if global < 31 => 580,
            Self::Apa102 => 19_000,
            Self::Sk9822 => 4_700,
        }
    }

    /// How long it takes to send a frame to `pixels` of them, in microseconds, rounded up. `clock_hz` is the clock of a
    /// clocked chip, at least 1.
    #[must_use]
    pub fn frame_us(self, pixels: u32, clock_hz: u32) -> u64 {
        let bytes = u64::from(self.channels()).saturating_mul(u64::from(pixels));
        match self.protocol() {
            Protocol::OneWire { bit_ns, reset_us } => {
                let data_ns = bytes.saturating_mul(8).saturating_mul(u64::from(bit_ns));
                data_ns.div_ceil(1_000).saturating_add(u64::from(reset_us))
            }
            Protocol::Clocked { end_least, .. } => {
                let frames = u64::from(end_least).saturating_add(4).saturating_add(u64::from(pixels.div_ceil(16)));
                let bytes = bytes.saturating_add(u64::from(pixels)).saturating_add(frames);
                let clocks = bytes.saturating_mul(8).saturating_mul(1_000_000);
                clocks.div_ceil(u64::from(clock_hz.max(1)))
            }
        }
    }
}
