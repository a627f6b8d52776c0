//! One document's history, walked along its chain of rows without an index, and the chains of one fixture merged.

use std::collections::VecDeque;

use kernel::{Fixture, Paper};
use sqlx::AssertSqlSafe;

use crate::batch::slot;
use crate::error::StoreError;
use crate::store::Store;
use crate::trail::{COLUMNS, Change, Direction, Filter, LOOKED_AT, Page};

/// Rows walked at a time.
const PORTION: usize = 128;

/// One chain, and where its reading stands.
struct Chain {
    slot: i64,
    /// Newest first: the next row to read. Oldest first: the head of the chain.
    row: Option<i64>,
    /// Oldest first: the last revision read.
    revision: i64,
    read: VecDeque<Change>,
    ended: bool,
}

impl Store {
    /// Walks back from a row, that row included, while revisions are above `above`.
    pub(crate) async fn walk_back(&self, row: i64, above: i64, most: usize) -> Result<Vec<Change>, StoreError> {
        let sql = format!(
            "WITH RECURSIVE back (id, revision, prev, step) AS (
                 SELECT id, revision, prev, 1 FROM history WHERE id = ?1 AND revision > ?2
                 UNION ALL
                 SELECT h.id, h.revision, h.prev, step + 1 FROM back JOIN history h ON h.id = back.prev
                 WHERE h.revision > ?2 AND step < ?3
             )
             SELECT {COLUMNS} FROM back JOIN history h ON h.id = back.id JOIN fixture f ON f.key = h.slot >> 3
             ORDER BY h.revision DESC"
        );
        sqlx::query(AssertSqlSafe(sql))
            .bind(row)
            .bind(above)
            .bind(i64::try_from(most).unwrap_or(i64::MAX))
            .fetch_all(self.readers())
            .await
            .map_err(StoreError::sql("walking back through history"))?
            .iter()
            .map(Change::read)
            .collect()
    }

    /// The next rows of a chain, oldest first: the way from one snapshot to the next is walked back and turned round.
    async fn walk_on(&self, chain: &mut Chain) -> Result<(), StoreError> {
        let snapshot: Option<(i64, i64)> = sqlx::query_as(
            "SELECT revision, history FROM snapshot WHERE slot = ? AND revision > ? ORDER BY revision LIMIT 1",
        )
        .bind(chain.slot)
        .bind(chain.revision)
        .fetch_optional(self.readers())
        .await
        .map_err(StoreError::sql("walking through history"))?;
        let row = snapshot.map(|(_, history)| history).or(chain.row);
        let Some(row) = row else {
            chain.ended = true;
            return Ok(());
        };
        // a snapshot comes every 64 revisions, so this walk is short unless snapshots were retired
        let mut changes = self.walk_back(row, chain.revision, LOOKED_AT).await?;
        changes.reverse();
        match (changes.last(), snapshot) {
            (Some(last), _) => chain.revision = i64::try_from(last.revision).unwrap_or(i64::MAX),
            (None, Some((revision, _))) => chain.revision = revision,
            (None, None) => {}
        }
        chain.ended = snapshot.is_none();
        chain.read.extend(changes);
        Ok(())
    }

    async fn refill(&self, chain: &mut Chain, direction: Direction) -> Result<(), StoreError> {
        while chain.read.is_empty() && !chain.ended {
            match direction {
                Direction::NewestFirst => {
                    let Some(row) = chain.row else {
                        chain.ended = true;
                        break;
                    };
                    let changes = self.walk_back(row, -1, PORTION).await?;
                    chain.row = changes.last().and_then(|change| change.prev);
                    chain.ended = changes.len() < PORTION || chain.row.is_none();
                    chain.read.extend(changes);
                }
                Direction::OldestFirst => self.walk_on(chain).await?,
            }
        }
        Ok(())
    }

    /// A page of one fixture's history: all its documents, or the one that the filter names.
    ///
    /// # Errors
    /// [`StoreError::Cursor`], [`StoreError::Row`] and what SQLite says.
    pub async fn fixture_history(
        &self,
        fixture: &Fixture,
        filter: &Filter,
        direction: Direction,
        cursor: Option<&str>,
        most: usize,
    ) -> Result<Page, StoreError> {
        let mut chains = self.chains(fixture, filter, direction, cursor).await?;
        let mut changes: Vec<Change> = Vec::new();
        for looked_at in 1.. {
            let mut first: Option<(usize, i64)> = None;
            for index in 0..chains.len() {
                let Some(chain) = chains.get_mut(index) else { continue };
                self.refill(chain, direction).await?;
                let Some(id) = chain.read.front().map(|change| change.id) else { continue };
                let sooner = first.is_none_or(|(_, best)| match direction {
                    Direction::NewestFirst => id > best,
                    Direction::OldestFirst => id < best,
                });
                if sooner {
                    first = Some((index, id));
                }
            }
            let Some(change) =
                first.and_then(|(index, _)| chains.get_mut(index)).and_then(|chain| chain.read.pop_front())
            else {
                break;
            };
            if filter.is_past(&change, direction) {
                break;
            }
            if filter.wants(&change) {
                changes.push(change);
            }
            if changes.len() == most || looked_at == LOOKED_AT {
                return Ok(Page { changes, next: Some(cursor_of(&chains, direction)) });
            }
        }
        Ok(Page { changes, next: None })
    }

    /// The chains to read, each where reading begins.
    async fn chains(
        &self,
        fixture: &Fixture,
        filter: &Filter,
        direction: Direction,
        cursor: Option<&str>,
    ) -> Result<Vec<Chain>, StoreError> {
        let papers: Vec<Paper> =
            Paper::ALL.into_iter().filter(|paper| filter.paper.is_none_or(|p| p == *paper)).collect();
        let slots: Vec<i64> = papers.iter().map(|paper| slot(fixture.key, *paper)).collect();
        let places = match cursor {
            None => None,
            Some(text) => Some(places_of(text, &slots, direction).ok_or(StoreError::Cursor)?),
        };
        let mut chains = Vec::with_capacity(papers.len());
        for (index, paper) in papers.into_iter().enumerate() {
            let slot = slot(fixture.key, paper);
            let head = fixture.held(paper).head;
            let place = places.as_ref().and_then(|places| places.get(index).copied());
            let mut chain = Chain { slot, row: head, revision: 0, read: VecDeque::new(), ended: false };
            match (direction, place) {
                (Direction::NewestFirst, Some(0)) => chain.row = None,
                (Direction::NewestFirst, Some(row)) => {
                    // a cursor may only lead along this document's own chain
                    let belongs: Option<(i64,)> = sqlx::query_as("SELECT slot FROM history WHERE id = ?")
                        .bind(row)
                        .fetch_optional(self.readers())
                        .await
                        .map_err(StoreError::sql("reading history"))?;
                    if belongs.is_some_and(|(of,)| of != slot) {
                        return Err(StoreError::Cursor);
                    }
                    chain.row = Some(row);
                }
                (Direction::OldestFirst, Some(revision)) => chain.revision = revision,
                (Direction::NewestFirst, None) => chain.row = self.row_before(slot, filter).await?.or(head),
                (Direction::OldestFirst, None) => chain.revision = self.revision_since(slot, filter).await?,
            }
            chains.push(chain);
        }
        Ok(chains)
    }

    /// The row of the first snapshot that is surely after what is wanted, so that a walk need not begin at the head.
    async fn row_before(&self, slot: i64, filter: &Filter) -> Result<Option<i64>, StoreError> {
        let day = jiff::SignedDuration::from_hours(24);
        let Some(edge) = filter.until.and_then(|until| until.checked_add(day).ok()) else { return Ok(None) };
        let row: Option<(i64,)> =
            sqlx::query_as("SELECT history FROM snapshot WHERE slot = ? AND at > ? ORDER BY at LIMIT 1")
                .bind(slot)
                .bind(edge.as_millisecond())
                .fetch_optional(self.readers())
                .await
                .map_err(StoreError::sql("reading history"))?;
        Ok(row.map(|(row,)| row))
    }

    /// The revision of the last snapshot that is surely before what is wanted.
    async fn revision_since(&self, slot: i64, filter: &Filter) -> Result<i64, StoreError> {
        let day = jiff::SignedDuration::from_hours(24);
        let Some(edge) = filter.since.and_then(|since| since.checked_sub(day).ok()) else { return Ok(0) };
        let row: Option<(i64,)> =
            sqlx::query_as("SELECT revision FROM snapshot WHERE slot = ? AND at < ? ORDER BY at DESC LIMIT 1")
                .bind(slot)
                .bind(edge.as_millisecond())
                .fetch_optional(self.readers())
                .await
                .map_err(StoreError::sql("reading history"))?;
        Ok(row.map_or(0, |(revision,)| revision))
    }
}

