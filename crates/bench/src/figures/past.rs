//! The state at a random time of the past, over HTTP, against one indexed read of 64 such rows by plain SQLite.

use std::path::Path;
use std::time::Instant;

use rusqlite::Connection;

use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::history::{name, row};
use crate::http::{Http, request};
use crate::machine::nanoseconds;
use crate::plain;
use crate::plan::HouseSize;
use crate::rounds::{Pairs, percentile_ms};
use crate::yard::Yard;

const WHAT: &str = "past";
/// Rows of one read: as many as lie between two snapshots.
const ROWS: u32 = 64;

/// Numbers that are the same in every run (a linear congruential generator with Knuth's MMIX constants).
struct Numbers(u64);

impl Numbers {
    /// A number below `bound`.
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % bound.max(1)
    }
}

/// A house, its daemon, and its database for plain SQLite.
struct Side {
    size: HouseSize,
    daemon: Daemon,
    plain: Connection,
    numbers: Numbers,
}

impl Side {
    async fn open(yard: &mut Yard, size: HouseSize) -> Result<Self, BenchError> {
        let house = yard.house(size)?;
        let daemon = yard.daemon(size).await?;
        let plain = plain::open(Path::new(&house.join(store::DATABASE)))?;
        Ok(Self { size, daemon, plain, numbers: Numbers(1) })
    }

    /// Asks for the state at random times: nanoseconds of each.
    async fn states(&mut self, times: usize, first: i64, span: u64) -> Result<Vec<u64>, BenchError> {
        let mut http = Http::open(self.daemon.http).await?;
        let mut taken = Vec::with_capacity(times);
        for _ in 0..times {
            let number = 1 + self.numbers.below(self.size.fixtures.into()) as usize;
            let when = first + i64::try_from(self.numbers.below(span)).unwrap_or(0);
            let at = jiff::Timestamp::from_millisecond(when)
                .map_err(|error| BenchError::unexpected("reckoning a time", error.to_string()))?;
            let path = format!("/v1/fixtures/{}/desired?at={at}", name(number));
            let request = request(self.daemon.http, "GET", &path, None);
            let began = Instant::now();
            http.ask(&request).await?.good()?;
            taken.push(nanoseconds(began));
        }
        Ok(taken)
    }

    /// Reads the rows between two snapshots of random fixtures: nanoseconds of each read.
    fn rows(&mut self, times: usize) -> Result<Vec<u64>, BenchError> {
        let places = vec!["?"; ROWS as usize].join(",");
        let mut read = self.plain.prepare(&format!(
            "SELECT id, slot, revision, at, by, via, cause, patch, inverse, prev FROM history WHERE id IN ({places})"
        ))?;
        let mut taken = Vec::with_capacity(times);
        for _ in 0..times {
            let number = 1 + self.numbers.below(self.size.fixtures.into()) as usize;
            let from = 1 + self.numbers.below(u64::from(self.size.revisions - ROWS)) as u32;
            let ids = (from..from + ROWS).map(|revision| row(self.size.fixtures, number, revision));
            let began = Instant::now();
            let mut rows = read.query(rusqlite::params_from_iter(ids))?;
            let (mut found, mut bytes) = (0, 0);
            while let Some(row) = rows.next()? {
                found += 1;
                bytes += row.get_ref(7)?.as_str().unwrap_or_default().len();
                bytes += row.get_ref(8)?.as_str().unwrap_or_default().len();
            }
            taken.push(nanoseconds(began));
            if found != ROWS || bytes == 0 {
                return Err(BenchError::unexpected("reading 64 rows", format!("{found} rows, {bytes} bytes")));
            }
        }
        Ok(taken)
    }
}

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let (first, span) = yard.history_span();
    let mut sides = Vec::new();
    for size in plan.growth {
        sides.push(Side::open(yard, size).await?);
    }
    let mut slow = [Pairs::default(), Pairs::default(), Pairs::default()];
    let mut grown = [Pairs::default(), Pairs::default(), Pairs::default()];
    for round in 0..=plan.rounds {
        let mut smallest = None;
        for ((side, slow), grown) in sides.iter_mut().zip(&mut slow).zip(&mut grown) {
            let mut states = side.states(plan.past_reads, first, span).await?;
            let mut rows = side.rows(plan.past_reads)?;
            let middle = percentile_ms(&mut states, 0.5);
            let smallest = *smallest.get_or_insert(middle);
            if round > 0 {
                // the first is only there to warm up
                slow.push(percentile_ms(&mut states, 0.99), percentile_ms(&mut rows, 0.99));
                grown.push(middle, smallest);
            }
        }
    }
    let mut figures = Vec::new();
    let largest = plan.growth[2];
    for (size, slow) in plan.growth.into_iter().zip(&slow) {
        let figure = Figure::paired(WHAT, "state at a random past time, p99", "ms", slow)
            .size(size.words())
            .ceiling_is("one indexed read of 64 rows by plain SQLite, p99");
        figures.push(if size == largest { figure.goal(Goal::AtMost(3.0)) } else { figure });
    }
    for (size, grown) in plan.growth.into_iter().zip(&grown).skip(1) {
        let figure = Figure::paired(WHAT, "the same in a larger house, p50", "ms", grown)
            .size(size.words())
            .ceiling_is("the smallest house and history, p50");
        figures.push(if size == largest { figure.goal(Goal::AtMost(1.1)) } else { figure });
    }
    for side in sides {
        side.daemon.stop()?;
    }
    Ok(figures)
}
