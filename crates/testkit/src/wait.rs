//! Waiting for a condition.

use std::time::{Duration, Instant};

/// After so long a test gives up: long enough for a slow machine under load, short enough to end.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// Asks again and again until there is an answer.
///
/// # Panics
/// When there is none within [`PATIENCE`].
pub fn eventually<T>(what: &str, mut ask: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    let mut pause = Duration::from_millis(2);
    loop {
        if let Some(answer) = ask() {
            return answer;
        }
        assert!(start.elapsed() < PATIENCE, "waited {PATIENCE:?} in vain for {what}");
        std::thread::sleep(pause);
        pause = (pause * 2).min(Duration::from_millis(100));
    }
}
