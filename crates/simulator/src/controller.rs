//! What a simulated controller does with its messages: the rules of `device` with a document, an agenda and payloads.
//!
//! It talks to nobody: it takes what came and the uptime, and gives back what is to be sent. A new one is made at each
//! power-on, so a power cut forgets everything by dropping it.

mod shows;

use std::sync::Arc;
use std::time::Duration;

use device::{Clock, Keeper, PatchTaking, Taking};
use document::Value;
use serde::de::DeserializeOwned;

use crate::following::Following;
use crate::messages::{self, BootReason, Desired, Patch, Showing};
use crate::outbox::Outbox;
use crate::picture::{self, Picture};
use crate::randomness::Randomness;
use crate::topics::{Down, Up};
use crate::{Firmware, FixtureOptions, FixtureState};

/// The buffer of the commonest small client library as it is used in practice: one message with its topic and
/// 7 bytes of headers has to fit (common practice, no source).
const SMALL_BUFFER: usize = 512;

/// What is to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Order {
    Subscribe(Vec<Down>),
    Unsubscribe(Down),
    Publish { up: Up, payload: String, receipt: Receipt },
}

/// What the controller wants to know again once the broker has a publication.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Receipt {
    None,
    Boot,
    Outbox(u64),
}

#[derive(Debug)]
pub(crate) struct Controller {
    options: Arc<FixtureOptions>,
    reason: BootReason,
    boots: u64,
    keeper: Keeper,
    clock: Clock,
    random: Randomness,
    outbox: Outbox,
    connected: bool,
    boot_unconfirmed: bool,
    /// Firmware that lives on patches subscribes to the whole only while it needs it.
    takes_whole: bool,
    document: Option<Value>,
    /// What the reports so far add up to.
    reported: Value,
    /// A report may have been lost with its connection, so a difference to it would not do.
    reported_unsure: bool,
    following: Following,
    ceiling_milliamps: Option<u64>,
    showing: Option<Told>,
    /// Up to which uptime it has followed its clock.
    followed: u64,
    /// What it shows, by name and with or without a floor, and whether that has to be drawn anew all the same.
    shows: (Option<String>, bool),
    redraw: bool,
    changes: u64,
    wishes: u64,
    events: u64,
    boot_sent_at: Option<u64>,
    boot_answer_ms: Option<u64>,
    first_state_ms: Option<u64>,
    news: News,
}

/// A `showing` message that was taken.
#[derive(Debug)]
struct Told {
    look: String,
    picture: Option<Picture>,
    payload: Value,
}

/// What has happened since the last snapshot.
#[derive(Debug, Default)]
struct News {
    messages: u64,
    dropped: u64,
    problems: u64,
    last_problem: Option<Value>,
    asks: u64,
    reports: u64,
    document: bool,
    agenda: bool,
    showing: bool,
}

impl Controller {
    pub(crate) fn new(options: Arc<FixtureOptions>, reason: BootReason, boots: u64, random: Randomness) -> Self {
        Self {
            keeper: Keeper::new(options.firmware),
            options,
            reason,
            boots,
            clock: Clock::unset(),
            random,
            outbox: Outbox::default(),
            connected: false,
            boot_unconfirmed: false,
            takes_whole: false,
            document: None,
            reported: Value::Object(serde_json::Map::new()),
            reported_unsure: false,
            following: Following::default(),
            ceiling_milliamps: None,
            showing: None,
            followed: 0,
            shows: (None, false),
            redraw: true,
            changes: 0,
            wishes: 0,
            events: 0,
            boot_sent_at: None,
            boot_answer_ms: None,
            first_state_ms: None,
            news: News::default(),
        }
    }

