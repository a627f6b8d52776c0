//! One caller's edit against one fdatasync on the same file system.

use std::time::{Duration, Instant};

use super::editor;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::http::Http;
use crate::load::Requests as _;
use crate::machine::{Fsync, nanoseconds};
use crate::rounds::{Pairs, percentile_ms};
use crate::yard::Yard;

/// What one side has left to do must not be measured with the other.
const PAUSE: Duration = Duration::from_millis(2);

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let mut fsync = Fsync::open(yard.folder())?;
    let mut figures = Vec::new();
    for size in [plan.growth[0], plan.street] {
        let daemon = yard.daemon(size).await?;
        let mut http = Http::open(daemon.http).await?;
        let mut edits = editor(&daemon);
        let mut pairs = Pairs::default();
        for _ in 0..plan.rounds {
            let (mut taken, mut synced) = (Vec::new(), Vec::new());
            for _ in 0..plan.singles {
                // each edit with an fdatasync of its own, at the same pace: a disk that is pressed slows down
                tokio::time::sleep(PAUSE).await;
                let began = Instant::now();
                http.ask(edits.next()).await?.good()?;
                taken.push(nanoseconds(began));
                tokio::time::sleep(PAUSE).await;
                synced.extend(fsync.time(1)?);
            }
            pairs.push(percentile_ms(&mut taken, 0.5), percentile_ms(&mut synced, 0.5));
        }
        let figure = Figure::paired("single", "one caller's edit, p50", "ms", &pairs)
            .size(format!("{} fixtures", crate::plan::thousands(size.fixtures.into())))
            .ceiling_is("one fdatasync of 4 KiB");
        figures.push(figure.goal(Goal::AtMost(2.5)));
        daemon.stop()?;
    }
    Ok(figures)
}
