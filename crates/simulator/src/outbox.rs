//! Events and wishes that wait for the broker's acknowledgement.

use std::collections::VecDeque;

use crate::topics::Up;

/// How many unsent presses and events a controller has room for.
const ROOM: usize = 32;

/// One event or wish under its own number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) ticket: u64,
    pub(crate) up: Up,
    pub(crate) payload: String,
}

/// What a person or a sensor did, kept until the broker has it, in order. It is sent again after a lost connection;
/// its `n` lets the reader tell a repetition. It lives in the controller's memory and goes with the power.
#[derive(Debug, Default)]
pub(crate) struct Outbox {
    entries: VecDeque<Entry>,
    tickets: u64,
}

impl Outbox {
    /// Adds an entry; the oldest makes way when there is no room left.
    pub(crate) fn add(&mut self, up: Up, payload: String) -> Entry {
        if self.entries.len() >= ROOM {
            self.entries.pop_front();
        }
        self.tickets += 1;
        let entry = Entry { ticket: self.tickets, up, payload };
        self.entries.push_back(entry.clone());
        entry
    }

    /// The broker has it.
    pub(crate) fn done(&mut self, ticket: u64) {
        self.entries.retain(|entry| entry.ticket != ticket);
    }

    /// All that still waits, oldest first.
    pub(crate) fn waiting(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_acknowledged_waits_no_more_and_the_oldest_makes_way() {
        let mut outbox = Outbox::default();
        let first = outbox.add(Up::Wish, "1".to_owned());
        let second = outbox.add(Up::Event, "2".to_owned());
        outbox.done(first.ticket);
        outbox.done(first.ticket);
        assert_eq!(outbox.waiting().cloned().collect::<Vec<_>>(), [second]);
        for n in 0..100 {
            outbox.add(Up::Event, n.to_string());
        }
        let waiting: Vec<_> = outbox.waiting().map(|entry| entry.payload.clone()).collect();
        assert_eq!(waiting.len(), ROOM);
        assert_eq!(waiting.last().map(String::as_str), Some("99"));
        assert_eq!(waiting.first().map(String::as_str), Some("68"));
    }
}
