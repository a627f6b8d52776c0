//! The electrical facts of the addressable chips, each figure with the sheet that it is from.
//!
//! Sheets disagree and are revised: where they do, the figure here is the one that plans more safely, and its source
//! says which it is. Figures from memory say so.

use serde::{Deserialize, Serialize};

use super::sheet::{Named, named};

named! {
    /// An addressable LED chip.
    Chip {
        /// Worldsemi WS2812B: 5 V, three channels, one wire.
        Ws2812b = "ws2812b",
        /// SK6812: 5 V, three channels, one wire.
        Sk6812 = "sk6812",
        /// SK6812 with a white LED: 5 V, four channels, one wire.
        Sk6812rgbw = "sk6812rgbw",
        /// Worldsemi WS2815: 12 V, three channels, one wire and a backup.
        Ws2815 = "ws2815",
        /// APA102: 5 V, three channels, clocked.
        Apa102 = "apa102",
        /// SK9822: 5 V, three channels, clocked.
        Sk9822 = "sk9822",
        /// Worldsemi WS2811 on 12 V strips: one chip, called a pixel here, drives three LEDs in series on each channel.
        Ws2811 = "ws2811",
    }
}

impl Chip {
    /// Its electrical facts.
    pub fn facts(self) -> &'static ChipFacts {
        match self {
            Self::Ws2812b => &WS2812B,
            Self::Sk6812 => &SK6812,
            Self::Sk6812rgbw => &SK6812RGBW,
            Self::Ws2815 => &WS2815,
            Self::Apa102 => &APA102,
            Self::Sk9822 => &SK9822,
            Self::Ws2811 => &WS2811,
        }
    }

    /// All chips, in the order of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        Self::ALL.iter().map(|(_, chip)| *chip)
    }
}

/// The facts of the chip with this name, or `None` if there is none.
pub fn chip_facts(name: &str) -> Option<&'static ChipFacts> {
    Chip::ALL.iter().find(|(each, _)| *each == name).map(|(_, chip)| chip.facts())
}

/// How well a figure is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// The sheet, or a page that reprints its table, was read.
    Read,
    /// A public summary of the sheet was read.
    SecondHand,
    /// From memory, unverified.
    Memory,
    /// Common practice without a source.
    Practice,
}

impl Known {
    /// In words, to stand behind a source.
    pub fn words(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::SecondHand => "second hand",
            Self::Memory => "from memory, unverified",
            Self::Practice => "common practice, no source",
        }
    }
}

/// A figure with where it is from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The value, in the unit that the field names.
    pub value: f64,
    /// The sheet, with its revision where it is known.
    pub source: &'static str,
    /// How well it is known.
    pub known: Known,
}

impl Figure {
    /// Source and how well it is known, for a sentence.
    pub fn told(&self) -> String {
        format!("{} ({})", self.source, self.known.words())
    }
}

const fn read(value: f64, source: &'static str) -> Figure {
    Figure { value, source, known: Known::Read }
}
const fn second(value: f64, source: &'static str) -> Figure {
    Figure { value, source, known: Known::SecondHand }
}
const fn memory(value: f64, source: &'static str) -> Figure {
    Figure { value, source, known: Known::Memory }
}
const fn practice(value: f64, source: &'static str) -> Figure {
    Figure { value, source, known: Known::Practice }
}

/// What a data line must reach to be read as high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum High {
    /// This fraction of the chip's own supply voltage.
    OfSupply(Figure),
    /// This many volts: the chip's logic runs from a supply of its own inside.
    Volts(Figure),
}

impl High {
    /// The threshold in volts at a supply voltage, in volts.
    pub fn at(&self, volts: f64) -> f64 {
        match self {
            Self::OfSupply(fraction) => fraction.value * volts,
            Self::Volts(figure) => figure.value,
        }
    }

    /// The figure behind it.
    pub fn figure(&self) -> &Figure {
        match self {
            Self::OfSupply(figure) | Self::Volts(figure) => figure,
        }
    }
}

/// How data goes in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Timing {
    /// One wire: microseconds for a bit, then a low time of so many microseconds.
    OneWire {
        /// Time of one bit, in microseconds.
        bit_micros: Figure,
        /// Low time that ends a frame, in microseconds.
        reset_micros: Figure,
    },
    /// Data and clock: 32 bits for a pixel between a start and an end frame.
    Clocked,
}

