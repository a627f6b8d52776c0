//! The course of a scene: what shows at an instant, when that changes next, and since when it has been so.

use jiff::Timestamp;

use crate::showing::{Because, DARK};
use crate::solved::{Held, Solved, Some64, just_before};
use crate::{Place, Scene, Until};

/// What holds at an instant.
#[derive(Debug, Clone, Copy)]
pub(crate) struct State<'a> {
    pub(crate) look: &'a str,
    pub(crate) because: Because,
    pub(crate) floored: bool,
    /// The link, if it is one that shows.
    pub(crate) link: Option<&'a str>,
    /// The entry of the timetable, if it is one that shows.
    pub(crate) held: Option<Held>,
}

impl State<'_> {
    /// Whether there is no change of showing from one to the other.
    fn shows_like(&self, other: &State<'_>) -> bool {
        self.because == other.because && self.floored == other.floored && self.look == other.look
    }
}

/// A scene for the time of one question.
pub(crate) struct Course<'a> {
    scene: &'a Scene<'a>,
    solved: Option<Solved<'a>>,
    /// When the override ends; nothing if there is none.
    override_end: Option<End>,
}

#[derive(Clone, Copy)]
enum End {
    At(Timestamp),
    NotForeseen,
}

impl<'a> Course<'a> {
    pub(crate) fn of(scene: &'a Scene<'a>) -> Self {
        let solved = scene.place.map(|place: &Place| Solved::new(scene.plan.timetable.entries(), place));
        let mut course = Self { scene, solved, override_end: None };
        course.override_end = scene.plan.owners_override.as_ref().map(|held| match held.until {
            Until::At(end) => End::At(end),
            Until::NextChange => course.change_of_entry_after_edit().map_or(End::NotForeseen, End::At),
            Until::Released => End::NotForeseen,
        });
        course
    }

    /// The instant at which the override ends or has ended, if one is foreseen.
    pub(crate) fn end_of_override(&self) -> Option<Timestamp> {
        match self.override_end {
            Some(End::At(end)) => Some(end),
            Some(End::NotForeseen) | None => None,
        }
    }

    fn change_of_entry_after_edit(&mut self) -> Option<Timestamp> {
        let edited_at = self.scene.edited_at;
        let solved = self.solved.as_mut()?;
        let held = solved.held(edited_at);
        let same =
            Some64::of(self.scene.plan.timetable.entries(), |index, _| held.is_some_and(|held| held.entry == index));
        solved.next_switch(edited_at, held, same).map(|(at, _)| at)
    }