/// Where each chain stands: its next row (0: none) or its last revision taken. A cursor says of which document each
/// place is, so that it leads nowhere else.
fn cursor_of(chains: &[Chain], direction: Direction) -> String {
    let places: Vec<String> = chains
        .iter()
        .map(|chain| {
            let first = chain.read.front();
            let place = match direction {
                Direction::NewestFirst => first.map(|change| change.id).or(chain.row).unwrap_or(0),
                Direction::OldestFirst => {
                    first.map_or(chain.revision, |change| i64::try_from(change.revision).unwrap_or(i64::MAX) - 1)
                }
            };
            format!("{}-{place}", chain.slot)
        })
        .collect();
    format!("{}{}", letter(direction), places.join("."))
}

/// The letter by which a cursor says its direction.
fn letter(direction: Direction) -> char {
    match direction {
        Direction::NewestFirst => 'n',
        Direction::OldestFirst => 'o',
    }
}

/// The places of a cursor, if it is one of these documents read in this direction.
fn places_of(cursor: &str, slots: &[i64], direction: Direction) -> Option<Vec<i64>> {
    let parts: Vec<&str> = cursor.strip_prefix(letter(direction))?.split('.').collect();
    if parts.len() != slots.len() {
        return None;
    }
    let place = |(part, slot): (&&str, &i64)| {
        let (of, place) = part.split_once('-')?;
        if number(of)? == *slot { number(place) } else { None }
    };
    parts.iter().zip(slots).map(place).collect()
}

/// A number in plain digits.
pub(crate) fn number(text: &str) -> Option<i64> {
    if text.bytes().all(|byte| byte.is_ascii_digit()) { text.parse().ok() } else { None }
}