/// The electrical facts of one chip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChipFacts {
    /// Its name in build sheets.
    pub name: &'static str,
    /// Channels of a pixel.
    pub channels: usize,
    /// The voltage it is meant for, in volts.
    pub volts: Figure,
    /// The least at which its sheet vouches for its colours, in volts.
    pub volts_least: Figure,
    /// The least at which it still takes data, in volts: nothing is vouched for between the two.
    pub volts_runs: Figure,
    /// The most, in volts.
    pub volts_most: Figure,
    /// Current of one channel at full duty, in milliamps.
    pub channel_milliamps: Figure,
    /// Current of a dark pixel, in milliamps.
    pub idle_milliamps: Figure,
    /// What its data input takes for high.
    pub high: High,
    /// Greatest capacitance of its data input, in picofarads.
    pub input_picofarads: Figure,
    /// How data goes in.
    pub timing: Timing,
    /// Frequency of its own pulse width modulation, in hertz.
    pub refresh_hertz: Figure,
}

const WS2812B_V1: &str = "WS2812B data sheet V1.0, Worldsemi, January 2016";
const WS2812B_V5: &str = "WS2812B-V5 data sheet, Worldsemi, 2018 and later";
const SK6812_SHEETS: &str = "SK6812 sheets, Opsco, Jercio, LED Color, 2015 to 2017";
const RGBW_SHEET: &str = "SK6812 RGBW sheets, Opsco SPC/SK6812RGBW Rev. 01, 2015";
const PARTS_TABLE: &str = "a public table of addressable LED parts";
const WS2815_SHEET: &str = "WS2815 data sheet, Worldsemi";
const APA102_SHEET: &str = "APA102 data sheet, APA";
const SK9822_SHEET: &str = "SK9822 sheets, Opsco SPC/SK9822 Rev. 01, 2016, and Rev. 07, 2019";
const WS2811_SHEET: &str = "WS2811 data sheet, Worldsemi";
const MEASURED: &str = "measurements reported in public; not in the sheet";
const CUSTOM: &str = "20 mA a channel by custom; not in the sheet";

const WS2812B: ChipFacts = ChipFacts {
    name: "ws2812b",
    channels: 3,
    volts: read(5.0, WS2812B_V1),
    volts_least: read(4.5, WS2812B_V1),
    volts_runs: memory(3.7, WS2812B_V5),
    volts_most: read(5.3, WS2812B_V1),
    channel_milliamps: practice(20.0, CUSTOM),
    idle_milliamps: memory(1.0, MEASURED),
    high: High::OfSupply(read(0.7, WS2812B_V1)),
    input_picofarads: read(15.0, WS2812B_V1),
    timing: Timing::OneWire { bit_micros: read(1.25, WS2812B_V1), reset_micros: read(280.0, WS2812B_V5) },
    refresh_hertz: read(400.0, WS2812B_V1),
};

const SK6812: ChipFacts = ChipFacts {
    name: "sk6812",
    channels: 3,
    volts: memory(5.0, SK6812_SHEETS),
    volts_least: memory(4.5, SK6812_SHEETS),
    volts_runs: memory(3.7, SK6812_SHEETS),
    volts_most: memory(5.3, SK6812_SHEETS),
    channel_milliamps: practice(20.0, CUSTOM),
    idle_milliamps: memory(1.0, MEASURED),
    high: High::OfSupply(memory(0.7, SK6812_SHEETS)),
    input_picofarads: memory(15.0, SK6812_SHEETS),
    timing: Timing::OneWire { bit_micros: second(1.25, SK6812_SHEETS), reset_micros: second(80.0, SK6812_SHEETS) },
    refresh_hertz: memory(1200.0, SK6812_SHEETS),
};

