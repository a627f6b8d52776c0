//! Houses with long histories, made fast: a database made by the daemon's own migrations, filled by plain SQL with rows
//! of the very form that the daemon writes, so that it starts on them and history replays to the documents.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, named_params};
use serde_json::{Value, json};
use service::{Actor, Asked, Clock, Command, Edit, FixtureId, Message, Paper, Service, ServiceOptions, Way};
use store::BackupOptions;

use crate::error::BenchError;
use crate::plan::HouseSize;

/// The secret of every fixture of a made house. They are reached on loopback by the bench alone.
pub(crate) const SECRET: &str = "measured-on-loopback-by-the-bench-alone-0001";
/// The span over which history is spread, in milliseconds: two years.
pub(crate) const SPAN: i64 = 730 * 24 * 3600 * 1000;
/// The intensity by which the changing member of the template is found.
const MARK: &str = "\"intensity\":71";

/// What a fixture of a made house is made of.
#[derive(Debug)]
pub(crate) struct Template {
    database: PathBuf,
    record: String,
    record_inverse: String,
    /// The desired document before and after its changing number.
    before: String,
    after: String,
    desired_inverse: String,
    secret: Vec<u8>,
    now: i64,
}

/// The name of a fixture of a made house; the first is 1.
pub(crate) fn name(number: usize) -> String {
    format!("f-{number}")
}

/// The changing number at a revision.
fn intensity(revision: i64) -> i64 {
    1 + revision % 97
}

/// A desired document of a usual size: three looks, five entries of the timetable.
fn document() -> Value {
    json!({
        "lit": true, "default": "evening", "fade": 2.0, "floor": 8,
        "looks": {
            "evening": {"colours": ["#3fb6a8", "wheat"], "intensity": 71},
            "late": {"kelvin": 2400, "intensity": 22, "span": [0.0, 0.2]},
            "greet": {
                "colours": ["wheat", "gold"], "intensity": 60,
                "motif": {"name": "unroll", "seconds": 1.5, "toward": "start"}
            }
        },
        "timetable": [
            {"start": "sunset", "shift": "-PT30M", "look": "evening"},
            {"start": "22:45", "days": ["mon", "tue", "wed", "thu", "sun"], "look": "late"},
            {"start": "23:45", "days": ["fri", "sat"], "look": "late"},
            {"start": "dawn", "look": "dark"},
            {"start": "sunset", "look": "greet", "dates": ["12-01", "01-06"], "not_before": "16:30"}
        ]
    })
}

/// Makes one fixture through the service itself, and learns from its rows how a house is written.
pub(crate) async fn template(folder: &Path) -> Result<Template, BenchError> {
    let clock = Clock::System;
    let now = clock.now().as_millisecond();
    let backups = BackupOptions { folder: folder.join("backups"), keep: 1 };
    let options = ServiceOptions {
        folder: folder.to_owned(),
        site: None,
        clock,
        backups,
        broker_files: None,
        reserved: Vec::new(),
    };
    let service = Service::open(options).await?;
    let id: FixtureId = name(1).parse().map_err(|_| BenchError::unexpected("naming a fixture", name(1)))?;
    let record = json!({
        "title": "Reed on the stairs", "kind": "strip", "groups": ["stairs"],
        "place": {"latitude": 52.37, "longitude": 4.9, "zone": "Europe/Amsterdam"}
    });
    let by = || Asked::by(Actor::new("bench", Way::Http));
    service.create(id.clone(), record, by()).await?;
    let made = service.edit(id.clone(), Paper::Desired, Edit::Replace(document()), by()).await?;
    // it reports that it took the document as given, so that the house knows a life
    let report = Command::Hear { id, message: Message::Report { rev: 1, patch: None } };
    service.execute(report, Actor::fixture(&name(1)), None).await?;
    let secret = kernel::SecretHash::of(service.store().key(), SECRET.as_bytes()).0.as_bytes().to_vec();
    service.stop().await;
    let fixture = made.fixture.ok_or_else(|| BenchError::unexpected("making a fixture", "it is gone"))?;
    let text = &fixture.desired.text;
    let (before, after) = text.split_once(MARK).ok_or_else(|| BenchError::unexpected("reading a document", &**text))?;
    let database = folder.join(store::DATABASE);
    let plain = Connection::open(&database)?;
    let inverse = |slot: i64| {
        plain.query_row("SELECT inverse FROM history WHERE slot = ?", [slot], |row| row.get::<_, String>(0))
    };
    let template = Template {
        record: fixture.record_held.text.to_string(),
        record_inverse: inverse(fixture.key.0 * 8)?,
        before: format!("{before}\"intensity\":"),
        after: after.to_owned(),
        desired_inverse: inverse(fixture.key.0 * 8 + 1)?,
        secret,
        now,
        database: database.clone(),
    };
    // one file without a log beside it, to be copied
    plain.pragma_update(None, "journal_mode", "DELETE")?;
    Ok(template)
}

