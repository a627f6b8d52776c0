//! Following an agenda and the dark hours by one's own clock, with nobody there.

use device::{AGENDA_CHANGES, next_change, step, step_without_clock};

/// The most dark hours that a controller has room for; two days have three at most.
const DARK_SPANS: usize = 8;

/// How far agenda and dark hours reach from the time at which they were written, in seconds.
const REACH_S: u64 = 48 * 3_600;

/// The coming changes, as last told.
#[derive(Debug, Default)]
pub(crate) struct Following {
    agenda: Vec<(u64, String)>,
    /// From sunset to sunrise, the latter not included. Nothing when the message did not say.
    dark: Option<Vec<(u64, u64)>>,
    written_s: u64,
}

impl Following {
    /// What a message of Unix time `written_ms` said. What a controller has no room for is cut off.
    pub(crate) fn new(mut agenda: Vec<(u64, String)>, mut dark: Option<Vec<(u64, u64)>>, written_ms: u64) -> Self {
        agenda.truncate(AGENDA_CHANGES);
        if let Some(dark) = &mut dark {
            dark.truncate(DARK_SPANS);
        }
        Self { agenda, dark, written_s: written_ms / 1_000 }
    }

    pub(crate) fn agenda(&self) -> &[(u64, String)] {
        &self.agenda
    }

    pub(crate) fn dark(&self) -> &[(u64, u64)] {
        self.dark.as_deref().unwrap_or_default()
    }

    /// The look that holds; without a clock the one that held when it was written.
    pub(crate) fn look(&self, now_s: Option<u64>) -> Option<&str> {
        let changes: Vec<(u64, &str)> = self.agenda.iter().map(|(at, look)| (*at, look.as_str())).collect();
        now_s.and_then(|now| step(&changes, now)).or_else(|| step_without_clock(&changes))
    }

    /// Whether the hour is dark. Where nobody can tell it counts as dark, so that no walkway is without its light:
    /// without a clock, without dark hours in the message, and outside the two days that they are told for.
    pub(crate) fn is_dark(&self, now_s: Option<u64>) -> bool {
        let (Some(now), Some(dark)) = (now_s, &self.dark) else { return true };
        let told = self.written_s..self.written_s.saturating_add(REACH_S);
        !told.contains(&now) || dark.iter().any(|(from, to)| (*from..*to).contains(&now))
    }

    /// The Unix second of the next change of look or darkness after `now_s`; nothing when none is known.
    pub(crate) fn next_change(&self, now_s: u64) -> Option<u64> {
        let bounds = self.dark().iter().flat_map(|(from, to)| [*from, *to]);
        let reach = self.dark.as_ref().map(|_| self.written_s.saturating_add(REACH_S));
        let darkness = bounds.chain(reach).filter(|at| *at > now_s).min();
        [next_change(&self.agenda, now_s), darkness].into_iter().flatten().min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: u64 = 1_764_060_000;

    fn night() -> Following {
        let agenda = vec![(START, "evening".to_owned()), (START + 100, "late".to_owned())];
        Following::new(agenda, Some(vec![(START + 50, START + 150)]), START * 1_000)
    }

    #[test]
    fn look_and_darkness_change_at_their_seconds_and_are_announced() {
        let night = night();
        let mut seen = vec![(START, "evening", false)];
        let mut now = START;
        while let Some(next) = night.next_change(now) {
            assert_eq!(night.look(Some(next - 1)), night.look(Some(now)), "changed unannounced");
            assert_eq!(night.is_dark(Some(next - 1)), night.is_dark(Some(now)), "changed unannounced");
            now = next;
            seen.push((now, night.look(Some(now)).unwrap(), night.is_dark(Some(now))));
        }
        let expected = [
            (START, "evening", false),
            (START + 50, "evening", true),
            (START + 100, "late", true),
            (START + 150, "late", false),
            (START + REACH_S, "late", true),
        ];
        assert_eq!(seen, expected);
    }

    #[test]
    fn an_hour_of_which_nobody_knows_counts_as_dark() {
        assert!(night().is_dark(None), "no clock");
        assert!(night().is_dark(Some(START - 1)) && night().is_dark(Some(START + REACH_S)), "outside the two days");
        assert!(Following::new(Vec::new(), None, START * 1_000).is_dark(Some(START)), "nothing said");
        assert!(!Following::new(Vec::new(), Some(Vec::new()), START * 1_000).is_dark(Some(START)), "polar day");
        assert!(Following::default().is_dark(Some(START)));
    }

    #[test]
    fn what_a_controller_has_no_room_for_is_cut_off() {
        let many = Following::new(
            (0..200).map(|at| (at, "evening".to_owned())).collect(),
            Some((0..200).map(|at| (2 * at, 2 * at + 1)).collect()),
            0,
        );
        assert_eq!((many.agenda().len(), many.dark().len()), (AGENDA_CHANGES, DARK_SPANS));
    }

    #[test]
    fn hostile_numbers_do_no_harm() {
        let odd = Following::new(vec![(u64::MAX, "a".to_owned())], Some(vec![(9, 3), (u64::MAX, u64::MAX)]), u64::MAX);
        for now in [0, 5, u64::MAX] {
            let _ = (odd.look(Some(now)), odd.is_dark(Some(now)), odd.next_change(now));
        }
        assert_eq!(odd.next_change(u64::MAX), None);
    }
}