const SK6812RGBW: ChipFacts = ChipFacts {
    name: "sk6812rgbw",
    channels: 4,
    volts: memory(5.0, RGBW_SHEET),
    volts_least: memory(4.5, RGBW_SHEET),
    volts_runs: second(3.5, PARTS_TABLE),
    volts_most: second(5.3, PARTS_TABLE),
    // Four times 20 mA is the custom; the table says 100 mA a pixel. The worst case is the larger.
    channel_milliamps: second(25.0, "100 mA a pixel in a public table of addressable LED parts; 80 mA by custom"),
    idle_milliamps: memory(1.0, MEASURED),
    high: High::OfSupply(memory(0.7, RGBW_SHEET)),
    input_picofarads: memory(15.0, RGBW_SHEET),
    timing: Timing::OneWire { bit_micros: second(1.25, SK6812_SHEETS), reset_micros: second(80.0, SK6812_SHEETS) },
    refresh_hertz: memory(1200.0, RGBW_SHEET),
};

const WS2815: ChipFacts = ChipFacts {
    name: "ws2815",
    channels: 3,
    volts: read(12.0, WS2815_SHEET),
    volts_least: read(9.0, WS2815_SHEET),
    volts_runs: read(9.0, WS2815_SHEET),
    volts_most: read(13.0, WS2815_SHEET),
    channel_milliamps: memory(15.0, "WS2815 sheets, which differ"),
    idle_milliamps: memory(2.0, MEASURED),
    // The sheet prints 0.7 VDD, 8.4 V at 12 V, which cannot be meant: the logic runs from 5 V made inside.
    high: High::Volts(memory(3.5, "0.7 of the 5 V that the WS2815 makes inside; its sheet prints 0.7 VDD")),
    input_picofarads: read(15.0, WS2815_SHEET),
    timing: Timing::OneWire { bit_micros: read(1.25, WS2815_SHEET), reset_micros: read(300.0, WS2815_SHEET) },
    refresh_hertz: read(2000.0, WS2815_SHEET),
};

const APA102: ChipFacts = ChipFacts {
    name: "apa102",
    channels: 3,
    volts: memory(5.0, APA102_SHEET),
    volts_least: memory(4.5, APA102_SHEET),
    volts_runs: memory(3.7, APA102_SHEET),
    volts_most: memory(5.5, APA102_SHEET),
    channel_milliamps: memory(20.0, APA102_SHEET),
    idle_milliamps: memory(1.0, MEASURED),
    high: High::OfSupply(memory(0.7, APA102_SHEET)),
    input_picofarads: memory(15.0, APA102_SHEET),
    timing: Timing::Clocked,
    // Below full global brightness a second, slow modulation of about 580 Hz shows.
    refresh_hertz: memory(580.0, "public analyses of the APA102"),
};

const SK9822: ChipFacts = ChipFacts {
    name: "sk9822",
    channels: 3,
    volts: memory(5.0, SK9822_SHEET),
    volts_least: memory(4.5, SK9822_SHEET),
    volts_runs: second(3.7, PARTS_TABLE),
    volts_most: second(5.5, PARTS_TABLE),
    channel_milliamps: memory(20.0, SK9822_SHEET),
    idle_milliamps: memory(1.0, MEASURED),
    high: High::OfSupply(memory(0.7, SK9822_SHEET)),
    input_picofarads: memory(15.0, SK9822_SHEET),
    timing: Timing::Clocked,
    refresh_hertz: memory(4700.0, "public analyses of the SK9822"),
};

const WS2811: ChipFacts = ChipFacts {
    name: "ws2811",
    channels: 3,
    volts: memory(12.0, "12 V strips with the WS2811"),
    volts_least: memory(10.5, "three LEDs in series and the driver's own need on 12 V strips with the WS2811"),
    volts_runs: memory(9.5, "three LEDs in series on 12 V strips with the WS2811"),
    volts_most: memory(13.0, "12 V strips with the WS2811"),
    channel_milliamps: memory(18.5, WS2811_SHEET),
    idle_milliamps: memory(2.0, MEASURED),
    high: High::Volts(memory(3.5, "0.7 of the 5 V that the WS2811 makes inside")),
    input_picofarads: memory(15.0, WS2811_SHEET),
    timing: Timing::OneWire { bit_micros: memory(1.25, WS2811_SHEET), reset_micros: memory(280.0, WS2811_SHEET) },
    refresh_hertz: memory(400.0, WS2811_SHEET),
};
