//! The document of a link, read into types that cannot be wrong.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use document::{Pointer, Value};
use jiff::SignedDuration;
use light::Look;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use thiserror::Error;

use super::window::Window;
use crate::name::{FixtureId, GroupName};
use crate::rejection::{Advice, Finding};

/// Why the id of a link was refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "{0:?} is not the id of a link: write 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit, such as \"hall-to-stairs\""
)]
pub struct LinkIdFault(String);

/// The id of a link; of the same form as a fixture's.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LinkId(Arc<str>);

impl LinkId {
    /// The id as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for LinkId {
    type Err = LinkIdFault;

    fn from_str(text: &str) -> Result<Self, LinkIdFault> {
        // the form is that of a fixture's id, so that is asked
        match text.parse::<FixtureId>() {
            Ok(_) => Ok(Self(text.into())),
            Err(_) => Err(LinkIdFault(text.chars().take(80).collect())),
        }
    }
}

impl fmt::Display for LinkId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for LinkId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl Serialize for LinkId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for LinkId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// Who is at one end of a link: one fixture, or all of a group.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Party {
    /// One fixture.
    Fixture(FixtureId),
    /// Every member that the group has at that moment.
    Group(GroupName),
}

/// What a link makes its targets show.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkLook {
    /// A look of the target's own document, or `dark`.
    Named(String),
    /// A look that the link brings along.
    Own(Box<Look>),
}

/// How often a sensor must be counted before the link believes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Confirm {
    /// How often; 1 to 10.
    pub pulses: u8,
    /// Within what time, both ends included; 0.1 to 60 seconds.
    pub within: SignedDuration,
}

impl Confirm {
    /// The first pulse is believed.
    pub const AT_ONCE: Self = Self { pulses: 1, within: Self::WITHIN };
    /// The time where the document names none: room for two reports of a usual motion sensor, which reports every 4 to
    /// 5 seconds at most (about 2 of output, then 2 to 3 of blocking, by sellers' and makers' pages).
    pub const WITHIN: SignedDuration = SignedDuration::from_secs(10);
}

/// A link: when a sensor sees something, let someone show a look for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Whose sensors are listened to.
    pub from: Party,
    /// The name of the event.
    pub event: Arc<str>,
    /// Who shows the look. A fixture may answer its own sensor.
    pub to: Party,
    /// What it shows.
    pub look: Arc<LinkLook>,
    /// How long after the last counted event; 1 second to a day, [`Link::RUN_ON`] unless named.
    pub run_on: SignedDuration,
    /// How long after the end of a confirmed run nothing begins; at most a day, none unless named.
    pub dead_time: SignedDuration,
    /// When a sensor is believed; at once unless named.
    pub confirm: Confirm,
    /// When the link acts; always unless named.
    pub between: Option<Window>,
    /// Whether it begins only where something is lit already, so that it never lights up a dark room.
    pub lit_only: bool,
    /// Whether it acts at all.
    pub enabled: bool,
    /// What people call it.
    pub title: Option<String>,
    /// Free words.
    pub notes: Option<String>,
}

/// What has to be known of the house to tell whether a link names things that there are.
#[derive(Clone, Copy)]
pub struct Names<'a> {
    /// Whether there is such a fixture.
    pub fixture: &'a dyn Fn(&FixtureId) -> bool,
    /// The members of a group; none for a group that nobody is in.
    pub members: &'a dyn Fn(&GroupName) -> Vec<FixtureId>,
    /// Whether that fixture has a look of that name; `dark` is not asked for.
    pub has_look: &'a dyn Fn(&FixtureId, &str) -> bool,
}

impl Link {
    /// How long a link runs on where its document does not say: a minute, about the time that it takes to climb a
    /// flight of stairs with luggage and find a door. Common practice for stair lights is one to three minutes, without a source.
    pub const RUN_ON: SignedDuration = SignedDuration::from_secs(60);

    /// Reads the document of a link.
    ///
    /// # Errors
    /// Every finding, each with its pointer and what to write instead.
    pub fn read(value: &Value) -> Result<(Self, Vec<Advice>), Vec<Finding>> {
        super::reader::read(value)
    }

    /// What a link names and the house does not have. A fixture or a look that is not there is a finding; a group that
    /// nobody is in, or of which some members lack the look, is worth knowing and no more, since groups change.
    ///
    /// # Errors
    /// Every finding.
    pub fn check_names(&self, names: &Names<'_>) -> Result<Vec<Advice>, Vec<Finding>> {
        let (mut findings, mut advice) = (Vec::new(), Vec::new());
        let mut known = Vec::new();
        for (member, party) in [("from", &self.from), ("to", &self.to)] {
            let at = Pointer::default().child(member);
            let found = match party {
                Party::Fixture(id) if (names.fixture)(id) => vec![id.clone()],
                Party::Fixture(id) => {
                    findings.push(Finding::new(
                        at.child("fixture"),
                        format!("there is no fixture {id}"),
                        "name a fixture that there is, or make this one first",
                    ));
                    Vec::new()
                }
                Party::Group(group) => {
                    let members = (names.members)(group);
                    if members.is_empty() {
                        advice.push(Advice {
                            pointer: at.child("group"),
                            text: format!(
                                "nobody is in the group {group} yet, so the link does nothing until someone is"
                            ),
                        });
                    }
                    members
                }
            };
            if member == "to" {
                known = found;
            }
        }
        if let LinkLook::Named(look) = &*self.look
            && look != almanac::DARK
        {
            let lacking: Vec<_> =
                known.iter().filter(|id| !(names.has_look)(id, look)).map(FixtureId::as_str).collect();
            let at = Pointer::default().child("look");
            let shown: Vec<_> = lacking.iter().copied().take(8).collect();
            let shown = if lacking.len() > 8 { format!("{} …", shown.join(", ")) } else { shown.join(", ") };
            if !lacking.is_empty() && lacking.len() == known.len() {
                findings.push(Finding::new(
                    at,
                    format!("there is no look {look:?} on {shown}"),
                    "name a look of the target's document, add it there, or write a look in place of the name",
                ));
            } else if !lacking.is_empty() {
                advice.push(Advice {
                    pointer: at,
                    text: format!("{shown} has no look {look:?} and will not follow this link"),
                });
            }
        }
        if findings.is_empty() { Ok(advice) } else { Err(findings) }
    }

    /// Whether the link may listen to that fixture's events of that name.
    pub(super) fn listens(&self, sensor: &FixtureId, event: &str, in_group: impl Fn(&GroupName) -> bool) -> bool {
        *self.event == *event
            && match &self.from {
                Party::Fixture(id) => id == sensor,
                Party::Group(group) => in_group(group),
            }
    }

    /// For how long an unconfirmed pulse raises a walkway.
    pub(super) fn raise(&self) -> SignedDuration {
        self.confirm.within.max(super::RAISE_AT_LEAST).min(self.run_on)
    }
}
