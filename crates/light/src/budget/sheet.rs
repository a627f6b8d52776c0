//! The build sheet: a fixture's hardware as built, in the shape in which HTTP, the command line and the page hold it.

use std::ops::Deref;

use serde::{Deserialize, Deserializer, Serialize};

use super::chips::Chip;
use super::error::BudgetError;
use super::piece::Piece;
use super::{checking, reading};

/// A list of names that a member may have.
pub(super) trait Named: Sized + Copy + 'static {
    const ALL: &'static [(&'static str, Self)];
}

/// Declares an enum whose variants have names in JSON.
macro_rules! named {
    ($(#[$about:meta])* $name:ident { $($(#[$each:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        pub enum $name { $($(#[$each])* #[serde(rename = $text)] $variant),+ }
        impl Named for $name {
            const ALL: &'static [(&'static str, Self)] = &[$(($text, Self::$variant)),+];
        }
        impl $name {
            /// The name in JSON and in texts.
            pub fn name(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }
        }
    };
}
pub(super) use named;

named! {
    /// What the strip lies on: where its heat goes.
    Mounting {
        /// On an aluminium profile or sheet.
        Aluminium = "aluminium",
        /// On wood, cork or card, which keep heat and can char.
        Wood = "wood",
        /// On or in plastic.
        Plastic = "plastic",
        /// On glass, tile or stone.
        Glass = "glass",
        /// Hung free, air on both sides.
        FreeAir = "free-air",
    }
}
named! {
    /// What is around the strip.
    Enclosure {
        /// Nothing, or a cover that is open along its length.
        Open = "open",
        /// A cover with openings below and above.
        Vented = "vented",
        /// A closed tube, box or potted sleeve.
        Sealed = "sealed",
    }
}
named! {
    /// How wet the fixture can get.
    Place {
        /// Indoors, dry.
        Dry = "dry",
        /// Indoors where water condenses or splashes: bathroom, kitchen, cellar.
        Damp = "damp",
        /// Water jets, standing water or ground.
        Wet = "wet",
        /// Outdoors, under the sky or a roof.
        Outdoor = "outdoor",
    }
}

/// How power reaches the strip. Each feed point has its own pair of wires of this gauge and length.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Feed {
    /// Cross-section of one conductor in mm² (flexible copper, IEC 60228 class 5); not together with `awg`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mm2: Option<f64>,
    /// Gauge of one conductor (AWG, ASTM B258); not together with `mm2`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub awg: Option<u32>,
    /// Length one way, in metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metres: Option<f64>,
    /// Where power goes in: metres along the strip from pixel 0's end. `[0]` one end, `[0, 1.0]` both ends of a metre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub points: Option<Vec<f64>>,
    /// What the weakest connector in a pair of feed wires may carry, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub connector_amps: Option<f64>,
    /// Rating of the fuse that each pair of feed wires has of its own, in amps; left out where only the main fuse is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse_amps: Option<f64>,
}

/// How frames lie on the strip.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Layout {
    /// How many first pixels stay dark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub skip: Option<u32>,
    /// Runs of pixels `[first, last]`, both in it, in the order of the frame; `last < first` runs backwards.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runs: Option<Vec<[u32; 2]>>,
    /// Over how many data outputs the pixels are shared.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outputs: Option<u32>,
    /// The order in which the chip takes its channels, such as `"GRB"`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// White balance: per channel a factor 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub white_balance: Option<Vec<f64>>,
}

/// What stands between a person and the mains.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Protection {
    /// The supply is an isolated safety extra-low-voltage supply (SELV).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub selv: Option<bool>,
    /// Its mains side is behind a residual current device (RCD, GFCI) of 30 mA or less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rcd: Option<bool>,
    /// The fixture's ingress protection, such as `"IP65"` (IEC 60529).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ip: Option<String>,
}

