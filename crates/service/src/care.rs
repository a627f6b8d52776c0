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
    match service.list_backups() {
        Ok(list) => list.first().is_none_or(|newest| now.duration_since(newest.at) >= every),
        Err(_) => true,
    }
}