    /// The broker has accepted the connection: subscribe, say so, and boot or ask. All of it goes out at once; a broker
    /// takes the packets of one client in their order, so the answer finds the subscription in place.
    pub(crate) fn connected(&mut self, uptime: u64) -> Vec<Order> {
        self.connected = true;
        let downs = match self.options.firmware {
            Firmware::Showing => vec![Down::Showing, Down::Problem],
            Firmware::Agenda => vec![Down::Desired, Down::Problem],
            Firmware::Patch => {
                self.takes_whole = true;
                vec![Down::Desired, Down::Patch, Down::Showing, Down::Problem]
            }
        };
        let mut orders = vec![Order::Subscribe(downs), plain(Up::Alive, messages::ALIVE.to_owned())];
        if self.keeper.boot_message_due() {
            let rssi = -50 - i32::try_from(self.random.below(12)).unwrap_or_default();
            let payload = messages::boot(self.reason, self.keeper.have(), self.boots, rssi);
            self.keeper.boot_sent(uptime, self.random.next_u32());
            self.boot_unconfirmed = true;
            self.boot_sent_at = Some(uptime);
            orders.push(Order::Publish { up: Up::Boot, payload, receipt: Receipt::Boot });
        } else {
            self.keeper.reconnected(uptime);
            orders.extend(self.ask_if_due(uptime));
        }
        orders.extend(self.outbox.waiting().map(|entry| Order::Publish {
            up: entry.up,
            payload: entry.payload.clone(),
            receipt: Receipt::Outbox(entry.ticket),
        }));
        orders
    }

    /// The connection is gone, and perhaps the last reports with it.
    pub(crate) fn disconnected(&mut self) {
        self.connected = false;
        self.reported_unsure = true;
        if std::mem::take(&mut self.boot_unconfirmed) {
            self.keeper.boot_lost();
        }
    }

    /// The broker has a publication, or at QoS 0 it has gone out.
    pub(crate) fn confirmed(&mut self, receipt: Receipt) {
        match receipt {
            Receipt::None => {}
            Receipt::Boot => self.boot_unconfirmed = false,
            Receipt::Outbox(ticket) => self.outbox.done(ticket),
        }
    }

    /// The next uptime at which `tick` has something to do.
    pub(crate) fn next_due(&self, uptime: u64) -> Option<u64> {
        let ask = self.keeper.next_ask().filter(|_| self.connected);
        [ask, self.next_change(uptime)].into_iter().flatten().min()
    }

    /// The most that it may draw, in milliamps: as last told, and until then as compiled into it.
    pub(crate) fn ceiling_milliamps(&self) -> u64 {
        self.ceiling_milliamps.unwrap_or(u64::from(self.options.strip.first_ceiling_milliamps))
    }

    /// Reports what the strip draws. Nothing goes out while it holds no revision or has no connection, or when its
    /// firmware reports nothing.
    pub(crate) fn report_current(&mut self, milliamps: u64) -> Vec<Order> {
        if !self.connected || !self.options.report || self.keeper.have() == 0 {
            return Vec::new();
        }
        self.news.reports += 1;
        vec![plain(Up::Reported, messages::reported_current(self.keeper.have(), milliamps))]
    }

    /// Asks when that is due. What its clock brings is followed by [`Controller::follow`].
    pub(crate) fn tick(&mut self, uptime: u64) -> Vec<Order> {
        self.ask_if_due(uptime)
    }

    /// Somebody used the fixture's own button; the answer is the wish's number.
    pub(crate) fn press(&mut self, wish: Value) -> (u64, Vec<Order>) {
        self.wishes += 1;
        let payload = messages::wish(wish, self.wishes);
        (self.wishes, self.through_outbox(Up::Wish, payload))
    }

    /// A sensor reported something; the answer is the event's number.
    pub(crate) fn event(&mut self, name: &str) -> (u64, Vec<Order>) {
        self.events += 1;
        let payload = messages::event(name, self.events);
        (self.events, self.through_outbox(Up::Event, payload))
    }

    /// A time server set the clock.
    pub(crate) fn set_clock(&mut self, now_ms: u64, uptime: u64) {
        self.clock.set(now_ms, uptime);
    }