    /// What holds at an instant.
    pub(crate) fn state(&mut self, at: Timestamp) -> State<'a> {
        self.state_with(at, |solved| solved.held(at))
    }

    fn state_with(&mut self, at: Timestamp, held: impl FnOnce(&mut Solved<'a>) -> Option<Held>) -> State<'a> {
        let plan = self.scene.plan;
        let state = |look, because| State { look, because, floored: false, link: None, held: None };
        if !plan.lit {
            return state(DARK, Because::Unlit);
        }
        let mut state = if let Some(held) = plan.owners_override.as_ref().filter(|_| self.is_overridden(at)) {
            state(&held.look, Because::Override)
        } else if let Some(running) = self.scene.running.iter().rev().find(|running| running.runs_at(at)) {
            State { link: Some(&running.link), ..state(&running.look, Because::Link) }
        } else if let Some((held, entry)) =
            self.solved.as_mut().and_then(held).and_then(|held| Some((held, plan.timetable.entries().get(held.entry)?)))
        {
            State { held: Some(held), ..state(&entry.look, Because::Timetable) }
        } else if let Some(look) = &plan.default {
            state(look, Because::Default)
        } else {
            state(DARK, Because::Dark)
        };
        state.floored = plan.keeps_floor && self.solved.as_mut().is_none_or(|solved| solved.calendar.is_dark(at));
        state
    }

    fn is_overridden(&self, at: Timestamp) -> bool {
        match self.override_end {
            Some(End::At(end)) => at < end,
            Some(End::NotForeseen) => true,
            None => false,
        }
    }

    /// The first instant after `at` at which showing changes, and what holds then; `state` is what holds at `at`.
    pub(crate) fn next(&mut self, at: Timestamp, state: &State<'a>) -> Option<(Timestamp, State<'a>)> {
        let (mut from, mut before) = (at, *state);
        loop {
            let switch = self.switch_after(from, &before);
            let candidate = self.other_boundary_after(from, &before);
            let (instant, then) = match (switch, candidate) {
                (Some((switch, held)), other) if other.is_none_or(|other| switch <= other) => {
                    (switch, self.state_with(switch, |_| held))
                }
                (_, other) => {
                    let instant = other?;
                    // No switch until then: the entry that holds is still the same or one like it.
                    (instant, self.state(instant))
                }
            };
            if !then.shows_like(state) {
                return Some((instant, then));
            }
            (from, before) = (instant, then);
        }
    }

    /// When the timetable takes another turn, if it is the timetable's or nobody's turn.
    fn switch_after(&mut self, at: Timestamp, state: &State<'a>) -> Option<(Timestamp, Option<Held>)> {
        let same = match state.because {
            Because::Timetable => self.entries_with_look_of(state),
            Because::Default | Because::Dark => self.no_entries(),
            Because::Unlit | Because::Override | Because::Link => return None,
        };
        self.solved.as_mut()?.next_switch(at, state.held, same)
    }

    /// The first instant after `at` at which an override or link ends, a link begins, or night falls or ends, as far
    /// as that may change what shows.
    fn other_boundary_after(&mut self, at: Timestamp, state: &State<'a>) -> Option<Timestamp> {
        if state.because == Because::Unlit {
            return None;
        }
        let mut first = if self.scene.plan.keeps_floor {
            self.solved.as_mut().and_then(|solved| solved.calendar.turn_after(at))
        } else {
            None
        };
        let mut bound = |instant: Timestamp| {
            if at < instant && first.is_none_or(|first| instant < first) {
                first = Some(instant);
            }
        };
        if state.because == Because::Override {
            self.end_of_override().map(&mut bound);
        } else {
            self.scene
                .running
                .iter()
                .flat_map(|running| [Some(running.since), running.until])
                .flatten()
                .for_each(bound);
        }
        first
    }

    /// Since when what holds at `at` has shown: the later of the edit and of the last change of showing. Nothing
    /// for an instant before the edit.
    pub(crate) fn since(&mut self, at: Timestamp, state: &State<'a>) -> Option<Timestamp> {
        let floor = self.scene.edited_at;
        if at < floor {
            return None;
        }
        let (mut upto, mut after) = (at, *state);
        loop {
            let Some(boundary) = self.boundary_upto(upto, &after, floor) else { return Some(floor) };
            let before = self.state(just_before(boundary));
            if !before.shows_like(state) {
                return Some(boundary);
            }
            (upto, after) = (just_before(boundary), before);
        }
    }

    /// The last instant not after `at`, but after `floor`, at which what holds at `at` may have begun to show.
    fn boundary_upto(&mut self, at: Timestamp, state: &State<'a>, floor: Timestamp) -> Option<Timestamp> {
        if state.because == Because::Unlit {
            return None;
        }
        let mut last = if self.scene.plan.keeps_floor {
            self.solved.as_mut().and_then(|solved| solved.calendar.turn_upto(at, floor))
        } else {
            None
        };
        let mut bound = |instant: Timestamp| {
            if floor < instant && instant <= at && last.is_none_or(|last| last < instant) {
                last = Some(instant);
            }
        };
        if state.because != Because::Override {
            if let Some(End::At(end)) = self.override_end {
                bound(end);
            }
            self.scene
                .running
                .iter()
                .flat_map(|running| [Some(running.since), running.until])
                .flatten()
                .for_each(&mut bound);
        }
        let began = match (state.because, state.held) {
            (Because::Timetable, Some(held)) => {
                let same = self.entries_with_look_of(state);
                self.solved.as_mut().map(|solved| solved.run_of(held, same, floor))
            }
            (Because::Default | Because::Dark, _) => self.solved.as_mut().and_then(|solved| solved.ran_out(at, floor)),
            _ => None,
        };
        if let Some(began) = began {
            bound(began);
        }
        last
    }

    fn entries_with_look_of(&self, state: &State<'a>) -> Some64 {
        Some64::of(self.scene.plan.timetable.entries(), |_, entry| entry.look == state.look)
    }

    fn no_entries(&self) -> Some64 {
        Some64::of(&[], |_, _| false)
    }
}
