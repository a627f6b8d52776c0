//! What the controller shows, and what time brings to it: its agenda and the dark hours by its own clock.

use device::{DARK, Now};

use super::Controller;
use crate::Firmware;
use crate::picture::{self, Picture};

impl Controller {
    /// The look shown: resolved by the daemon, or read from the agenda.
    pub(super) fn look(&self, uptime: u64) -> Option<&str> {
        if self.options.firmware != Firmware::Agenda {
            return self.showing.as_ref().map(|told| told.look.as_str());
        }
        self.following.look(self.clock.unix_seconds(uptime))
    }

    /// The next uptime at which its agenda or the dark hours change what it shows, as far as it can know.
    pub(super) fn next_change(&self, uptime: u64) -> Option<u64> {
        let next = self.following.next_change(self.clock.unix_seconds(uptime)?)?;
        self.clock.uptime_of(next)
    }

    /// Goes on to `uptime` and stops at each change that its agenda or the dark hours bring on the way: whoever comes late
    /// finds what was shown at its time. Hands over what is to be shown and from when, wherever that is something new.
    pub(crate) fn follow(&mut self, uptime: u64, mut show: impl FnMut(Picture, Now)) {
        while let Some(at) = self.next_change(self.followed).filter(|at| *at > self.followed && *at <= uptime) {
            self.followed = at;
            if self.look_again(at, &mut show) {
                self.changes += 1;
            }
        }
        self.followed = self.followed.max(uptime);
        self.look_again(uptime, &mut show);
    }

    /// Whether what is to be shown at `uptime` is something new; it is handed over then.
    fn look_again(&mut self, uptime: u64, show: &mut impl FnMut(Picture, Now)) -> bool {
        let (look, floored) = (self.look(uptime), self.is_floored(uptime));
        if !self.redraw && self.shows.0.as_deref() == look && self.shows.1 == floored {
            return false;
        }
        if let Some(picture) = self.picture(look, floored) {
            show(picture, self.now(uptime));
        }
        self.shows = (look.map(str::to_owned), floored);
        self.redraw = false;
        true
    }

    /// What is to be shown: nothing where the message that should have said it did not, so that what shows stays.
    fn picture(&self, look: Option<&str>, floored: bool) -> Option<Picture> {
        let Some(look) = look else {
            return Some(Picture { look: self.options.strip.first_look, fade_ms: 0 });
        };
        if self.options.firmware != Firmware::Agenda {
            return self.showing.as_ref()?.picture;
        }
        Some(picture::of_document(self.document.as_ref()?, look, floored, self.options.strip.white_led()))
    }

    /// Whether it keeps a floor beneath what it shows: as it was told, or by its document and the hour.
    pub(super) fn is_floored(&self, uptime: u64) -> bool {
        if self.options.firmware != Firmware::Agenda {
            let told = self.showing.as_ref().and_then(|told| told.picture);
            return told.is_some_and(|picture| picture.look.floor() != DARK);
        }
        let keeps = self.document.as_ref().is_some_and(|document| picture::floor_of(document).is_some());
        keeps && self.following.is_dark(self.clock.unix_seconds(uptime))
    }

    /// The instant by both of its times; looks move by the uptime while it does not know the time.
    pub(crate) fn now(&self, uptime: u64) -> Now {
        Now { unix_ms: self.clock.unix_ms(uptime).unwrap_or(uptime), uptime_ms: uptime }
    }
}
