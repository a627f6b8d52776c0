//! A build sheet with every gap filled: each input that is not in the sheet is taken from the chip's data sheet or on
//! the safe side, and named.

use super::answer::{Assumption, say};
use super::chips::{ChipFacts, Timing};
use super::copper::{self, WireSize};
use super::rails::Ladder;
use super::sheet::{BuildSheet, Enclosure, Feed, Mounting, Place, SheetMembers};

/// The temperature at which feed wires are reckoned, in °C: that of the column of the ampacity table, the warmest that
/// they may become. Warm copper loses more and lets less through into a short circuit.
pub(super) const CONDUCTOR_CELSIUS: f64 = 60.0;

/// The densest strips, in pixels a metre; from memory. A feed point nearer than that is not the strip's end.
const DENSEST: f64 = 300.0;

/// All inputs, known or assumed. Single conductors and single rails unless the name says loop.
#[derive(Debug, Clone)]
pub(super) struct Built<'a> {
    pub(super) sheet: &'a SheetMembers,
    pub(super) facts: &'static ChipFacts,
    pub(super) pixels: usize,
    pub(super) density: f64,
    pub(super) metres: f64,
    pub(super) volts: f64,
    /// Current of one channel of one pixel at full duty.
    pub(super) channel_amps: f64,
    pub(super) idle_amps: f64,
    pub(super) light_amps: f64,
    pub(super) controller_amps: f64,
    pub(super) efficiency: f64,
    pub(super) rail_ohms_per_metre: f64,
    pub(super) rail_amps: f64,
    pub(super) size: WireSize,
    pub(super) feed_metres: f64,
    pub(super) conductor_ohms: f64,
    pub(super) ampacity: f64,
    pub(super) points: Vec<f64>,
    pub(super) connector_amps: f64,
    pub(super) branch_fuse: Option<f64>,
    pub(super) supply_limit: Option<f64>,
    pub(super) microfarads: f64,
    pub(super) data_volts: f64,
    pub(super) data_metres: f64,
    pub(super) series_ohms: f64,
    pub(super) clock_hertz: f64,
    pub(super) outputs: usize,
    pub(super) mounting: Mounting,
    pub(super) enclosure: Enclosure,
    pub(super) ambient: f64,
    pub(super) place: Place,
    pub(super) assumptions: Vec<Assumption>,
}

/// Takes a member, or what stands in for it and says so.
struct Gaps(Vec<Assumption>);

impl Gaps {
    fn number(&mut self, pointer: &str, given: Option<f64>, taken: f64, unit: &str, why: &str) -> f64 {
        given.unwrap_or_else(|| {
            self.said(pointer, format!("{} {unit}", say(taken)), why);
            taken
        })
    }

    fn said(&mut self, pointer: &str, taken: String, why: &str) {
        self.0.push(Assumption { pointer: pointer.to_owned(), taken, why: why.to_owned() });
    }
}

