//! Stepping the agenda: which of the coming changes holds now, and when the next one is due.
//!
//! An agenda is a list of (Unix seconds, look index) pairs. It arrives in order, yet nothing here relies on that: a
//! message is outside data.

/// The most changes that one agenda carries; a controller with a fixed table needs no more room.
pub const AGENDA_CHANGES: usize = 32;

/// The look that holds at Unix second `now_s`: that of the latest change not after it, and the last named of several
/// at the same second. Nothing when the agenda is empty or begins later.
#[must_use]
pub fn step<Look: Copy>(agenda: &[(u64, Look)], now_s: u64) -> Option<Look> {
    let mut holding: Option<(u64, Look)> = None;
    for &(at, look) in agenda {
        if at <= now_s && holding.is_none_or(|(since, _)| since <= at) {
            holding = Some((at, look));
        }
    }
    holding.map(|(_, look)| look)
}

/// The best guess of a controller that does not know the time: the earliest change, which held when the agenda was
/// written, and the last named of several at that second.
#[must_use]
pub fn step_without_clock<Look: Copy>(agenda: &[(u64, Look)]) -> Option<Look> {
    let earliest = agenda.iter().map(|&(at, _)| at).min()?;
    step(agenda, earliest)
}

/// The Unix second of the next change after `now_s`; nothing when no further change is known.
#[must_use]
pub fn next_change<Look>(agenda: &[(u64, Look)], now_s: u64) -> Option<u64> {
    agenda.iter().map(|(at, _)| *at).filter(|at| *at > now_s).min()
}
