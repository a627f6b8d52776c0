//! One caller's edit against one fdatasync on the same file system.

use super::editor;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::http::Http;
use crate::load::Requests as _;
use crate::machine::{Fsync, nanoseconds};
use crate::rounds::{alternate, percentile_ms};
use crate::yard::Yard;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let mut fsync = Fsync::open(yard.folder())?;
    let mut figures = Vec::new();
    for size in [plan.growth[0], plan.street] {
        let daemon = yard.daemon(size).await?;
        let mut http = Http::open(daemon.http).await?;
        let mut edits = editor(&daemon);
        let pairs = alternate(
            plan.rounds,
            async || {
                let mut taken = Vec::with_capacity(plan.singles);
                for _ in 0..plan.singles {
                    let began = std::time::Instant::now();
                    http.ask(edits.next()).await?.good()?;
                    taken.push(nanoseconds(began));
                }
                Ok(percentile_ms(&mut taken, 0.5))
            },
            async || Ok(percentile_ms(&mut fsync.time(plan.singles)?, 0.5)),
        )
        .await?;
        let figure = Figure::paired("single", "one caller's edit, p50", "ms", &pairs)
            .size(format!("{} fixtures", crate::plan::thousands(size.fixtures.into())))
            .ceiling_is("one fdatasync of 4 KiB");
        figures.push(figure.goal(Goal::AtMost(2.5)));
        daemon.stop()?;
    }
    Ok(figures)
}
