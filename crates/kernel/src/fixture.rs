//! A fixture as it stands: its documents, its record and what is known of its life.

use std::sync::{Arc, OnceLock};

use almanac::{Place, Running};
use document::{Pointer, Revision, Value};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::message::BootReason;
use crate::name::{FixtureId, KindName};
use crate::outlook::Outlook;
use crate::record::Record;

/// The number under which the store keeps a fixture. A fixture made anew under an old id has a new key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FixtureKey(pub i64);

/// Which of a fixture's documents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// The record: title, kind, groups …
    Fixture,
    /// What the owner wants.
    Desired,
    /// What the fixture says it has.
    Reported,
}

impl Paper {
    /// All papers of a fixture.
    pub const ALL: [Self; 3] = [Self::Fixture, Self::Desired, Self::Reported];

    /// The word used in history and in paths.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Fixture => "fixture",
            Self::Desired => "desired",
            Self::Reported => "reported",
        }
    }

    /// The paper that a word names.
    #[must_use]
    pub fn read(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|paper| paper.as_str() == word)
    }
}

/// One document as it is held: text that is known to be good, and the revision that it is at.
#[derive(Debug, Clone)]
pub struct Held {
    /// Its revision; 0 when nothing was ever written.
    pub revision: Revision,
    /// How often volatile members have changed since that revision.
    pub drift: u64,
    /// When it came to this revision.
    pub at: Timestamp,
    /// The history row that made this revision, if that row is still kept.
    pub head: Option<i64>,
    /// The merge patch that made this revision from the one before, as compact JSON, shared with the row of history;
    /// `None` when the document was loaded, or was never written.
    pub step: Option<Arc<str>>,
    /// Compact JSON, always an object; shared with every answer that carries it.
    pub text: Arc<str>,
}

impl Held {
    /// An empty document that was never written.
    #[must_use]
    pub fn empty(at: Timestamp) -> Self {
        Self { revision: Revision::default(), drift: 0, at, head: None, step: None, text: "{}".into() }
    }

    /// The document as a tree. Text that is held was checked when it was written; should the file have been changed
    /// by another hand, an unreadable text reads as an empty object, which the store's own check reports at start.
    #[must_use]
    pub fn value(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|_| Value::Object(serde_json::Map::new()))
    }
}

/// The keyed hash of a fixture's secret.
#[derive(Clone, PartialEq, Eq)]
pub struct SecretHash(pub blake3::Hash);

impl SecretHash {
    /// Hashes a secret under the database's own key. A fast hash is enough for a secret of 256 random bits.
    #[must_use]
    pub fn of(key: &[u8; 32], secret: &[u8]) -> Self {
        Self(blake3::keyed_hash(key, secret))
    }
}

impl std::fmt::Debug for SecretHash {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SecretHash(…)")
    }
}

/// The last boot that a fixture told of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Boot {
    /// When it was heard.
    pub at: Timestamp,
    /// Why the controller started.
    pub reason: BootReason,
    /// The revision that it held, 0 for none.
    pub have: u64,
    /// Its firmware's version, as it says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub firmware: Option<String>,
    /// How often it has started, as it counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boots: Option<u64>,
    /// Signal strength in dBm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rssi: Option<i64>,
}

/// What is known of a fixture's life.
#[derive(Debug, Clone, PartialEq)]
pub struct Life {
    /// The desired revision that it says it has applied; 0 for none.
    pub applied: Revision,
    /// When it said so.
    pub applied_at: Option<Timestamp>,
    /// When it was last heard.
    pub heard: Option<Timestamp>,
    /// What its `alive` topic says.
    pub alive: Option<bool>,
    /// Since when `alive` says so.
    pub alive_at: Option<Timestamp>,
    /// Its last boot.
    pub boot: Option<Arc<Boot>>,
    /// How many boots were heard in all.
    pub boots_heard: u64,
    /// Whether it has booted with nothing since its last report, so that its next report begins from nothing.
    pub fresh: bool,
    /// Whether the house was restored from a backup since the fixture last said that it holds nothing: revisions that
    /// it holds may be of a past that is no more, and are not believed.
    pub doubted: bool,
    /// The number of the last wish taken since its boot.
    pub wish_n: Option<u64>,
    /// The number of the last event taken since its boot.
    pub event_n: Option<u64>,
    /// Counts every change of this structure; a part of the fixture's entity tag.
    pub count: u64,
}

impl Life {
    /// The life of a fixture that was never heard.
    #[must_use]
    pub fn unheard() -> Self {
        Self {
            applied: Revision::default(),
            applied_at: None,
            heard: None,
            alive: None,
            alive_at: None,
            boot: None,
            boots_heard: 0,
            fresh: false,
            doubted: false,
            wish_n: None,
            event_n: None,
            count: 0,
        }
    }
}

/// What time alone does to a fixture, as seen from an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timing {
    /// When what shows next changes or an override ends, if ever.
    pub next: Option<Timestamp>,
    /// Whether there is an override whose time is over: a [`Command::Tick`](crate::Command::Tick) clears it.
    pub override_has_ended: bool,
    /// Whether there is a timetable that cannot be followed, since no place is known.
    pub lacks_place: bool,
}

