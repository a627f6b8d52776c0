//! What is committed as history, but does not stand in the tables of documents and of the outbox yet. History is the
//! truth; these tables follow it, a second later or so, a portion at a time. While they are behind, the setting
//! [`SETTLED`] names the last row of history that they cover; a house without that setting is covered as a whole.

use std::collections::HashMap;
use std::time::Duration;

use kernel::{FixtureKey, Paper};
use tokio::time::Instant;

use crate::batch::{Numbers, slot};
use crate::house::House;
use crate::outbox::Outbox;
use crate::rows::{DocumentRow, MOST, OutboxRow, document_row};

/// The setting that names the last row of history that documents and outbox cover, while there are rows beyond it.
pub(crate) const SETTLED: &str = "settled";

/// How long after a change the tables are brought up to it.
const PAUSE: Duration = Duration::from_secs(1);
/// How long after a failure that is tried again.
const AGAIN: Duration = Duration::from_secs(30);
/// So many fixtures are not waited for any longer.
const MANY: usize = 4_096;
/// Fixtures settled at a time while others wait for the writer: their documents are one statement or two.
pub(crate) const PORTION: usize = MOST;
/// Fixtures settled at a time when nobody is served meanwhile.
pub(crate) const ALL_AT_ONCE: usize = 4_096;

/// What of a fixture is not settled: a bit for each paper, and one for its row of the outbox.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Parts(u8);

impl Parts {
    /// The row of the outbox.
    pub(crate) const OUTBOX: Self = Self(1 << 7);

    /// One paper.
    pub(crate) fn paper(paper: Paper) -> Self {
        Self(1 << (paper as u8))
    }

    /// Both.
    pub(crate) fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The first without the second.
    pub(crate) fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Whether they have any in common.
    pub(crate) fn has(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }
}

/// What becomes of the setting [`SETTLED`] with a portion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mark {
    /// It stays as it is.
    Stays,
    /// Documents and outbox now cover history up to this row.
    MovesTo(i64),
    /// They cover all.
    Goes,
}

/// The rows by which a portion is settled.
#[derive(Debug)]
pub(crate) struct Portion {
    pub(crate) documents: Vec<DocumentRow>,
    pub(crate) due: Vec<OutboxRow>,
    pub(crate) published: Vec<i64>,
    pub(crate) mark: Mark,
}

/// What is not settled.
#[derive(Debug, Default)]
pub(crate) struct Unsettled {
    /// What changed since the round under way began.
    fresh: HashMap<FixtureKey, Parts>,
    /// What the round under way has still to settle, the last first.
    round: Vec<(FixtureKey, Parts)>,
    /// The last row of history that this round covers.
    covers: i64,
    /// When the next round is to begin, if anything is fresh.
    begins: Option<Instant>,
    /// Whether the setting is in the file.
    marked: bool,
}

impl Unsettled {
    /// What a house that was just read has replayed. `marked` tells whether the setting is in the file.
    pub(crate) fn read(replayed: HashMap<FixtureKey, Parts>, marked: bool) -> Self {
        let begins = (marked || !replayed.is_empty()).then(|| Instant::now() + PAUSE);
        Self { fresh: replayed, begins, marked, ..Self::default() }
    }

    /// Notes what a commit has left for later.
    pub(crate) fn note(&mut self, parts: impl IntoIterator<Item = (FixtureKey, Parts)>) {
        for (key, parts) in parts {
            let held = self.fresh.entry(key).or_default();
            *held = held.and(parts);
        }
        if self.begins.is_none() && !self.fresh.is_empty() {
            self.begins = Some(Instant::now() + PAUSE);
        }
    }

    /// The setting is to be written with the first commit that leaves something for later.
    pub(crate) fn is_marked(&self) -> bool {
        self.marked
    }

    /// That commit was made.
    pub(crate) fn was_marked(&mut self) {
        self.marked = true;
    }

    /// When the next portion is due, if ever.
    pub(crate) fn due(&self) -> Option<Instant> {
        if !self.round.is_empty() || self.fresh.len() > MANY {
            return Some(Instant::now());
        }
        self.begins
    }

    /// Whether the next portion is due now.
    pub(crate) fn is_due(&self) -> bool {
        self.due().is_some_and(|due| due <= Instant::now())
    }

    /// Something was written, so what was put off can be tried again.
    pub(crate) fn hasten(&mut self) {
        let soon = Instant::now() + PAUSE;
        self.begins = self.begins.map(|begins| begins.min(soon));
    }

    /// Nothing is tried for a while.
    pub(crate) fn postpone(&mut self) {
        if self.begins.is_some() {
            self.begins = Some(Instant::now() + AGAIN);
        }
    }

    /// Takes the next fixtures, at most so many, as they stand now; `None` when all is settled. If they cannot be
    /// written, what is not settled has to be read from the file.
    pub(crate) fn portion(&mut self, most: usize, house: &House, outbox: &Outbox, numbers: Numbers) -> Option<Portion> {
        if self.round.is_empty() {
            if self.fresh.is_empty() && !self.marked {
                self.begins = None;
                return None;
            }
            self.round = std::mem::take(&mut self.fresh).into_iter().collect();
            self.round.sort_unstable_by_key(|(key, _)| std::cmp::Reverse(*key));
            self.covers = numbers.history;
            self.begins = None;
        }
        let taken = self.round.split_off(self.round.len().saturating_sub(most));
        let (mut documents, mut due, mut published) = (Vec::new(), Vec::new(), Vec::new());
        for (key, parts) in taken.into_iter().rev() {
            // written as it stands, which covers what changed since the round began as well
            if let Some(fresh) = self.fresh.get_mut(&key) {
                *fresh = fresh.without(parts);
                if *fresh == Parts::default() {
                    self.fresh.remove(&key);
                }
            }
            if let Some(fixture) = house.by_key(key) {
                let papers = Paper::ALL.into_iter().filter(|paper| parts.has(Parts::paper(*paper)));
                documents.extend(papers.map(|paper| document_row(slot(key, paper), fixture.held(paper))));
            }
            if parts.has(Parts::OUTBOX) {
                match outbox.ticket(key) {
                    Some(ticket) => due.push(OutboxRow { fixture: key.0, ticket }),
                    None => published.push(key.0),
                }
            }
        }
        let mark = if !self.round.is_empty() || !self.marked {
            Mark::Stays
        } else if self.fresh.is_empty() || self.covers == numbers.history {
            Mark::Goes
        } else {
            Mark::MovesTo(self.covers)
        };
        Some(Portion { documents, due, published, mark })
    }

    /// A portion was written.
    pub(crate) fn settled(&mut self, mark: Mark) {
        if mark == Mark::Goes {
            self.marked = false;
        }
        if self.fresh.is_empty() {
            self.begins = None;
        }
    }
}
