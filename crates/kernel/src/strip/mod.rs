//! The desired document of a strip, read from JSON into types that cannot be wrong.

mod look;
mod reader;
mod timetable;

use std::collections::BTreeMap;

use almanac::{Override, Plan, Timetable, Until};
use document::{Pointer, Value};
use jiff::Timestamp;
use light::{Fade, Intensity, Look};

use crate::rejection::{Advice, Finding};
use reader::{At, Known, Reader};

/// The name of the built-in look in which nothing is lit.
pub(crate) const DARK: &str = almanac::DARK;
/// The name under which an override's own look goes in agenda and showing.
pub(crate) const OVERRIDE: &str = "override";
/// How many looks a strip may have.
const LOOKS: usize = 64;

/// A strip's desired document, read.
#[derive(Debug, Clone, PartialEq)]
pub struct Strip {
    /// Whether it is lit at all.
    pub lit: bool,
    /// The look for when nothing else holds.
    pub default: Option<String>,
    /// How long it takes from one look to the next.
    pub fade: Fade,
    /// The least intensity that a walkway keeps in the dark hours.
    pub floor: Intensity,
    /// The looks by name.
    pub looks: BTreeMap<String, Look>,
    /// Which look from when.
    pub timetable: Timetable,
    /// The owner's look in place of the timetable.
    pub owners_override: Option<OverrideLook>,
}

/// An override: a look by name or of its own, and its end.
#[derive(Debug, Clone, PartialEq)]
pub struct OverrideLook {
    /// The name of the look, [`OVERRIDE`] for one of its own.
    pub name: String,
    /// The look of its own, if it has one.
    pub look: Option<Look>,
    /// Until when.
    pub until: Until,
}

impl Strip {
    /// Reads a strip's desired document. Members that are not known are kept for the firmware and flagged.
    ///
    /// # Errors
    /// Every finding, each with pointer and advice.
    pub fn read(desired: &Value) -> Result<(Self, Vec<Advice>), Vec<Finding>> {
        let mut reader = Reader::default();
        let root = At::Whole;
        let mut strip = Self {
            lit: true,
            default: None,
            fade: Fade::NONE,
            floor: Intensity::DARK,
            looks: BTreeMap::new(),
            timetable: Timetable::default(),
            owners_override: None,
        };
        let known = Known(desired.get("looks").and_then(Value::as_object));
        if let Some(looks) = desired.get("looks") {
            strip.looks = reader.looks(&root.child("looks"), looks);
        }
        for (name, value) in desired.as_object().into_iter().flatten() {
            let at = root.child(name);
            match name.as_str() {
                "looks" => {}
                "lit" => strip.lit = reader.flag(&at, value, true),
                "default" => strip.default = reader.look_name(&at, value, known),
                "fade" => {
                    strip.fade =
                        reader.number(&at, value, "write seconds, such as 2.0").map_or(Fade::NONE, |seconds| {
                            reader.made(&at, Fade::new(seconds), Fade::NONE, "write seconds, such as 2.0")
                        });
                }
                "floor" => {
                    strip.floor = reader.number(&at, value, "write 0 to 100, such as 8").map_or(Intensity::DARK, |n| {
                        reader.made(&at, Intensity::new(n), Intensity::DARK, "write 0 to 100, such as 8")
                    });
                }
                "timetable" => strip.timetable = reader.timetable(&at, value, known),
                "override" => strip.owners_override = reader.owners_override(&at, value, known),
                _ => {
                    reader.advise(&at, format!("{name} is not known to sconced; it is kept for the firmware as it is"))
                }
            }
        }
        let (findings, advice) = reader.close();
        if findings.is_empty() { Ok((strip, advice)) } else { Err(findings) }
    }

    /// Refuses an override that is newly set to end in the past; one that has ended meanwhile is not news.
    pub(crate) fn check_override(&self, now: Timestamp) -> Result<(), Vec<Finding>> {
        let Some(OverrideLook { until: Until::At(until), .. }) = &self.owners_override else { return Ok(()) };
        if *until > now {
            return Ok(());
        }
        Err(vec![Finding::new(
            Pointer::default().child("override").child("until"),
            format!("the override would end at {until}, which is past"),
            format!("name a time after {now}, or \"next-change\", or leave until out to hold it until you release it"),
        )])
    }

    /// What decides when which look shows.
    #[must_use]
    pub fn plan(&self) -> Plan {
        Plan {
            lit: self.lit,
            default: self.default.as_deref().map(Into::into),
            owners_override: self
                .owners_override
                .as_ref()
                .map(|o| Override { look: o.name.as_str().into(), until: o.until }),
            timetable: self.timetable.clone(),
            keeps_floor: self.floor != Intensity::DARK,
        }
    }

    /// The look of that name; `dark` and an override's own look are looks too.
    #[must_use]
    pub fn look(&self, name: &str) -> Look {
        if name == OVERRIDE
            && let Some(look) = self.owners_override.as_ref().and_then(|o| o.look.clone())
        {
            return look;
        }
        self.looks.get(name).cloned().unwrap_or_else(Look::dark)
    }
}

#[cfg(test)]
mod tests;
