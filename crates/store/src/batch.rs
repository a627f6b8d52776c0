//! What one commit will write and change: commands are decided one after the other upon what those before them left.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use jiff::Timestamp;
use kernel::{Command, Decision, Entry, Fixture, FixtureId, FixtureKey, Held, Kinds, Noted, Paper, Publish};

use crate::error::ExecuteError;
use crate::house::House;
use crate::outbox::Outbox;
use crate::requests::{KeptAnswer, Once, Requests};
use crate::rows::{
    BootRow, DocumentRow, EventRow, FixtureRow, HistoryRow, LifeRow, OutboxRow, RequestRow, SnapshotRow,
};
use crate::store::{Outcome, Request};

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
    outbox: BTreeMap<FixtureKey, Option<(FixtureId, i64)>>,
    fixture_rows: BTreeMap<FixtureKey, FixtureRow>,
    documents: BTreeMap<i64, DocumentRow>,
    lives: BTreeMap<FixtureKey, LifeRow>,
    pub(crate) history: Vec<HistoryRow>,
    pub(crate) snapshots: Vec<SnapshotRow>,
    pub(crate) boots: Vec<BootRow>,
    pub(crate) events: Vec<EventRow>,
    pub(crate) requests: Vec<RequestRow>,
    remembered: Vec<(String, Once, KeptAnswer)>,
}

