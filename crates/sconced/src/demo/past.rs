//! The invented past of Heron House, written through the same front door as everything else.

use jiff::{SignedDuration, Timestamp};
use kernel::Precondition;
use serde_json::json;
use service::{Actor, Command, Edit, FixtureId, Paper, Service, Way};
use simulator::heron_house::{heron_house, invented_edits};

use crate::error::Failure;

/// How many days of past there are.
const DAYS: u32 = 28;
/// The fixtures were made so long before now: a little before the first edit.
const MADE: SignedDuration = SignedDuration::from_hours(24 * (DAYS as i64 + 1));

/// Makes the fixtures and their past, if the house is empty.
pub(super) async fn furnish(service: &Service) -> Result<(), Failure> {
    if service.house().count() > 0 {
        return Ok(());
    }
    let now = service.now();
    let made = now - MADE;
    for fixture in heron_house() {
        let id = id(&fixture.id)?;
        let record = json!({
            "title": fixture.title,
            "groups": fixture.groups,
            "switched": fixture.switched,
            "notes": "Invented, as is everything in this house.",
        });
        let inventor = || Actor::new("demo (invented)", Way::Demo);
        service.execute_at(Command::Create { id: id.clone(), record }, inventor(), made).await?;
        service.execute_at(edit(id, fixture.desired), inventor(), made).await?;
    }
    for invented in invented_edits(DAYS) {
        let by = Actor::new(&format!("{} (invented)", invented.by), Way::Demo);
        service.execute_at(edit(id(&invented.fixture)?, invented.patch), by, before(now, invented.days_ago_ms)).await?;
    }
    Ok(())
}

fn id(text: &str) -> Result<FixtureId, Failure> {
    text.parse().map_err(|error: kernel::NameError| Failure::System(error.to_string()))
}

fn edit(id: FixtureId, patch: serde_json::Value) -> Command {
    Command::Edit { id, paper: Paper::Desired, edit: Edit::Merge(patch), precondition: Precondition::None }
}

fn before(now: Timestamp, milliseconds: u64) -> Timestamp {
    let span = SignedDuration::from_millis(i64::try_from(milliseconds).unwrap_or(i64::MAX));
    now.checked_sub(span).unwrap_or(Timestamp::UNIX_EPOCH)
}

#[cfg(test)]
mod tests {
    use service::{BackupOptions, Clock, Direction, Filter, ServiceOptions};

    use super::*;

    async fn house(folder: &std::path::Path, now: Timestamp) -> std::sync::Arc<Service> {
        let backups = BackupOptions { folder: folder.join("backups"), keep: 1 };
        let options = ServiceOptions {
            folder: folder.into(),
            site: Some(service::Place::new(52.4, 5.1, "Europe/Amsterdam").unwrap()),
            clock: Clock::manual(now),
            backups,
            broker_files: None,
            reserved: Vec::new(),
        };
        Service::open(options).await.unwrap()
    }

    #[tokio::test]
    async fn an_empty_house_gets_weeks_of_past_and_a_lived_in_one_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let now: Timestamp = "2026-11-25T12:00:00Z".parse().unwrap();
        let service = house(folder.path(), now).await;
        furnish(&service).await.unwrap();
        assert_eq!(service.house().count(), 5);
        let page = service.store().history(&Filter::default(), Direction::OldestFirst, None, 1000).await.unwrap();
        assert!(page.changes.len() > 40, "{}", page.changes.len());
        assert!(page.changes.windows(2).all(|pair| pair[0].at <= pair[1].at && pair[1].at < now));
        assert!(page.changes.iter().all(|change| change.by.ends_with(" (invented)") && change.via == "demo"));
        assert!(now.duration_since(page.changes[0].at) > SignedDuration::from_hours(24 * 21));
        furnish(&service).await.unwrap();
        let again = service.store().history(&Filter::default(), Direction::OldestFirst, None, 1000).await.unwrap();
        assert_eq!(again.changes.len(), page.changes.len());
        service.stop().await;
    }
}
