//! The desired document read for showing: what shows now and what comes.

use std::collections::BTreeMap;

use almanac::{Change, Override, Place, Plan, Running, Scene, Showing, Until};
use document::Value;
use jiff::Timestamp;
use light::{Compiled, Intensity, Look};

use crate::name::KindName;
use crate::strip::{self, Strip};

/// A desired document, read for showing. Kinds without looks have nothing to show.
///
/// What is asked about time takes where the fixture stands ([`Fixture::place`](crate::Fixture::place)) and the links
/// that run on it, which are no part of the document.
#[derive(Debug, Clone, PartialEq)]
pub struct Outlook(Option<Box<Looks>>);

#[derive(Debug, Clone, PartialEq)]
struct Looks {
    plan: Plan,
    looks: BTreeMap<String, Look>,
    own: Option<Look>,
    floor: Intensity,
    fade_ms: u32,
    edited_at: Timestamp,
}

/// What shows at an instant, with the look in the device's integers.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownLook {
    /// Which look, why, since when and until when.
    pub showing: Showing,
    /// The look in the device's integers, with the floor beneath it while one is kept.
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
    pub fn shown(&self, place: Option<&Place>, running: &[Running], now: Timestamp) -> Option<ShownLook> {
        let looks = self.0.as_ref()?;
        let showing = almanac::showing(&looks.scene(place, running), now);
        let mut compiled = looks.look(&showing.look).map_or_else(|| Look::dark().compile(), Look::compile);
        if showing.floored {
            compiled.floor = Some(looks.floor());
        }
        Some(ShownLook { showing, compiled, fade_ms: looks.fade_ms })
    }

    /// The changes of showing between two instants; the first one covers `from`. Empty for kinds without looks.
    #[must_use]
    pub fn agenda(&self, place: Option<&Place>, running: &[Running], from: Timestamp, to: Timestamp) -> Vec<Change> {
        self.0.as_ref().map_or_else(Vec::new, |looks| almanac::agenda(&looks.scene(place, running), from, to))
    }

    /// When showing changes by time alone, or an override ends, if ever.
    #[must_use]
    pub fn next_deadline(&self, place: Option<&Place>, running: &[Running], now: Timestamp) -> Option<Timestamp> {
        almanac::next_deadline(&self.0.as_ref()?.scene(place, running), now)
    }

    /// When the override ends or has ended; nothing without one, or while no end is foreseen.
    #[must_use]
    pub fn override_end(&self, place: Option<&Place>, running: &[Running]) -> Option<Timestamp> {
        let looks = self.0.as_ref().filter(|looks| looks.plan.owners_override.is_some())?;
        almanac::override_end(&looks.scene(place, running))
    }

    /// Whether there is an override whose time is over.
    #[must_use]
    pub fn override_has_ended(&self, place: Option<&Place>, running: &[Running], now: Timestamp) -> bool {
        self.override_end(place, running).is_some_and(|end| end <= now)
    }

    /// Whether time alone may change something: there is a timetable, an override with an end, or a floor.
    #[must_use]
    pub fn is_timed(&self) -> bool {
        let Some(looks) = &self.0 else { return false };
        let plan = &looks.plan;
        plan.keeps_floor
            || !plan.timetable.entries().is_empty()
            || plan.owners_override.as_ref().is_some_and(|held| matches!(held.until, Until::At(_)))
    }

    /// The dark hours between two instants, in which a floor is kept beneath what shows, each as its begin and its end,
    /// which is not in it; without a place every hour counts as dark. `None` where no floor is kept.
    #[must_use]
    pub fn dark_hours(
        &self,
        place: Option<&Place>,
        from: Timestamp,
        to: Timestamp,
    ) -> Option<Vec<(Timestamp, Timestamp)>> {
        if !self.plan()?.keeps_floor {
            return None;
        }
        Some(place.map_or_else(|| vec![(from, to)], |place| almanac::dark_hours(place, from, to)))
    }

    /// Whether there is a timetable that cannot be followed, since no place is known.
    #[must_use]
    pub fn lacks_place(&self, place: Option<&Place>) -> bool {
        place.is_none() && self.plan().is_some_and(|plan| plan.needs_place().is_some())
    }

    /// What decides when which look shows; `None` for kinds without looks.
    pub(crate) fn plan(&self) -> Option<&Plan> {
        self.0.as_ref().map(|looks| &looks.plan)
    }
}

impl Looks {
    /// Takes over what the strip was read into: nothing is copied.
    fn of(strip: Strip, edited_at: Timestamp) -> Box<Self> {
        let Strip { lit, default, fade, looks, timetable, owners_override, floor } = strip;
        let (owners_override, own) = match owners_override {
            Some(held) => (Some(Override { look: held.name.into(), until: held.until }), held.look),
            None => (None, None),
        };
        let keeps_floor = floor != Intensity::DARK;
        let plan = Plan { lit, default: default.map(Into::into), owners_override, timetable, keeps_floor };
        Box::new(Self { plan, looks, own, floor, fade_ms: fade.milliseconds(), edited_at })
    }

    fn scene<'a>(&'a self, place: Option<&'a Place>, running: &'a [Running]) -> Scene<'a> {
        Scene { plan: &self.plan, place, edited_at: self.edited_at, running }
    }

    /// The look of that name; `None` for `dark`.
    fn look(&self, name: &str) -> Option<&Look> {
        let own = self.own.as_ref().filter(|_| name == strip::OVERRIDE);
        own.or_else(|| self.looks.get(name))
    }

    /// The least duty beneath everything, in three channels.
    fn floor(&self) -> Vec<u16> {
        let default = self.plan.default.as_deref().and_then(|name| self.looks.get(name));
        light::floor_beneath(default, self.floor, None).into_iter().take(3).collect()
    }
}