    /// A message came.
    pub(crate) fn message(&mut self, topic: &str, payload: &[u8], retained: bool, uptime: u64) -> Vec<Order> {
        self.news.messages += 1;
        let small = self.options.qos0 && self.options.firmware == Firmware::Showing;
        let Some(down) = Down::read(&self.options, topic) else {
            self.news.dropped += 1;
            return Vec::new();
        };
        if small && topic.len() + payload.len() + 7 > SMALL_BUFFER {
            self.news.dropped += 1;
            return Vec::new();
        }
        let mut orders = match down {
            Down::Desired => self.on_desired(payload, retained, uptime),
            Down::Patch => self.on_patch(payload, uptime),
            Down::Showing => self.on_showing(payload, retained, uptime),
            Down::Problem => self.on_problem(payload, uptime),
        };
        orders.extend(self.ask_if_due(uptime));
        if self.options.firmware == Firmware::Patch
            && self.takes_whole
            && self.keeper.have() > 0
            && !self.keeper.is_waiting()
        {
            self.takes_whole = false;
            orders.push(Order::Unsubscribe(Down::Desired));
        }
        if self.first_state_ms.is_none() && self.look(uptime).is_some() {
            self.first_state_ms = Some(uptime);
        }
        orders
    }

    fn on_desired(&mut self, payload: &[u8], retained: bool, uptime: u64) -> Vec<Order> {
        let Some(heard) = self.read::<Desired>(payload) else {
            return Vec::new();
        };
        let taking = self.keeper.on_desired(heard.rev, heard.now_ms, retained);
        if self.options.firmware != Firmware::Showing && !retained {
            self.time_answer(uptime);
        }
        if matches!(taking, Taking::Take | Taking::Renew) {
            self.clock.hear(heard.now_ms, retained, uptime);
            self.ceiling_milliamps = heard.ceiling_milliamps.or(self.ceiling_milliamps);
            if self.options.firmware == Firmware::Agenda {
                self.following = Following::new(heard.agenda, heard.dark, heard.now_ms);
                self.news.agenda = true;
                self.redraw = true;
            }
        }
        match taking {
            Taking::Take => {
                self.document = Some(heard.document);
                self.news.document = true;
                self.report()
            }
            Taking::Renew | Taking::Again if !retained => self.report_again(),
            Taking::Renew | Taking::Again | Taking::Ignore => Vec::new(),
        }
    }

    fn on_patch(&mut self, payload: &[u8], uptime: u64) -> Vec<Order> {
        let Some(heard) = self.read::<Patch>(payload) else {
            return Vec::new();
        };
        match self.keeper.on_patch(heard.from, heard.rev, uptime) {
            PatchTaking::Apply => {
                let document = self.document.get_or_insert_with(|| Value::Object(serde_json::Map::new()));
                document::merge(document, &heard.patch);
                self.news.document = true;
                self.report()
            }
            PatchTaking::Ask if !self.takes_whole => {
                self.takes_whole = true;
                vec![Order::Subscribe(vec![Down::Desired])]
            }
            PatchTaking::Ask | PatchTaking::Ignore => Vec::new(),
        }
    }

    fn on_showing(&mut self, payload: &[u8], retained: bool, uptime: u64) -> Vec<Order> {
        let (Some(heard), Some(whole)) = (self.read::<Showing>(payload), self.read::<Value>(payload)) else {
            return Vec::new();
        };
        let taking = self.keeper.on_showing(heard.rev, heard.now_ms, retained);
        let lives_on_it = self.options.firmware == Firmware::Showing;
        if lives_on_it && !retained {
            self.time_answer(uptime);
        }
        if matches!(taking, Taking::Take | Taking::Renew) {
            self.clock.hear(heard.now_ms, retained, uptime);
            self.ceiling_milliamps = heard.ceiling_milliamps.or(self.ceiling_milliamps);
            self.showing = Some(Told { look: heard.look, picture: picture::of_showing(&whole), payload: whole });
            self.news.showing = true;
            self.redraw = true;
        }
        match taking {
            _ if !lives_on_it => Vec::new(),
            Taking::Take => self.report_again(),
            Taking::Renew | Taking::Again if !retained => self.report_again(),
            Taking::Renew | Taking::Again | Taking::Ignore => Vec::new(),
        }
    }

    fn on_problem(&mut self, payload: &[u8], uptime: u64) -> Vec<Order> {
        let Some(problem) = self.read::<Value>(payload) else { return Vec::new() };
        tracing::debug!(fixture = %self.options.id, %problem, "problem");
        let never_given = problem.get("type").and_then(Value::as_str) == Some("/problems/never-given");
        self.news.problems += 1;
        self.news.last_problem = Some(problem);
        if !never_given || self.keeper.have() == 0 {
            return Vec::new();
        }
        // the daemon knows nothing of what is held here: begin anew, as after a boot
        self.keeper.never_given(uptime);
        self.document = None;
        self.reported = Value::Object(serde_json::Map::new());
        self.reported_unsure = false;
        if self.options.firmware == Firmware::Patch && !self.takes_whole {
            self.takes_whole = true;
            return vec![Order::Subscribe(vec![Down::Desired])];
        }
        Vec::new() // the ask follows: it is due now
    }

