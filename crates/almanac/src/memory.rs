//! What the sun was asked before: the fixtures of a house share its sky, and every agenda asks for the same few days.
//!
//! A memory of answers that never change: what is asked has the same answer with it and without it, only later.

use std::cell::RefCell;
use std::collections::HashMap;

use jiff::Timestamp;

use crate::SunEvent;

/// All that the answer depends on: the place, the date's bounds, from when on, which crossing. Floats by their bits,
/// since two places that are told apart at all are two places.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Asked {
    pub(crate) latitude: u64,
    pub(crate) longitude: u64,
    pub(crate) day: (Timestamp, Timestamp),
    pub(crate) after: u64,
    pub(crate) event: SunEvent,
}

/// So many answers are kept for each thread: a year of one place, or two days of a few hundred.
const MOST: usize = 4_096;

thread_local! {
    // one for each thread: nobody waits for a lock
    static ANSWERS: RefCell<HashMap<Asked, Option<f64>>> = RefCell::new(HashMap::new());
}

/// The answer that was found before, or the one that is found now.
pub(crate) fn recalled(asked: Asked, find: impl FnOnce() -> Option<f64>) -> Option<f64> {
    if let Some(answer) = ANSWERS.with_borrow(|answers| answers.get(&asked).copied()) {
        return answer;
    }
    let answer = find();
    ANSWERS.with_borrow_mut(|answers| {
        if answers.len() >= MOST {
            answers.clear();
        }
        answers.insert(asked, answer);
    });
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(after: u64) -> Asked {
        let day = (Timestamp::UNIX_EPOCH, Timestamp::UNIX_EPOCH);
        Asked { latitude: 1, longitude: 2, day, after, event: SunEvent::Dusk }
    }

    #[test]
    fn an_answer_is_found_once_and_told_again() {
        assert_eq!(recalled(asked(7), || Some(1.5)), Some(1.5));
        assert_eq!(recalled(asked(7), || None), Some(1.5));
        assert_eq!(recalled(Asked { event: SunEvent::Dawn, ..asked(7) }, || None), None);
    }

    #[test]
    fn no_more_is_kept_than_there_is_room_for() {
        for after in 0..3 * MOST as u64 {
            recalled(asked(after), || None);
        }
        assert!(ANSWERS.with_borrow(HashMap::len) <= MOST);
    }
}