impl Template {
    fn desired(&self, revision: i64) -> String {
        format!("{}{}{}", self.before, intensity(revision), self.after)
    }

    /// When history begins: two years before the run.
    pub(crate) fn first(&self) -> i64 {
        self.now - SPAN
    }
}

/// Makes a house of that size in an empty folder.
pub(crate) fn make(template: &Template, size: HouseSize, folder: &Path) -> Result<(), BenchError> {
    let path = folder.join(store::DATABASE);
    std::fs::copy(&template.database, &path).map_err(BenchError::io("copying a database"))?;
    let plain = Connection::open(&path)?;
    // it is thrown away when making it fails
    plain.execute_batch(
        "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF; PRAGMA cache_size = -262144;
         BEGIN;
         CREATE TEMP TABLE one AS SELECT * FROM life;
         DELETE FROM fixture; DELETE FROM document; DELETE FROM history; DELETE FROM snapshot; DELETE FROM life;
         DELETE FROM outbox; DELETE FROM request;
         CREATE TEMP TABLE number (n INTEGER PRIMARY KEY);",
    )?;
    fill(&plain, template, i64::from(size.fixtures), i64::from(size.revisions))?;
    plain.execute_batch("COMMIT")?;
    drop(plain);
    // what is still to be written to the disk would be measured with what comes next
    std::fs::File::open(&path).and_then(|file| file.sync_all()).map_err(BenchError::io("syncing a database"))
}

