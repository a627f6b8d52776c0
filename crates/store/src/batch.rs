//! What one commit will write and change: commands are decided one after the other upon what those before them left.

use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, LazyLock};

use jiff::Timestamp;
use kernel::{Command, Decision, Fixture, FixtureId, FixtureKey, Held, Noted, Paper, Publish, Rules, Way};

use crate::error::ExecuteError;
use crate::house::House;
use crate::outbox::Outbox;
use crate::requests::{KeptAnswer, Once, Requests};
use crate::rows::{
    BootRow, DocumentRow, EventRow, FixtureRow, HistoryRow, LifeRow, OutboxRow, RequestRow, SnapshotRow, as_signed,
    document_row, fixture_row, life_row,
};
use crate::store::{Outcome, Request};
use crate::unsettled::Parts;

/// A snapshot is written every so many revisions.
pub(crate) const SNAPSHOT_EVERY: u64 = 64;

/// The slot of a fixture's paper.
pub(crate) fn slot(key: FixtureKey, paper: Paper) -> i64 {
    key.0 * 8
        + match paper {
            Paper::Fixture => 0,
            Paper::Desired => 1,
            Paper::Reported => 2,
        }
}

/// A fixture as a commit leaves it; `None` when it is gone.
pub(crate) type Changed = (FixtureId, Option<Arc<Fixture>>);

/// The numbers that the writer gives out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Numbers {
    pub(crate) history: i64,
    pub(crate) fixture: i64,
}

/// Everything that one commit will write, and what will be true after it.
#[derive(Debug)]
pub(crate) struct Batch {
    numbers: Numbers,
    fixtures: HashMap<FixtureId, Option<Arc<Fixture>>>,
    gone: Vec<FixtureKey>,
    outbox: HashMap<FixtureKey, Option<(FixtureId, i64)>>,
    /// Whether the outbox is written with this commit, since nothing in history asks for what is in it.
    outbox_now: bool,
    /// What history tells alone, and the tables of documents and of the outbox are to follow.
    unsettled: Vec<(FixtureKey, Parts)>,
    /// In the order in which they were made: an id is free only when the fixture that had it is gone.
    fixture_rows: BTreeMap<FixtureKey, FixtureRow>,
    /// Documents of which history does not tell all.
    documents: BTreeMap<i64, Arc<Held>>,
    lives: BTreeMap<FixtureKey, Arc<Fixture>>,
    history: Vec<HistoryRow>,
    snapshots: Vec<SnapshotRow>,
    boots: Vec<BootRow>,
    events: Vec<EventRow>,
    requests: Vec<RequestRow>,
    remembered: Vec<(String, Once, KeptAnswer)>,
}

/// The rows of a commit.
#[derive(Debug)]
pub(crate) struct Rows {
    pub(crate) fixtures: Vec<FixtureRow>,
    pub(crate) documents: Vec<DocumentRow>,
    pub(crate) history: Vec<HistoryRow>,
    pub(crate) snapshots: Vec<SnapshotRow>,
    pub(crate) lives: Vec<LifeRow>,
    pub(crate) boots: Vec<BootRow>,
    pub(crate) events: Vec<EventRow>,
    pub(crate) requests: Vec<RequestRow>,
    pub(crate) outbox: Vec<OutboxRow>,
    /// The keys of fixtures that are taken away.
    pub(crate) gone: Vec<i64>,
}

impl Rows {
    /// Whether there are rows of history and no others.
    pub(crate) fn is_history_alone(&self) -> bool {
        self.fixtures.is_empty()
            && self.documents.is_empty()
            && self.snapshots.is_empty()
            && self.lives.is_empty()
            && self.boots.is_empty()
            && self.events.is_empty()
            && self.requests.is_empty()
            && self.outbox.is_empty()
            && self.gone.is_empty()
    }
}

/// What a commit has changed, once it is true.
#[derive(Debug)]
pub(crate) struct Applied {
    pub(crate) numbers: Numbers,
    pub(crate) changes: Vec<Changed>,
    pub(crate) unsettled: Vec<(FixtureKey, Parts)>,
}

impl Batch {
    pub(crate) fn new(numbers: Numbers) -> Self {
        Self {
            numbers,
            fixtures: HashMap::new(),
            gone: Vec::new(),
            outbox: HashMap::new(),
            outbox_now: false,
            unsettled: Vec::new(),
            fixture_rows: BTreeMap::new(),
            documents: BTreeMap::new(),
            lives: BTreeMap::new(),
            history: Vec::new(),
            snapshots: Vec::new(),
            boots: Vec::new(),
            events: Vec::new(),
            requests: Vec::new(),
            remembered: Vec::new(),
        }
    }

    /// Whether there is anything to write.
    pub(crate) fn is_empty(&self) -> bool {
        self.fixture_rows.is_empty()
            && self.documents.is_empty()
            && self.lives.is_empty()
            && self.history.is_empty()
            && self.boots.is_empty()
            && self.events.is_empty()
            && self.requests.is_empty()
            && (!self.outbox_now || self.outbox.is_empty())
    }