impl<'a> Built<'a> {
    pub(super) fn of(sheet: &'a BuildSheet) -> Self {
        let sheet: &SheetMembers = sheet;
        let facts = sheet.chip.facts();
        let mut gaps = Gaps(Vec::new());
        let feed = sheet.feed.clone().unwrap_or_default();
        let pixels = sheet.pixels as usize;
        let farthest = feed.points.iter().flatten().copied().fold(0.0, f64::max);
        let density = sheet.pixels_per_metre.unwrap_or_else(|| {
            let by_points = f64::from(sheet.pixels) / farthest;
            let (density, why) = if (1.0..=DENSEST).contains(&by_points) {
                (by_points, "the farthest feed point was taken for the end of the strip")
            } else {
                (60.0, "a common density, no source; it sets length, heat for each metre and rail resistance")
            };
            gaps.said("/pixels_per_metre", format!("{} pixels a metre", say(density)), why);
            density
        });
        let metres = f64::from(sheet.pixels) / density;
        let volts = gaps.number("/volts", sheet.volts, facts.volts.value, "V", &facts.volts.told());

        let channel = &facts.channel_milliamps;
        let idle = &facts.idle_milliamps;
        let idle_pixel =
            gaps.number("/idle_milliamps", sheet.idle_milliamps, idle.value, "mA a pixel", &idle.told()) / 1000.0;
        let idle_amps = idle_pixel * f64::from(sheet.pixels);
        let channels = facts.channels as f64;
        let light_amps = match sheet.measured_white_amps {
            Some(measured) => (measured - idle_amps).max(0.0),
            None => {
                let pointer = "/channel_milliamps";
                let milliamps =
                    gaps.number(pointer, sheet.channel_milliamps, channel.value, "mA a channel", &channel.told());
                milliamps / 1000.0 * channels * f64::from(sheet.pixels)
            }
        };
        let channel_amps = light_amps / channels / f64::from(sheet.pixels);
        let controller_amps = gaps.number(
            "/controller_milliamps",
            sheet.controller_milliamps,
            500.0,
            "mA",
            "the short peaks of small Wi-Fi controllers while they send; common practice, no source",
        ) / 1000.0;
        let efficiency = gaps.number(
            "/supply_efficiency",
            sheet.supply_efficiency,
            0.8,
            "of 1",
            "small supplies reach 0.8 to 0.9 at load and less when dark; common practice, no source",
        );

        let rail_ohms_per_metre = gaps.number(
            "/rail_ohms_per_metre",
            sheet.rail_ohms_per_metre,
            0.125,
            "ohm/m, one rail",
            "copper 35 µm thick and 4 mm wide (1.7241e-8 ohm m, IEC 60028); makers rarely say: measure both rails of a \
             piece shorted at its end, and write half of it for each metre",
        );
        // At 2.5 W for each metre and rail: 5 A at 0.1 ohm/m.
        let by_heat = (2.5 / rail_ohms_per_metre).sqrt();
        let rail_amps = gaps.number(
            "/rail_amps",
            sheet.rail_amps,
            by_heat,
            "A in one rail",
            "2.5 W of heat in each metre of a rail; common practice, no source",
        );
        let wire = wire(&feed, &mut gaps);
        let ambient = gaps.number(
            "/ambient_celsius",
            sheet.ambient_celsius,
            30.0,
            "°C",
            "a warm room, which is also where the ampacity table begins",
        );
        let points = feed.points.clone().unwrap_or_else(|| {
            gaps.said("/feed/points", "[0]".to_owned(), "one end: the most loss along the strip");
            vec![0.0]
        });
        let connector_amps = gaps.number(
            "/feed/connector_amps",
            feed.connector_amps,
            3.0,
            "A",
            "small three-pole plugs as they come on strips; from memory, unverified: read the connector's data sheet",
        );
        let supply_limit = supply_limit(sheet, &mut gaps);
        let data_volts = gaps.number(
            "/data_volts",
            sheet.data_volts,
            3.3,
            "V",
            "the output of a small Wi-Fi controller without a level shifter",
        );
        let data_metres = gaps.number("/data_metres", sheet.data_metres, 0.5, "m", "a controller beside the strip");
        let series_ohms = gaps.number("/series_ohms", sheet.series_ohms, 0.0, "ohm", "no resistor where none is named");
        let clock_hertz = match facts.timing {
            Timing::OneWire { .. } => 800_000.0,
            Timing::Clocked => gaps.number(
                "/clock_hertz",
                sheet.clock_hertz,
                1_000_000.0,
                "Hz",
                "a slow clock that long strips still pass on; common practice, no source",
            ),
        };
        if sheet.fuse_amps.is_none() {
            gaps.said("/fuse_amps", "no main fuse".to_owned(), "none is named");
        }
        let microfarads =
            gaps.number("/capacitor_microfarads", sheet.capacitor_microfarads, 0.0, "µF", "none is named");
        let mounting = sheet.mounting.unwrap_or_else(|| {
            gaps.said("/mounting", "plastic".to_owned(), "among those that lead least heat away");
            Mounting::Plastic
        });
        let enclosure = sheet.enclosure.unwrap_or_else(|| {
            gaps.said("/enclosure", "sealed".to_owned(), "the hottest");
            Enclosure::Sealed
        });
        let place = sheet.place.unwrap_or_else(|| {
            gaps.said("/place", "dry".to_owned(), "indoors and dry; write damp, wet or outdoor if it is not");
            Place::Dry
        });
        Self {
            sheet,
            facts,
            pixels,
            density,
            metres,
            volts,
            channel_amps,
            idle_amps,
            light_amps,
            controller_amps,
            efficiency,
            rail_ohms_per_metre,
            rail_amps,
            size: wire.0,
            feed_metres: wire.1,
            conductor_ohms: wire.0.ohms_per_metre(CONDUCTOR_CELSIUS) * wire.1,
            ampacity: copper::ampacity(wire.0, ambient),
            points,
            connector_amps,
            branch_fuse: feed.fuse_amps,
            supply_limit,
            microfarads,
            data_volts,
            data_metres,
            series_ohms,
            clock_hertz,
            outputs: sheet.layout.as_ref().and_then(|layout| layout.outputs).unwrap_or(1) as usize,
            mounting,
            enclosure,
            ambient,
            place,
            assumptions: gaps.0,
        }
    }

    /// The strip as a ladder, fed at these points.
    pub(super) fn ladder(&self, points: &[f64]) -> Ladder {
        Ladder::new(self.pixels, self.density, self.rail_ohms_per_metre, self.conductor_ohms, points)
    }

    /// Current of the strip at full white, idle included.
    pub(super) fn full_amps(&self) -> f64 {
        self.light_amps + self.idle_amps
    }

    /// The same total on every pixel alike.
    pub(super) fn even(&self, total: f64) -> Vec<f64> {
        vec![total / self.pixels as f64; self.pixels]
    }
}

fn wire(feed: &Feed, gaps: &mut Gaps) -> (WireSize, f64) {
    let size = match (feed.mm2, feed.awg) {
        (Some(area), _) => WireSize::Mm2(area),
        (None, Some(gauge)) => {
            let why = "pure copper of that area; stranded or tinned wire is a few percent higher";
            gaps.said("/feed/awg", format!("AWG {gauge} by ASTM B258"), why);
            WireSize::Awg(gauge)
        }
        (None, None) => {
            gaps.said("/feed/mm2", "0.5 mm²".to_owned(), "about the leads that come on strips; no source");
            WireSize::Mm2(0.5)
        }
    };
    let metres = gaps.number("/feed/metres", feed.metres, 1.0, "m one way", "no source; measure from supply to strip");
    let taken = format!("conductors at {CONDUCTOR_CELSIUS} °C");
    gaps.said("/feed", taken, "the warmest that the ampacity table allows: warm copper loses more");
    (size, metres)
}

fn supply_limit(sheet: &SheetMembers, gaps: &mut Gaps) -> Option<f64> {
    let count = f64::from(sheet.supplies.unwrap_or(1));
    if let Some(limit) = sheet.supply_limit_amps {
        return Some(limit * count);
    }
    if sheet.supply_amps.is_none() {
        gaps.said("/supply_amps", "not known".to_owned(), "the supply was left out of every check that needs it");
        return None;
    }
    let rated = sheet.supply_amps? * count;
    let why = "supplies limit somewhat above their rating, or cut out; the least is what opens a fuse latest";
    gaps.said("/supply_limit_amps", format!("{} A", say(rated)), why);
    Some(rated)
}