    fn read<Message: DeserializeOwned>(&mut self, payload: &[u8]) -> Option<Message> {
        match serde_json::from_slice(payload) {
            Ok(message) => Some(message),
            Err(error) => {
                tracing::warn!(fixture = %self.options.id, %error, "a message that cannot be read");
                self.news.dropped += 1;
                None
            }
        }
    }

    fn time_answer(&mut self, uptime: u64) {
        if let (None, Some(sent)) = (self.boot_answer_ms, self.boot_sent_at) {
            self.boot_answer_ms = Some(uptime.saturating_sub(sent));
        }
    }

    fn ask_if_due(&mut self, uptime: u64) -> Vec<Order> {
        if !self.connected || !self.keeper.ask_due(uptime) {
            return Vec::new();
        }
        self.keeper.ask_sent(uptime, self.random.next_u32());
        self.news.asks += 1;
        vec![plain(Up::Ask, messages::ask(self.keeper.have()))]
    }

    /// Reports a newly applied revision by what differs from the reports before. The first report after power-on
    /// carries the whole document.
    fn report(&mut self) -> Vec<Order> {
        let Some(document) = self.document.as_ref().filter(|_| !self.reported_unsure) else {
            return self.report_again();
        };
        if !self.options.report {
            return Vec::new();
        }
        let patch = document::difference(&self.reported, document);
        self.reported = document.clone();
        self.news.reports += 1;
        vec![plain(Up::Reported, messages::reported(self.keeper.have(), Some(&patch)))]
    }

    /// Reports the revision alone: applied as it was given. It stands by itself, so it also mends a lost report.
    fn report_again(&mut self) -> Vec<Order> {
        if !self.options.report || self.keeper.have() == 0 {
            return Vec::new();
        }
        if let Some(document) = &self.document {
            self.reported = document.clone();
        }
        self.reported_unsure = false;
        self.news.reports += 1;
        vec![plain(Up::Reported, messages::reported(self.keeper.have(), None))]
    }

    fn through_outbox(&mut self, up: Up, payload: String) -> Vec<Order> {
        let entry = self.outbox.add(up, payload);
        if !self.connected {
            return Vec::new();
        }
        vec![Order::Publish { up, payload: entry.payload, receipt: Receipt::Outbox(entry.ticket) }]
    }

    /// Brings a snapshot up to date.
    pub(crate) fn show(&mut self, uptime: u64, state: &mut FixtureState) {
        let news = std::mem::take(&mut self.news);
        state.powered = true;
        state.connected = self.connected;
        state.rev = self.keeper.have();
        if news.document {
            state.document = self.document.clone();
        }
        if news.agenda {
            self.following.agenda().clone_into(&mut state.agenda);
            self.following.dark().clone_into(&mut state.dark);
        }
        if news.showing {
            state.showing = self.showing.as_ref().map(|told| told.payload.clone());
        }
        if state.look.as_deref() != self.look(uptime) {
            state.look = self.look(uptime).map(str::to_owned);
        }
        state.floored = self.is_floored(uptime);
        state.changes = self.changes;
        state.ceiling_milliamps = self.ceiling_milliamps;
        state.clock_set = self.clock.is_set();
        state.boot_answer = self.boot_answer_ms.map(Duration::from_millis);
        state.first_state = self.first_state_ms.map(Duration::from_millis);
        state.boots = self.boots;
        state.messages += news.messages;
        state.dropped += news.dropped;
        state.problems += news.problems;
        state.last_problem = news.last_problem.or(state.last_problem.take());
        state.asks += news.asks;
        state.reports += news.reports;
    }
}

fn plain(up: Up, payload: String) -> Order {
    Order::Publish { up, payload, receipt: Receipt::None }
}

#[cfg(test)]
mod tests;
