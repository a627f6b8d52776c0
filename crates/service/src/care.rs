//! What is done for the database from time to time: backups by schedule, retiring old history.

use std::sync::Arc;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use store::Retention;
use tokio_util::sync::CancellationToken;

use crate::service::Service;

/// What is done how often.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Care {
    /// A backup is made when the newest is this old; `None` for none by schedule.
    pub backup_every: Option<SignedDuration>,
    /// How much history is kept.
    pub retention: Retention,
}

/// How often it is looked whether something is to be done.
const LOOK: Duration = Duration::from_secs(600);

/// Runs until it is told to stop. The first look is a minute after the start, so that a restart loop makes no backups.
pub async fn run_care(service: Arc<Service>, care: Care, stop: CancellationToken) {
    let mut pause = Duration::from_secs(60);
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(pause) => {}
        }
        pause = LOOK;
        let now = service.now();
        match service.store.retire(care.retention, now).await {
            Ok(0) => {}
            Ok(rows) => tracing::info!(rows, "old history was retired"),
            Err(error) => tracing::warn!(%error, "old history could not be retired"),
        }
        if backup_is_due(&service, care.backup_every, now) {
            match service.back_up().await {
                Ok(backup) => {
                    tracing::info!(backup = backup.name, bytes = backup.bytes, "a backup was made and checked")
                }
                Err(error) => tracing::error!(%error, "the scheduled backup failed"),
            }
        }
    }
}

fn backup_is_due(service: &Service, every: Option<SignedDuration>, now: Timestamp) -> bool {
    let Some(every) = every else { return false };
    service.list_backups().map_or(true, |list| is_due(list.iter().map(|backup| backup.at), every, now))
}

/// Whether the newest of these, the first, is so old. Those dated in the future were made by a clock that was wrong:
/// were they believed, no backup would be made until that time comes.
fn is_due(newest_first: impl IntoIterator<Item = Timestamp>, every: SignedDuration, now: Timestamp) -> bool {
    newest_first.into_iter().find(|at| *at <= now).is_none_or(|newest| now.duration_since(newest) >= every)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_backup_that_is_dated_in_the_future_keeps_none_from_being_made() {
        let hour = |n: i64| Timestamp::from_second(n * 3600).unwrap();
        let day = SignedDuration::from_hours(24);
        assert!(is_due([], day, hour(100)), "there is none");
        assert!(!is_due([hour(99), hour(50)], day, hour(100)));
        assert!(!is_due([hour(77)], day, hour(100)));
        assert!(is_due([hour(76), hour(75)], day, hour(100)), "the very day");
        assert!(is_due([hour(9999)], day, hour(100)));
        assert!(is_due([hour(9999), hour(70)], day, hour(100)));
        assert!(!is_due([hour(9999), hour(99)], day, hour(100)), "one was made since the clock is right again");
    }
}
