//! Fixtures as they are read at start: dozens at a time, each table's rows packed into one text by SQLite itself.
//! Every value that comes through sqlx costs allocations and every row a crossing between threads, which for a large
//! house would be most of a start. Reading the text is plain work without waiting, and is done on other threads.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use document::{Revision, Value};
use kernel::{Fixture, FixtureId, FixtureKey, Held, Life, Paper, Record, SecretHash};
use serde::de::IgnoredAny;
use sqlx::{Row as _, SqliteConnection};

use crate::batch::slot;
use crate::error::StoreError;
use crate::load::{bad, time};
use crate::tail::Steps;
use crate::text::Text;
use crate::unsettled::Parts;

/// Keys of fixtures read at a time: about as many fixtures, unless many are gone. Their text stays well below the size
/// from which on the allocator asks the system for each piece of memory anew.
pub(crate) const KEYS: i64 = 64;

/// The rows of so many keys, as [`Text`] reads them.
const PACKED: &str = "SELECT
    (SELECT group_concat(key || ' ' || octet_length(id) || ' ' || id || created || ' ' || iif(secret IS NULL, '-', hex(secret)) || ' '
        || ifnull(enrolled, '-') || ' ', '')
     FROM fixture WHERE key >= ?1 AND key < ?2 AND deleted IS NULL),
    (SELECT group_concat(slot || ' ' || revision || ' ' || drift || ' ' || at || ' ' || ifnull(head, '-') || ' '
        || octet_length(body) || ' ' || body, '')
     FROM document WHERE slot >= ?1 << 3 AND slot < ?2 << 3),
    (SELECT group_concat(fixture || ' ' || applied || ' ' || ifnull(applied_at, '-') || ' ' || ifnull(heard, '-') || ' '
        || ifnull(alive, '-') || ' ' || ifnull(alive_at, '-') || ' ' || boots_heard || ' ' || fresh || ' ' || doubted
        || ' ' || ifnull(wish_n, '-') || ' ' || ifnull(event_n, '-') || ' ' || count || ' '
        || ifnull(octet_length(boot), '-') || ' ' || ifnull(boot, ''), '')
     FROM life WHERE fixture >= ?1 AND fixture < ?2)";

/// The rows of a range of keys, packed.
#[derive(Debug)]
pub(crate) struct Packed {
    fixtures: Vec<u8>,
    documents: Vec<u8>,
    lives: Vec<u8>,
}

/// What was read of it.
#[derive(Debug, Default)]
pub(crate) struct Unpacked {
    pub(crate) fixtures: Vec<(FixtureId, Arc<Fixture>)>,
    /// The last row of history that a document names.
    pub(crate) last_head: i64,
    /// What the end of history has changed.
    pub(crate) replayed: Vec<(FixtureKey, Parts)>,
}

impl Packed {
    /// Reads the rows of [`KEYS`] keys.
    pub(crate) async fn read(connection: &mut SqliteConnection, from: i64) -> Result<Self, StoreError> {
        let reading = || StoreError::sql("reading the house");
        let row = sqlx::query(PACKED)
            .bind(from)
            .bind(from.saturating_add(KEYS))
            .fetch_one(connection)
            .await
            .map_err(reading())?;
        let text = |index: usize| -> Result<Vec<u8>, StoreError> {
            Ok(row.try_get_unchecked::<Option<Vec<u8>>, _>(index).map_err(reading())?.unwrap_or_default())
        };
        Ok(Self { fixtures: text(0)?, documents: text(1)?, lives: text(2)? })
    }

