//! Edits a second with much history, against the same house with none.

use super::editors;
use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::load;
use crate::plan::{HouseSize, thousands};
use crate::rounds::alternate;
use crate::yard::Yard;

const CALLERS: usize = 64;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let [_, middle, large] = plan.growth;
    let mut figures = Vec::new();
    for (size, goal) in [(middle, None), (large, Some(Goal::AtLeast(0.85)))] {
        let none = if size == large { plan.bare_large } else { HouseSize { revisions: 0, ..size } };
        let long = yard.daemon(size).await?;
        let short = yard.daemon(none).await?;
        let rate = async |daemon: &Daemon| -> Result<f64, BenchError> {
            let callers = editors(daemon, CALLERS, size.fixtures);
            Ok(load::run(daemon.http, callers, plan.slice).await?.rate())
        };
        rate(&long).await?;
        rate(&short).await?;
        let pairs = alternate(plan.rounds, async || rate(&long).await, async || rate(&short).await).await?;
        let mut figure = Figure::paired("history", "edits with long history", "/s", &pairs)
            .size(format!("{} rows, {CALLERS} callers", thousands(size.rows())))
            .ceiling_is("the same house without history");
        figure.goal = goal;
        figures.push(figure);
        long.stop()?;
        short.stop()?;
    }
    Ok(figures)
}