/// The members of a build sheet. What is left out is taken from the chip's data sheet or named as an assumption.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetMembers {
    /// The addressable chip.
    pub chip: Chip,
    /// How many pixels the strip has, skipped ones included.
    pub pixels: u32,
    /// Pixels in a metre of strip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pixels_per_metre: Option<f64>,
    /// What the supply gives unloaded, in volts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub volts: Option<f64>,
    /// What the supply is rated for, in amps; of one supply where there are several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_amps: Option<f64>,
    /// What the supply gives into a short circuit before it cuts out, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_limit_amps: Option<f64>,
    /// How many supplies feed the same plus rail.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supplies: Option<u32>,
    /// Efficiency of the supply, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_efficiency: Option<f64>,
    /// Rating of the main fuse, in amps; left out where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse_amps: Option<f64>,
    /// Current of one channel at full duty, in milliamps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_milliamps: Option<f64>,
    /// Current of one dark pixel, in milliamps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub idle_milliamps: Option<f64>,
    /// Current of the controller, in milliamps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub controller_milliamps: Option<f64>,
    /// Current of the whole strip at full white as the owner measured it, idle included, controller not, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_white_amps: Option<f64>,
    /// Resistance of one rail of the strip (not the loop), in ohms per metre.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rail_ohms_per_metre: Option<f64>,
    /// What one rail of the strip may carry by its maker, in amps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rail_amps: Option<f64>,
    /// How power reaches the strip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub feed: Option<Feed>,
    /// Buffer capacitor across the strip's supply, in microfarads, all together.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacitor_microfarads: Option<f64>,
    /// An inrush limiter or a soft-starting supply is fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inrush_limiter: Option<bool>,
    /// High level of the data line, in volts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub data_volts: Option<f64>,
    /// Length of the data line, in metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub data_metres: Option<f64>,
    /// Resistor in series with the data line, in ohms.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub series_ohms: Option<f64>,
    /// Clock of a clocked chip, in hertz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clock_hertz: Option<f64>,
    /// A relay or transistor cuts the strip's power in the dark.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub relay: Option<bool>,
    /// What the strip lies on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mounting: Option<Mounting>,
    /// What is around the strip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub enclosure: Option<Enclosure>,
    /// The warmest air around the fixture, in °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ambient_celsius: Option<f64>,
    /// How wet the fixture can get.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// What stands between a person and the mains.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub protection: Option<Protection>,
    /// How frames lie on the strip.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layout: Option<Layout>,
}

impl SheetMembers {
    /// A sheet of which only the chip and the number of pixels are known.
    pub fn new(chip: Chip, pixels: u32) -> Self {
        Self {
            chip,
            pixels,
            pixels_per_metre: None,
            volts: None,
            supply_amps: None,
            supply_limit_amps: None,
            supplies: None,
            supply_efficiency: None,
            fuse_amps: None,
            channel_milliamps: None,
            idle_milliamps: None,
            controller_milliamps: None,
            measured_white_amps: None,
            rail_ohms_per_metre: None,
            rail_amps: None,
            feed: None,
            capacitor_microfarads: None,
            inrush_limiter: None,
            data_volts: None,
            data_metres: None,
            series_ohms: None,
            clock_hertz: None,
            relay: None,
            mounting: None,
            enclosure: None,
            ambient_celsius: None,
            place: None,
            protection: None,
            layout: None,
        }
    }

    /// Holds the members against the rules.
    ///
    /// # Errors
    /// [`BudgetError::Sheet`] with every fault.
    pub fn check(self) -> Result<BuildSheet, BudgetError> {
        let faults = checking::faults(&self, true, true);
        if faults.is_empty() { Ok(BuildSheet(self)) } else { Err(BudgetError::Sheet(faults)) }
    }
}

/// A build sheet whose members are held against the rules: every number finite and in its range, every feed point and
/// run on the strip. Its members are read through it.
///
/// ```
/// use light::budget::UncheckedSheet;
///
/// let text = r#"{"chip": "ws2812b", "pixels": 144, "pixels_per_metre": 144, "feed": {"points": [0, 2.5]}}"#;
/// let faults = serde_json::from_str::<UncheckedSheet>(text).unwrap().check().unwrap_err();
/// assert!(faults.to_string().contains("/feed/points/1"));
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(transparent)]
pub struct BuildSheet(SheetMembers);

impl BuildSheet {
    /// The members, to change some and check again.
    pub fn into_members(self) -> SheetMembers {
        self.0
    }
}

impl Deref for BuildSheet {
    type Target = SheetMembers;
    fn deref(&self) -> &SheetMembers {
        &self.0
    }
}

impl<'de> Deserialize<'de> for BuildSheet {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        UncheckedSheet::deserialize(deserializer)?.check().map_err(serde::de::Error::custom)
    }
}

/// JSON of any shape that wants to be a build sheet. It always reads; [`UncheckedSheet::check`] tells every fault.
#[derive(Debug, Clone, PartialEq)]
pub struct UncheckedSheet(Piece);

impl UncheckedSheet {
    /// Reads and checks: unknown members, types, names, ranges and what members say about each other.
    ///
    /// # Errors
    /// [`BudgetError::Sheet`] with every fault, each with its JSON Pointer.
    pub fn check(self) -> Result<BuildSheet, BudgetError> {
        reading::sheet(self.0).map(BuildSheet).map_err(BudgetError::Sheet)
    }
}

impl<'de> Deserialize<'de> for UncheckedSheet {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Piece::deserialize(deserializer).map(Self)
    }
}