    /// Makes fixtures of them, with what the end of history adds.
    pub(crate) fn unpack(self, mut steps: Steps) -> Result<Unpacked, StoreError> {
        let mut unpacked = Unpacked::default();
        let mut documents = self.documents(&mut unpacked.last_head)?;
        let mut lives = self.lives()?;
        let mut text = Text::of("fixture", &self.fixtures);
        while text.begin_row()? {
            let key = FixtureKey(text.key);
            let id = text.text("id")?;
            let id: FixtureId = id.parse().map_err(|error: kernel::NameError| text.bad("id", error))?;
            let created = text.at("created")?;
            let secret = text.word("secret")?;
            let secret = match secret {
                "-" => None,
                hex => Some(SecretHash(blake3::Hash::from_hex(hex).map_err(|error| text.bad("secret", error))?)),
            };
            let enrolled_at =
                text.optional("enrolled")?.map(|at| time("fixture", "enrolled", key.0, at)).transpose()?;
            let mut paper = |paper| -> Result<Option<Held>, StoreError> {
                let slot = slot(key, paper);
                let held = documents.remove(&slot);
                let now = match &held {
                    Some(held) => steps.replay(slot, held)?,
                    None => steps.replay(slot, &Held::empty(created))?,
                };
                if now.is_some() {
                    unpacked.replayed.push((key, Parts::paper(paper)));
                }
                Ok(now.or(held))
            };
            let record_held = paper(Paper::Fixture)?.ok_or_else(|| {
                bad("document", "slot", slot(key, Paper::Fixture), "the record of a fixture is missing")
            })?;
            let mut paper = |name| Ok(Arc::new(paper(name)?.unwrap_or_else(|| Held::empty(created))));
            let (desired, reported) = (paper(Paper::Desired)?, paper(Paper::Reported)?);
            let record = read_record(key, &id, &record_held)?;
            let fixture = Fixture {
                key,
                id: id.clone(),
                created,
                record: Arc::new(record),
                record_held: Arc::new(record_held),
                desired,
                reported,
                secret,
                enrolled_at,
                life: lives.remove(&key.0).unwrap_or_else(Life::unheard),
                outlook: Arc::new(OnceLock::new()),
            };
            unpacked.fixtures.push((id, Arc::new(fixture)));
        }
        Ok(unpacked)
    }

    fn documents(&self, last_head: &mut i64) -> Result<HashMap<i64, Held>, StoreError> {
        let mut documents = HashMap::new();
        let mut text = Text::of("document", &self.documents);
        while text.begin_row()? {
            let slot = text.key;
            let revision = Revision::new(text.count("revision")?);
            let drift = text.count("drift")?;
            let at = text.at("at")?;
            let head = text.optional("head")?;
            let body = text.text("body")?;
            // the record is read into types below, by which it is checked as well
            if slot & 7 != Paper::Fixture as i64 {
                serde_json::from_str::<IgnoredAny>(body).map_err(|error| text.bad("body", error))?;
            }
            if !body.starts_with('{') {
                return Err(text.bad("body", "it is not an object"));
            }
            *last_head = head.unwrap_or(0).max(*last_head);
            documents.insert(slot, Held { revision, drift, at, head, text: body.into(), step: None });
        }
        Ok(documents)
    }

    fn lives(&self) -> Result<HashMap<i64, Life>, StoreError> {
        let mut lives = HashMap::new();
        let mut text = Text::of("life", &self.lives);
        while text.begin_row()? {
            let key = text.key;
            let mut life = Life::unheard();
            life.applied = Revision::new(text.count("applied")?);
            life.applied_at = text.optional_at("applied_at")?;
            life.heard = text.optional_at("heard")?;
            life.alive = text.optional("alive")?.map(|alive| alive != 0);
            life.alive_at = text.optional_at("alive_at")?;
            life.boots_heard = text.count("boots_heard")?;
            life.fresh = text.number("fresh")? != 0;
            life.doubted = text.number("doubted")? != 0;
            life.wish_n = text.optional_count("wish_n")?;
            life.event_n = text.optional_count("event_n")?;
            life.count = text.count("count")?;
            if let Some(boot) = text.optional_text("boot")? {
                life.boot = Some(serde_json::from_str(boot).map_err(|error| text.bad("boot", error))?);
            }
            lives.insert(key, life);
        }
        Ok(lives)
    }
}

fn read_record(key: FixtureKey, id: &FixtureId, held: &Held) -> Result<Record, StoreError> {
    let bad_body = |detail: String| bad("document", "body", slot(key, Paper::Fixture), detail);
    let value: Value = serde_json::from_str(&held.text).map_err(|error| bad_body(error.to_string()))?;
    Record::read(id, &value).map_err(|findings| {
        bad_body(findings.first().map_or_else(String::new, |finding| format!("{}: {}", finding.pointer, finding.text)))
    })
}
