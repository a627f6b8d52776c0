//! Which revision is held and shown, and what a message may change of it.
//!
//! Two laws: the revision held never goes backwards except by [`Keeper::power_on`] and [`Keeper::never_given`], and a
//! message heard before changes nothing.

use crate::Firmware;
use crate::asking::Asking;

/// What to do with a `desired` or a `showing` message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taking {
    /// A newer revision: take the whole message and report it.
    Take,
    /// The revision held, with newer surroundings: take the agenda or the resolved look, and the ceiling; leave the
    /// document. Report again when it came live, for the sender may have missed the first report.
    Renew,
    /// A live repetition of what is held: change nothing, but report again.
    Again,
    /// Old, or stored and no newer than what is held: change nothing, say nothing.
    Ignore,
}

/// What to do with a `patch` message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PatchTaking {
    /// It fits what is held: merge it and report.
    Apply,
    /// It is newer but does not fit: the whole is needed; [`Keeper::ask_due`] says when to ask.
    Ask,
    /// Held already, or older: change nothing.
    Ignore,
}

/// The revision of what is held, and the daemon's time when it was sent, which orders messages of one revision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
struct Mark {
    rev: u64,
    now_ms: u64,
}

/// The rules of one controller, from power-on to power-off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keeper {
    firmware: Firmware,
    document: Mark,
    showing: Mark,
    /// The least revision that answers what was asked for; raised by a patch that did not fit.
    wanted: u64,
    asking: Asking,
}

impl Keeper {
    /// A controller that was just powered: it holds nothing, and its boot message is due.
    #[must_use]
    pub fn new(firmware: Firmware) -> Self {
        Self {
            firmware,
            document: Mark::default(),
            showing: Mark::default(),
            wanted: 0,
            asking: Asking::after_power_on(),
        }
    }

    /// The power came back: everything is forgotten, and the boot message is due.
    pub fn power_on(&mut self) {
        *self = Self::new(self.firmware);
    }

    /// The daemon says that the revision held was never given out, as after it was restored from an older backup: what
    /// is held is forgotten, and an `ask` is due at once.
    pub fn never_given(&mut self, uptime_ms: u64) {
        self.document = Mark::default();
        self.showing = Mark::default();
        self.wanted = 0;
        self.asking.reconnected(uptime_ms);
    }

    /// The size of firmware whose rules these are.
    #[must_use]
    pub fn firmware(&self) -> Firmware {
        self.firmware
    }

    /// The revision held, 0 for none: what `have` says in `boot` and `ask`. For firmware that keeps no document it is
    /// the revision behind what it shows.
    #[must_use]
    pub fn have(&self) -> u64 {
        match self.firmware {
            Firmware::Showing => self.showing.rev,
            Firmware::Agenda | Firmware::Patch => self.document.rev,
        }
    }

    /// A `desired` message of revision `rev`, sent at Unix time `now_ms`. Firmware that keeps no document ignores it.
    pub fn on_desired(&mut self, rev: u64, now_ms: u64, retained: bool) -> Taking {
        if self.firmware == Firmware::Showing {
            return Taking::Ignore;
        }
        let asked = self.asking.is_waiting();
        let taking = self.document.take(Mark { rev, now_ms }, retained, asked);
        if !retained && rev >= self.document.rev && rev >= self.wanted {
            self.asking.answered();
        }
        taking
    }

    /// A `patch` message from revision `from` to `rev`, heard at `uptime_ms`. Only firmware that lives on patches
    /// takes any.
    pub fn on_patch(&mut self, from: u64, rev: u64, uptime_ms: u64) -> PatchTaking {
        if self.firmware != Firmware::Patch || rev <= self.document.rev {
            return PatchTaking::Ignore;
        }
        if from == self.document.rev {
            self.document.rev = rev;
            return PatchTaking::Apply;
        }
        self.wanted = self.wanted.max(rev);
        self.asking.want(uptime_ms);
        PatchTaking::Ask
    }

    /// A `showing` message made from revision `rev` and sent at Unix time `now_ms`. Firmware that follows an agenda
    /// ignores it.
    pub fn on_showing(&mut self, rev: u64, now_ms: u64, retained: bool) -> Taking {
        if self.firmware == Firmware::Agenda {
            return Taking::Ignore;
        }
        // Only for firmware that lives on `showing` can one be the answer to its asking. A stored one answers it as
        // well as a live one: such firmware follows no agenda, so it needs no clock to be right.
        let lives_on_it = self.firmware == Firmware::Showing;
        let asked = lives_on_it && self.asking.is_waiting();
        let taking = self.showing.take(Mark { rev, now_ms }, retained, asked);
        // one that is older than what is held tells of a time before the daemon's clock was put back
        if lives_on_it && rev >= self.showing.rev && now_ms >= self.showing.now_ms {
            self.asking.answered();
        }
        taking
    }

    /// Whether the boot message is due.
    #[must_use]
    pub fn boot_message_due(&self) -> bool {
        self.asking.boot_due()
    }

    /// The boot message went out at `uptime_ms`. `random` spreads the pause after which the lack of an answer is
    /// answered with an ask.
    pub fn boot_sent(&mut self, uptime_ms: u64, random: u32) {
        self.asking.sent(uptime_ms, random);
    }

    /// The connection broke before the boot message was acknowledged: it is due again.
    pub fn boot_lost(&mut self) {
        self.asking.boot_lost();
    }

    /// Whether an `ask` is due at `uptime_ms`.
    #[must_use]
    pub fn ask_due(&self, uptime_ms: u64) -> bool {
        self.asking.ask_due(uptime_ms)
    }

    /// The uptime at which the next `ask` is due unless an answer comes first.
    #[must_use]
    pub fn next_ask(&self) -> Option<u64> {
        self.asking.next_ask()
    }

    /// An `ask` went out at `uptime_ms`. `random` spreads the pause before the next one.
    pub fn ask_sent(&mut self, uptime_ms: u64, random: u32) {
        self.asking.sent(uptime_ms, random);
    }

    /// Connected again without having lost power: something may have been missed, so an `ask` is due at once.
    pub fn reconnected(&mut self, uptime_ms: u64) {
        self.asking.reconnected(uptime_ms);
    }

    /// Whether an answer to a boot or an ask is awaited.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.asking.is_waiting()
    }
}

/// A live message that seems older by so many milliseconds was sent after the daemon's clock had been put back.
const PUT_BACK_MS: u64 = 60_000;

impl Mark {
    /// Moves to `heard` if that is newer. `asked`: an answer is awaited, and a live message of the same revision is
    /// one even when the daemon's clock was put back meanwhile. Without having asked, a live message counts although
    /// it seems older by a minute or more: messages do not overtake each other by that much, so the clock was put back.
    fn take(&mut self, heard: Mark, retained: bool, asked: bool) -> Taking {
        if heard.rev < self.rev {
            return Taking::Ignore;
        }
        if heard.rev > self.rev {
            *self = heard;
            return Taking::Take;
        }
        let newer = heard.now_ms > self.now_ms;
        let answer = asked && !retained && heard.now_ms != self.now_ms;
        let put_back = !retained && self.now_ms.saturating_sub(heard.now_ms) >= PUT_BACK_MS;
        if newer || answer || put_back {
            *self = heard;
            Taking::Renew
        } else if retained {
            Taking::Ignore
        } else {
            Taking::Again
        }
    }
}