    /// Whether history comes to tell something that documents or outbox do not.
    pub(crate) fn runs_ahead(&self) -> bool {
        !self.history.is_empty() && !self.unsettled.is_empty()
    }

    /// The fixture as the commands so far leave it.
    fn fixture(&self, house: &House, id: &FixtureId) -> Option<Arc<Fixture>> {
        match self.fixtures.get(id) {
            Some(fixture) => fixture.clone(),
            None => house.get(id.as_str()),
        }
    }

    /// Decides a request upon what those before it left, and gathers what it will write.
    pub(crate) fn take(
        &mut self,
        request: Request,
        house: &House,
        requests: &Requests,
        rules: &Rules,
    ) -> Result<Outcome, ExecuteError> {
        let id = request.command.fixture().clone();
        let before = self.fixture(house, &id);
        if let Some(once) = &request.once {
            let mine =
                self.remembered.iter().rev().find(|(key, ..)| *key == once.key).map(|(_, once, answer)| (once, answer));
            if let Some(replay) = requests.replay(once, mine)? {
                let (answer, of) = replay;
                let fixture = self.fixture(house, &of);
                return Ok(Outcome { answer, fixture, replayed: true });
            }
        }
        let secret = matches!(request.command, Command::Enrol { .. });
        let spare = FixtureKey(self.numbers.fixture + 1);
        let decision = kernel::decide(before.as_deref(), request.command, spare, rules, request.at)?;
        if let Some(once) = request.once {
            let answer = (!secret).then(|| (decision.answer.clone(), id.clone()));
            self.requests.push(once.row(request.at, answer.as_ref()));
            self.remembered.push((once.key.clone(), once, answer));
        }
        let signed =
            Signed { by: request.actor.by, via: word(request.actor.via), cause: request.cause, at: request.at };
        Ok(self.gather(id, before.as_deref(), decision, &signed))
    }

    fn gather(&mut self, id: FixtureId, before: Option<&Fixture>, decision: Decision, signed: &Signed) -> Outcome {
        if decision.is_empty() {
            // at most a sign of life: true in memory, written with the next thing that is worth a write
            if let Some(fixture) = decision.fixture {
                let heard = before.is_none_or(|before| before.life != fixture.life);
                let fixture = Arc::new(fixture);
                if heard {
                    self.fixtures.insert(id, Some(Arc::clone(&fixture)));
                }
                return Outcome { answer: decision.answer, fixture: Some(fixture), replayed: false };
            }
        }
        let Some(key) = decision.fixture.as_ref().map(|f| f.key).or(before.map(|f| f.key)) else {
            return Outcome { answer: decision.answer, fixture: None, replayed: false };
        };
        let mut after = decision.fixture;
        if before.is_none_or(|before| before.key != key) {
            self.numbers.fixture = self.numbers.fixture.max(key.0);
        }
        let mut parts = Parts::default();
        // the row of history that asks for what is to be published: by it, a replay finds the same ticket
        let mut asked = None;
        for entry in decision.entries {
            self.numbers.history += 1;
            let row = self.numbers.history;
            let slot = slot(key, entry.paper);
            let prev = before.and_then(|before| before.held(entry.paper).head);
            let (revision, at) = (as_signed(entry.revision.get()), signed.at.as_millisecond());
            if entry.revision.get().is_multiple_of(SNAPSHOT_EVERY) {
                self.snapshots.push(SnapshotRow { slot, revision, at, history: row, body: entry.after });
            }
            self.history.push(HistoryRow {
                id: row,
                slot,
                revision,
                at,
                by: Arc::clone(&signed.by),
                via: Arc::clone(&signed.via),
                cause: signed.cause.clone(),
                patch: entry.patch,
                inverse: entry.inverse,
                prev,
            });
            if entry.paper != Paper::Reported {
                asked = Some(row);
            }
            if let Some(after) = &mut after {
                set_head(after, entry.paper, row);
                parts = parts.and(Parts::paper(entry.paper));
            }
        }
        if let Some(noted) = decision.noted {
            self.note(key, noted, after.as_ref());
        }
        if decision.publish != Publish::Nothing {
            self.outbox.insert(key, Some((id.clone(), asked.unwrap_or(self.numbers.history))));
            parts = parts.and(Parts::OUTBOX);
            self.outbox_now |= asked.is_none();
        }
        let after = after.map(Arc::new);
        match &after {
            Some(fixture) => {
                for paper in decision.rewritten {
                    let told = parts.has(Parts::paper(paper));
                    if !told || !before.is_none_or(|before| is_told_whole(paper, before, fixture)) {
                        parts = parts.without(Parts::paper(paper));
                        self.documents.insert(slot(key, paper), Arc::clone(fixture.held(paper)));
                    }
                }
                if decision.lived || self.lives.contains_key(&key) {
                    self.lives.insert(key, Arc::clone(fixture));
                }
                if before.is_none() || decision.enrolled.is_some() {
                    self.fixture_rows.insert(key, fixture_row(fixture, None, decision.enrolled.flatten()));
                }
            }
            None => {
                if let Some(before) = before {
                    let mut row = fixture_row(before, Some(signed.at.as_millisecond()), None);
                    row.secret = None;
                    row.enrolled = None;
                    self.fixture_rows.insert(key, row);
                    for paper in Paper::ALL {
                        self.documents.remove(&slot(key, paper));
                    }
                    self.lives.remove(&key);
                    self.gone.push(key);
                }
            }
        }
        if parts != Parts::default() {
            self.unsettled.push((key, parts));
        }
        self.fixtures.insert(id, after.clone());
        Outcome { answer: decision.answer, fixture: after, replayed: false }
    }

