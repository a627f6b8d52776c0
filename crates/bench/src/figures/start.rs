//! Start with a large house, against a plain SELECT of its documents.

use std::path::Path;
use std::time::Instant;

use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::plain;
use crate::rounds::alternate;
use crate::yard::Yard;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let mut figures = Vec::new();
    for size in plan.growth {
        let house = yard.house(size)?;
        let database = house.join(store::DATABASE);
        let sconced = yard.sconced.clone();
        select(&database)?; // once before it counts: the file comes into memory
        let pairs = alternate(
            plan.starts,
            async || {
                let daemon = Daemon::start(&sconced, &house)?;
                let taken = daemon.started_in().as_secs_f64() * 1e3;
                daemon.stop()?;
                Ok(taken)
            },
            async || select(&database),
        )
        .await?;
        let figure = Figure::paired("start", "start until ready", "ms", &pairs)
            .size(size.words())
            .ceiling_is("a plain SELECT of the documents");
        figures.push(if size == plan.growth[2] { figure.goal(Goal::AtMost(3.0)) } else { figure });
    }
    Ok(figures)
}

/// Reads every document: milliseconds.
fn select(database: &Path) -> Result<f64, BenchError> {
    let plain = plain::open(database)?;
    let began = Instant::now();
    let mut read = plain.prepare("SELECT slot, revision, drift, at, head, body FROM document")?;
    let mut rows = read.query([])?;
    let (mut sum, mut bytes) = (0_i64, 0);
    while let Some(row) = rows.next()? {
        for column in 0..5 {
            sum = sum.wrapping_add(row.get::<_, Option<i64>>(column)?.unwrap_or(0));
        }
        bytes += row.get::<_, String>(5)?.len();
    }
    let taken = began.elapsed().as_secs_f64() * 1e3;
    if sum == 0 || bytes == 0 {
        return Err(BenchError::unexpected("reading the documents", "there are none"));
    }
    Ok(taken)
}
