//! The desired document read for showing: what shows now and what comes.

use std::collections::BTreeMap;

use almanac::{Change, Override, Plan, Scene, Showing, Until};
use document::Value;
use jiff::Timestamp;
use light::{Compiled, Look};

use crate::name::KindName;
use crate::strip::{self, Strip};

/// A desired document, read for showing. Kinds without looks have nothing to show.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook(Option<Box<Looks>>);

#[derive(Debug, Clone, PartialEq)]
struct Looks {
    plan: Plan,
    looks: BTreeMap<String, Look>,
    own: Option<Look>,
    fade_ms: u32,
    edited_at: Timestamp,
}

/// What shows at an instant, with the look in the device's integers.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownLook {
    /// Which look, why, since when and until when.
    pub showing: Showing,
    /// The look in the device's integers.
    pub compiled: Compiled,
    /// How long the fade to it takes, in milliseconds.
    pub fade_ms: u32,
}

impl Outlook {
    /// Reads a desired document that its kind has accepted.
    #[must_use]
    pub fn read(kind: &KindName, desired: &Value, edited_at: Timestamp) -> Self {
        if *kind != KindName::strip() {
            return Self(None);
        }
        Self(Strip::read(desired).ok().map(|(strip, _)| Looks::of(strip, edited_at)))
    }

    /// The outlook of a document that was read as a strip's, or of one of a kind without looks.
    pub(crate) fn of(strip: Option<Strip>, edited_at: Timestamp) -> Self {
        Self(strip.map(|strip| Looks::of(strip, edited_at)))
    }

    /// Whether there are looks to show at all.
    #[must_use]
    pub fn has_looks(&self) -> bool {
        self.0.is_some()
    }

    /// What shows at an instant; `None` for kinds without looks.
    #[must_use]
    pub fn shown(&self, now: Timestamp) -> Option<ShownLook> {
        let looks = self.0.as_ref()?;
        let showing = almanac::showing(&looks.scene(), now);
        let compiled = looks.look(&showing.look).map_or_else(|| Look::dark().compile(), Look::compile);
        Some(ShownLook { showing, compiled, fade_ms: looks.fade_ms })
    }

    /// The changes of showing between two instants; the first one covers `from`. Empty for kinds without looks.
    #[must_use]
    pub fn agenda(&self, from: Timestamp, to: Timestamp) -> Vec<Change> {
        self.0.as_ref().map_or_else(Vec::new, |looks| almanac::agenda(&looks.scene(), from, to))
    }

    /// When showing changes by time alone, if ever.
    #[must_use]
    pub fn next_deadline(&self, now: Timestamp) -> Option<Timestamp> {
        almanac::next_deadline(&self.0.as_ref()?.scene(), now)
    }

    /// Whether there is an override whose time is over.
    #[must_use]
    pub fn override_has_ended(&self, now: Timestamp) -> bool {
        let Some(looks) = &self.0 else { return false };
        matches!(&looks.plan.owners_override, Some(o) if matches!(o.until, Until::At(until) if until <= now))
    }
}

impl Looks {
    /// Takes over what the strip was read into: nothing is copied.
    fn of(strip: Strip, edited_at: Timestamp) -> Box<Self> {
        let Strip { lit, default, fade, looks, timetable, owners_override, floor: _ } = strip;
        let (owners_override, own) = match owners_override {
            Some(held) => (Some(Override { look: held.name.into(), until: held.until }), held.look),
            None => (None, None),
        };
        let plan = Plan { lit, default: default.map(Into::into), owners_override, timetable, keeps_floor: false };
        Box::new(Self { plan, looks, own, fade_ms: fade.milliseconds(), edited_at })
    }

    fn scene(&self) -> Scene<'_> {
        Scene { plan: &self.plan, place: None, edited_at: self.edited_at, running: &[] }
    }

    /// The look of that name; `None` for `dark`.
    fn look(&self, name: &str) -> Option<&Look> {
        let own = self.own.as_ref().filter(|_| name == strip::OVERRIDE);
        own.or_else(|| self.looks.get(name))
    }
}