    fn note(&mut self, key: FixtureKey, noted: Noted, after: Option<&Fixture>) {
        match noted {
            Noted::Boot(boot) => self.boots.push(BootRow {
                fixture: key.0,
                at: boot.at.as_millisecond(),
                reason: boot.reason.as_str(),
                have: as_signed(boot.have),
                firmware: boot.firmware,
                boots: boot.boots.map(as_signed),
                rssi: boot.rssi,
            }),
            Noted::Event { event, n } => {
                let at = after.and_then(|f| f.life.heard).unwrap_or(Timestamp::UNIX_EPOCH);
                self.events.push(EventRow { fixture: key.0, at: at.as_millisecond(), event, n: as_signed(n) });
            }
        }
    }

    /// Clears a row of the outbox that the broker has acknowledged, if nothing newer came since. That alone is worth no
    /// commit: after a kill it is published once more.
    pub(crate) fn published(&mut self, key: FixtureKey, ticket: i64, outbox: &Outbox) {
        let current = match self.outbox.get(&key) {
            Some(row) => row.as_ref().map(|(_, ticket)| *ticket),
            None => outbox.ticket(key),
        };
        if current == Some(ticket) {
            self.outbox.insert(key, None);
            self.unsettled.push((key, Parts::OUTBOX));
        }
    }

    /// Has every fixture of the house published anew, under one ticket that no earlier acknowledgement can know.
    pub(crate) fn publish_all(&mut self, house: &House) {
        self.numbers.history += 1;
        self.outbox_now = true;
        for fixture in house.all() {
            self.outbox.insert(fixture.key, Some((fixture.id.clone(), self.numbers.history)));
        }
    }

    /// Takes out the rows to write.
    pub(crate) fn rows(&mut self) -> Rows {
        let outbox = if self.outbox_now {
            let due = self.outbox.iter().filter_map(|(key, row)| Some((key, row.as_ref()?.1)));
            due.map(|(key, ticket)| OutboxRow { fixture: key.0, ticket }).collect()
        } else {
            Vec::new()
        };
        Rows {
            fixtures: std::mem::take(&mut self.fixture_rows).into_values().collect(),
            documents: self.documents.iter().map(|(slot, held)| document_row(*slot, held)).collect(),
            history: std::mem::take(&mut self.history),
            snapshots: std::mem::take(&mut self.snapshots),
            lives: self.lives.values().map(|fixture| life_row(fixture)).collect(),
            boots: std::mem::take(&mut self.boots),
            events: std::mem::take(&mut self.events),
            requests: std::mem::take(&mut self.requests),
            outbox,
            gone: self.gone.iter().map(|key| key.0).collect(),
        }
    }

    /// Lets it be true, after the commit.
    pub(crate) fn apply(self, house: &House, outbox: &Outbox, requests: &mut Requests) -> Applied {
        for (key, once, answer) in self.remembered {
            requests.remember(key, once, answer);
        }
        let changes: Vec<_> = self.fixtures.into_iter().collect();
        house.swap(self.gone, changes.iter().cloned());
        outbox.swap(self.outbox);
        Applied { numbers: self.numbers, changes, unsettled: self.unsettled }
    }
}

/// Who stands in history for a change, and when.
struct Signed {
    by: Arc<str>,
    via: Arc<str>,
    cause: Option<Arc<str>>,
    at: Timestamp,
}

/// The word for a way, made once.
fn word(way: Way) -> Arc<str> {
    static WORDS: LazyLock<[Arc<str>; Way::ALL.len()]> = LazyLock::new(|| Way::ALL.map(|way| way.as_str().into()));
    WORDS.get(way as usize).map_or_else(|| way.as_str().into(), Arc::clone)
}

/// Whether the step of history, upon the document as it was, leads to the document as it is. What is volatile is in
/// the document and not in history, so it does not where there may be anything volatile.
fn is_told_whole(paper: Paper, before: &Fixture, after: &Fixture) -> bool {
    paper != Paper::Reported
        || [before, after].into_iter().flat_map(Fixture::volatile).all(|pointer| {
            let Some(name) = pointer.tokens().last() else { return false };
            // the name as it stands in the text; anywhere in it, which may be too careful and never too careless
            let name = document::write(&document::Value::String(name.into_owned()));
            !before.reported.text.contains(&name) && !after.reported.text.contains(&name)
        })
}

fn set_head(fixture: &mut Fixture, paper: Paper, row: i64) {
    let held = match paper {
        Paper::Fixture => &mut fixture.record_held,
        Paper::Desired => &mut fixture.desired,
        Paper::Reported => &mut fixture.reported,
    };
    Arc::make_mut(held).head = Some(row);
}