/// A fixture as it stands after some commit. Cheap to clone; never changed in place once it is shared.
#[derive(Debug, Clone)]
pub struct Fixture {
    /// The store's number for it.
    pub key: FixtureKey,
    /// Its id.
    pub id: FixtureId,
    /// When it was made.
    pub created: Timestamp,
    /// Its record, read.
    pub record: Arc<Record>,
    /// Its record as a document.
    pub record_held: Arc<Held>,
    /// What the owner wants.
    pub desired: Arc<Held>,
    /// What it says it has.
    pub reported: Arc<Held>,
    /// The hash of its secret, if it is enrolled.
    pub secret: Option<SecretHash>,
    /// When that secret was made.
    pub enrolled_at: Option<Timestamp>,
    /// What is known of its life.
    pub life: Life,
    /// The desired document read for showing: of an edit that was decided since the start, or made when first asked for.
    pub outlook: Arc<OnceLock<Outlook>>,
}

impl Fixture {
    /// The document of that name.
    #[must_use]
    pub fn held(&self, paper: Paper) -> &Arc<Held> {
        match paper {
            Paper::Fixture => &self.record_held,
            Paper::Desired => &self.desired,
            Paper::Reported => &self.reported,
        }
    }

    /// The reported document without the members that the owner named as volatile.
    #[must_use]
    pub fn reported_steady(&self) -> Value {
        let mut reported = self.reported.value();
        document::remove(&mut reported, self.volatile());
        reported
    }

    /// Pointers to the members that change without a history row and do not count for the delta.
    #[must_use]
    pub fn volatile(&self) -> &[Pointer] {
        &self.record.volatile
    }

    /// The merge patch that would bring reported to desired; `{}` when they agree. Volatile members do not count, on
    /// neither side, nor does an object in which nothing else is.
    #[must_use]
    pub fn delta(&self) -> Value {
        let compared = |held: &Held| {
            let mut value = held.value();
            document::remove(&mut value, self.volatile());
            remove_hollow(&mut value, self.volatile());
            value
        };
        document::difference(&compared(&self.reported), &compared(&self.desired))
    }

    /// The desired document, read for showing.
    #[must_use]
    pub fn outlook(&self) -> &Outlook {
        self.outlook.get_or_init(|| self.read_outlook())
    }

    /// Where it stands: its own place, or the site's.
    #[must_use]
    pub fn place<'a>(&'a self, site: Option<&'a Place>) -> Option<&'a Place> {
        self.record.place.as_deref().or(site)
    }

    /// What time alone does to it, as seen from an instant; `None` when it changes nothing.
    #[must_use]
    pub fn timing(&self, site: Option<&Place>, running: &[Running], now: Timestamp) -> Option<Timing> {
        let place = self.place(site);
        self.glance(None, |outlook| {
            outlook.is_timed().then(|| Timing {
                next: outlook.next_deadline(place, running, now),
                override_has_ended: outlook.override_has_ended(place, running, now),
                lacks_place: outlook.lacks_place(place),
            })
        })
    }

    /// Whether there is an override whose time is over.
    #[must_use]
    pub fn override_has_ended(&self, site: Option<&Place>, running: &[Running], now: Timestamp) -> bool {
        let place = self.place(site);
        self.glance(false, |outlook| outlook.override_has_ended(place, running, now))
    }

    /// Asks the outlook about time without keeping it: a look at every fixture of a large house must not fill the
    /// memory with what nobody else asks for. A document in which nothing depends on time is not even read.
    fn glance<T>(&self, timeless: T, ask: impl FnOnce(&Outlook) -> T) -> T {
        match self.outlook.get() {
            Some(outlook) => ask(outlook),
            None if TIMELY.iter().all(|member| !self.desired.text.contains(member)) => timeless,
            None => ask(&self.read_outlook()),
        }
    }

    fn read_outlook(&self) -> Outlook {
        if self.record.kind != KindName::strip() {
            return Outlook::of(None, self.desired.at);
        }
        Outlook::read(&self.record.kind, &self.desired.value(), self.desired.at)
    }
}

/// The members of a strip's document by which something changes by time alone, as compact JSON has them.
const TIMELY: [&str; 3] = ["\"override\":", "\"timetable\":", "\"floor\":"];

/// Takes away the objects on the way to volatile members that hold nothing else.
fn remove_hollow(value: &mut Value, volatile: &[Pointer]) {
    for pointer in volatile {
        let mut path = pointer.as_str();
        while let Some((parent, _)) = path.rsplit_once('/').filter(|(parent, _)| !parent.is_empty()) {
            if value.pointer(parent).and_then(Value::as_object).is_none_or(|members| !members.is_empty()) {
                break;
            }
            match Pointer::try_from(parent) {
                Ok(parent) => document::remove(value, &[parent]),
                Err(_) => break,
            }
            path = parent;
        }
    }
}