fn fill(plain: &Connection, template: &Template, fixtures: i64, revisions: i64) -> Result<(), BenchError> {
    plain.execute(
        "WITH RECURSIVE up (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM up WHERE n < max(:fixtures, :revisions))
         INSERT INTO temp.number SELECT n FROM up",
        named_params! {":fixtures": fixtures, ":revisions": revisions},
    )?;
    let first = template.first();
    let step = SPAN / revisions.max(1);
    let last = first + (revisions - 1).max(0) * step;
    let has_history = revisions > 0;
    let revision = revisions.max(1);
    plain.execute(
        "INSERT INTO fixture (key, id, created, deleted, secret, enrolled, broker_line)
         SELECT n, 'f-' || n, :first, NULL, :secret, :first, NULL FROM temp.number
         WHERE n <= :fixtures",
        named_params! {":first": first, ":secret": template.secret, ":fixtures": fixtures},
    )?;
    // rows 1 to N are of the records, the next N of what is reported, then the desired documents revision by revision
    plain.execute(
        "INSERT INTO document (slot, revision, drift, at, head, body)
         SELECT n.n * 8 + p.column1, CASE p.column1 WHEN 1 THEN :revision ELSE 1 END, 0,
             CASE p.column1 WHEN 1 THEN :last + (n.n * :step) / :fixtures ELSE :first END,
             CASE WHEN :has_history THEN n.n + CASE p.column1 WHEN 0 THEN 0 WHEN 2 THEN :fixtures
                 ELSE (:revision + 1) * :fixtures END END,
             CASE p.column1 WHEN 0 THEN :record ELSE :desired END
         FROM temp.number n CROSS JOIN (VALUES (0), (1), (2)) p WHERE n.n <= :fixtures",
        named_params! {
            ":revision": revision, ":first": first, ":last": last, ":step": step, ":fixtures": fixtures,
            ":has_history": has_history, ":record": template.record, ":desired": template.desired(revision),
        },
    )?;
    // a life is written as the template's, whatever columns it has
    let columns: Vec<String> = plain
        .prepare("SELECT name FROM pragma_table_info('life')")?
        .query_map([], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    let values: Vec<&str> = columns
        .iter()
        .map(|column| match column.as_str() {
            "fixture" => "n",
            "applied" => ":revision",
            "alive" => "1",
            "alive_at" => ":now",
            other => other,
        })
        .collect();
    plain.execute(
        &format!(
            "INSERT INTO life ({}) SELECT {} FROM temp.number CROSS JOIN temp.one WHERE n <= :fixtures",
            columns.join(", "),
            values.join(", ")
        ),
        named_params! {":revision": revision, ":now": template.now, ":fixtures": fixtures},
    )?;
    if !has_history {
        return Ok(());
    }
    for (paper, patch, inverse) in
        [(0, &template.record, &template.record_inverse), (2, &template.desired(revision), &template.desired_inverse)]
    {
        plain.execute(
            "INSERT INTO history (id, slot, revision, at, by, via, cause, patch, inverse, prev)
             SELECT n + CASE :paper WHEN 2 THEN :fixtures ELSE 0 END, n * 8 + :paper, 1, :first, 'bench', 'http', NULL,
                 :patch, :inverse, NULL FROM temp.number WHERE n <= :fixtures",
            named_params! {
                ":paper": paper, ":fixtures": fixtures, ":first": first, ":patch": patch, ":inverse": inverse,
            },
        )?;
    }
    plain.execute(
        "INSERT INTO history (id, slot, revision, at, by, via, cause, patch, inverse, prev)
         SELECT (r.n + 1) * :fixtures + n.n, n.n * 8 + 1, r.n, :first + (r.n - 1) * :step + (n.n * :step) / :fixtures,
             'bench', 'http', NULL,
             CASE r.n WHEN 1 THEN :desired ELSE '{\"looks\":{\"evening\":{\"intensity\":' || (1 + r.n % 97) || '}}}' END,
             CASE r.n WHEN 1 THEN :inverse
                 ELSE '{\"looks\":{\"evening\":{\"intensity\":' || (1 + (r.n - 1) % 97) || '}}}' END,
             CASE r.n WHEN 1 THEN NULL ELSE r.n * :fixtures + n.n END
         FROM temp.number r CROSS JOIN temp.number n WHERE r.n <= :revisions AND n.n <= :fixtures",
        named_params! {
            ":fixtures": fixtures, ":first": first, ":step": step, ":desired": template.desired(1),
            ":inverse": template.desired_inverse, ":revisions": revisions,
        },
    )?;
    plain.execute(
        "INSERT INTO snapshot (slot, revision, at, history, body)
         SELECT n.n * 8 + 1, r.n, :first + (r.n - 1) * :step + (n.n * :step) / :fixtures, (r.n + 1) * :fixtures + n.n,
             :before || (1 + r.n % 97) || :after
         FROM temp.number n CROSS JOIN temp.number r
         WHERE n.n <= :fixtures AND r.n <= :revisions AND r.n % 64 = 0",
        named_params! {
            ":fixtures": fixtures, ":first": first, ":step": step, ":before": template.before, ":after": template.after,
            ":revisions": revisions,
        },
    )?;
    Ok(())
}

/// The row of a desired document's revision in a house of so many fixtures.
pub(crate) fn row(fixtures: u32, fixture: usize, revision: u32) -> i64 {
    (i64::from(revision) + 1) * i64::from(fixtures) + i64::try_from(fixture).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn open(folder: &Path) -> std::sync::Arc<Service> {
        let backups = BackupOptions { folder: folder.join("backups"), keep: 1 };
        let options = ServiceOptions {
            folder: folder.to_owned(),
            site: None,
            clock: Clock::System,
            backups,
            broker_files: None,
            reserved: Vec::new(),
        };
        Service::open(options).await.unwrap()
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_made_house_replays_to_its_documents_and_takes_edits() {
        let folder = tempfile::tempdir().unwrap();
        let template = template(&folder.path().join("template")).await.unwrap();
        let house = folder.path().join("house");
        std::fs::create_dir(&house).unwrap();
        let size = HouseSize { fixtures: 3, revisions: 70 };
        make(&template, size, &house).unwrap();
        let service = open(&house).await;
        for number in 1..=3 {
            let fixture = service.house().get(&name(number)).unwrap();
            assert_eq!((fixture.desired.revision.get(), fixture.delta()), (70, json!({})));
            for revision in 1..=70_i64 {
                let past = service.at_revision(&fixture, Paper::Desired, revision.unsigned_abs()).await.unwrap();
                let mut expected = document();
                expected["looks"]["evening"]["intensity"] = json!(intensity(revision));
                assert_eq!(past.document, expected, "revision {revision}");
                let then = past.at.unwrap();
                let again = service.at_time(&fixture, Paper::Desired, then).await.unwrap();
                assert_eq!(again.revision, past.revision);
            }
            let empty = service.at_revision(&fixture, Paper::Desired, 0).await.unwrap();
            assert_eq!(empty.document, json!({}));
            let record = service.at_revision(&fixture, Paper::Fixture, 1).await.unwrap();
            assert_eq!(record.document["kind"], "strip");
            let edit = Edit::Merge(json!({"looks": {"evening": {"intensity": 99}}}));
            let asked = Asked::by(Actor::new("bench", Way::Http));
            let outcome = service.edit(fixture.id.clone(), Paper::Desired, edit, asked).await.unwrap();
            assert_eq!(outcome.answer.revision.get(), 71);
            let now = service.house().get(&name(number)).unwrap();
            let before = service.at_revision(&now, Paper::Desired, 70).await.unwrap();
            assert_eq!(before.document["looks"]["evening"]["intensity"], json!(intensity(70)));
        }
        service.stop().await;
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn the_row_of_a_revision_is_where_it_is_said_to_be() {
        let folder = tempfile::tempdir().unwrap();
        let template = template(&folder.path().join("template")).await.unwrap();
        make(&template, HouseSize { fixtures: 5, revisions: 9 }, folder.path()).unwrap();
        let plain = Connection::open(folder.path().join(store::DATABASE)).unwrap();
        for (fixture, revision) in [(1, 1), (5, 9), (3, 4)] {
            let found: (i64, i64) = plain
                .query_row("SELECT slot, revision FROM history WHERE id = ?", [row(5, fixture, revision)], |row| {
                    Ok((row.get(0)?, row.get(1)?))
                })
                .unwrap();
            assert_eq!(found, (i64::try_from(fixture).unwrap() * 8 + 1, i64::from(revision)));
        }
    }

    #[tokio::test(flavor = "multi_thread")]
    async fn a_house_without_history_opens_and_takes_edits() {
        let folder = tempfile::tempdir().unwrap();
        let template = template(&folder.path().join("template")).await.unwrap();
        make(&template, HouseSize { fixtures: 2, revisions: 0 }, folder.path()).unwrap();
        let service = open(folder.path()).await;
        let fixture = service.house().get(&name(2)).unwrap();
        let edit = Edit::Merge(json!({"lit": false}));
        let asked = Asked::by(Actor::new("bench", Way::Http));
        let outcome = service.edit(fixture.id.clone(), Paper::Desired, edit, asked).await.unwrap();
        assert_eq!(outcome.answer.revision.get(), 2);
        service.stop().await;
    }
}