impl Batch {
    pub(crate) fn new(numbers: Numbers) -> Self {
        Self {
            numbers,
            fixtures: HashMap::new(),
            gone: Vec::new(),
            outbox: BTreeMap::new(),
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
            && self.outbox.is_empty()
            && self.requests.is_empty()
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
        kinds: &Kinds,
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
        let decision = kernel::decide(before.as_deref(), request.command, spare, kinds, request.at)?;
        if let Some(once) = request.once {
            let answer = (!secret).then(|| (decision.answer.clone(), id.clone()));
            self.requests.push(once.row(request.at, answer.as_ref()));
            self.remembered.push((once.key.clone(), once, answer));
        }
        let actor = request.actor;
        let outcome = self.gather(&id, before.as_deref(), decision, |entry, row| {
            row.by = Arc::clone(&actor.by);
            row.via = actor.via.as_str();
            row.cause.clone_from(&request.cause);
            row.at = request.at.as_millisecond();
            debug_assert!(entry.revision.get() > 0);
        });
        Ok(outcome)
    }

    fn gather(
        &mut self,
        id: &FixtureId,
        before: Option<&Fixture>,
        decision: Decision,
        sign: impl Fn(&Entry, &mut HistoryRow),
    ) -> Outcome {
        if decision.is_empty() {
            // at most a sign of life: true in memory, written with the next thing that is worth a write
            if let Some(fixture) = decision.fixture {
                let heard = before.is_none_or(|before| before.life != fixture.life);
                let fixture = Arc::new(fixture);
                if heard {
                    self.fixtures.insert(id.clone(), Some(Arc::clone(&fixture)));
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
        for entry in &decision.entries {
            self.numbers.history += 1;
            let row = self.numbers.history;
            let slot = slot(key, entry.paper);
            let prev = before.and_then(|before| before.held(entry.paper).head);
            let mut history = HistoryRow {
                id: row,
                slot,
                revision: signed(entry.revision.get()),
                at: 0,
                by: "".into(),
                via: "",
                cause: None,
                patch: Arc::clone(&entry.patch),
                inverse: Arc::clone(&entry.inverse),
                prev,
            };
            sign(entry, &mut history);
            if entry.revision.get().is_multiple_of(SNAPSHOT_EVERY) {
                self.snapshots.push(SnapshotRow {
                    slot,
                    revision: history.revision,
                    at: history.at,
                    history: row,
                    body: Arc::clone(&entry.after),
                });
            }
            self.history.push(history);
            if let Some(after) = &mut after {
                set_head(after, entry.paper, row);
            }
        }
        if let Some(noted) = decision.noted {
            self.note(key, noted, after.as_ref());
        }
        match &after {
            Some(fixture) => {
                for paper in &decision.rewritten {
                    let slot = slot(key, *paper);
                    self.documents.insert(slot, document_row(slot, fixture.held(*paper)));
                }
                if decision.lived || self.lives.contains_key(&key) {
                    self.lives.insert(key, life_row(fixture));
                }
                if before.is_none() || decision.enrolled.is_some() {
                    self.fixture_rows.insert(key, fixture_row(fixture, None, decision.enrolled.flatten()));
                }
            }
            None => {
                if let Some(before) = before {
                    let at = self.history.last().map(|row| row.at);
                    let mut row = fixture_row(before, at.or(Some(0)), None);
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
        if decision.publish != Publish::Nothing {
            self.outbox.insert(key, Some((id.clone(), self.numbers.history)));
        }
        let after = after.map(Arc::new);
        self.fixtures.insert(id.clone(), after.clone());
        Outcome { answer: decision.answer, fixture: after, replayed: false }
    }

    fn note(&mut self, key: FixtureKey, noted: Noted, after: Option<&Fixture>) {
        match noted {
            Noted::Boot(boot) => self.boots.push(BootRow {
                fixture: key.0,
                at: boot.at.as_millisecond(),
                reason: boot.reason.as_str(),
                have: signed(boot.have),
                firmware: boot.firmware,
                boots: boot.boots.map(signed),
                rssi: boot.rssi,
            }),
            Noted::Event { event, n } => {
                let at = after.and_then(|f| f.life.heard).unwrap_or(Timestamp::UNIX_EPOCH);
                self.events.push(EventRow { fixture: key.0, at: at.as_millisecond(), event, n: signed(n) });
            }
        }
    }

    /// Clears a row of the outbox that the broker has acknowledged, if nothing newer came since.
    pub(crate) fn published(&mut self, key: FixtureKey, ticket: i64, outbox: &Outbox) {
        let current = match self.outbox.get(&key) {
            Some(row) => row.as_ref().map(|(_, ticket)| *ticket),
            None => outbox.ticket(key),
        };
        if current == Some(ticket) {
            self.outbox.insert(key, None);
        }
    }

    /// Has every fixture of the house published anew, under one ticket that no earlier acknowledgement can know.
    pub(crate) fn publish_all(&mut self, house: &House) {
        self.numbers.history += 1;
        for fixture in house.all() {
            self.outbox.insert(fixture.key, Some((fixture.id.clone(), self.numbers.history)));
        }
    }

    pub(crate) fn fixture_rows(&self) -> Vec<FixtureRow> {
        self.fixture_rows.values().cloned().collect()
    }

    pub(crate) fn document_rows(&self) -> Vec<DocumentRow> {
        self.documents.values().cloned().collect()
    }

    pub(crate) fn life_rows(&self) -> Vec<LifeRow> {
        self.lives.values().cloned().collect()
    }

    /// Outbox rows to set, and fixtures whose row to clear.
    pub(crate) fn outbox_rows(&self) -> (Vec<OutboxRow>, Vec<i64>) {
        let mut set = Vec::new();
        let mut clear = Vec::new();
        for (key, row) in &self.outbox {
            match row {
                Some((_, ticket)) => set.push(OutboxRow { fixture: key.0, ticket: *ticket }),
                None => clear.push(key.0),
            }
        }
        (set, clear)
    }

    /// The keys of fixtures that are taken away.
    pub(crate) fn gone(&self) -> Vec<i64> {
        self.gone.iter().map(|key| key.0).collect()
    }

    /// Lets it be true, after the commit. Gives back the numbers and the fixtures that changed.
    pub(crate) fn apply(self, house: &House, outbox: &Outbox, requests: &mut Requests) -> (Numbers, Vec<Changed>) {
        for (key, once, answer) in self.remembered {
            requests.remember(key, once, answer);
        }
        let changes: Vec<_> = self.fixtures.into_iter().collect();
        house.swap(self.gone, changes.iter().cloned());
        outbox.swap(self.outbox);
        (self.numbers, changes)
    }
}

fn set_head(fixture: &mut Fixture, paper: Paper, row: i64) {
    let held = match paper {
        Paper::Fixture => &mut fixture.record_held,
        Paper::Desired => &mut fixture.desired,
        Paper::Reported => &mut fixture.reported,
    };
    Arc::make_mut(held).head = Some(row);
}

/// SQLite's integers are signed; counts here stay far below the edge.
pub(crate) fn signed(n: u64) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

fn document_row(slot: i64, held: &Held) -> DocumentRow {
    DocumentRow {
        slot,
        revision: signed(held.revision.get()),
        drift: signed(held.drift),
        at: held.at.as_millisecond(),
        head: held.head,
        body: Arc::clone(&held.text),
    }
}

fn life_row(fixture: &Fixture) -> LifeRow {
    let life = &fixture.life;
    LifeRow {
        fixture: fixture.key.0,
        applied: signed(life.applied.get()),
        applied_at: life.applied_at.map(Timestamp::as_millisecond),
        heard: life.heard.map(Timestamp::as_millisecond),
        alive: life.alive,
        alive_at: life.alive_at.map(Timestamp::as_millisecond),
        boot: life.boot.as_ref().and_then(|boot| serde_json::to_string(boot).ok()),
        boots_heard: signed(life.boots_heard),
        fresh: life.fresh,
        doubted: life.doubted,
        wish_n: life.wish_n.map(signed),
        event_n: life.event_n.map(signed),
        count: signed(life.count),
    }
}

fn fixture_row(fixture: &Fixture, deleted: Option<i64>, broker_line: Option<Arc<str>>) -> FixtureRow {
    FixtureRow {
        key: fixture.key.0,
        id: fixture.id.to_string(),
        created: fixture.created.as_millisecond(),
        deleted,
        secret: fixture.secret.as_ref().map(|hash| hash.0.as_bytes().to_vec()),
        enrolled: fixture.enrolled_at.map(Timestamp::as_millisecond),
        broker_line,
    }
}
