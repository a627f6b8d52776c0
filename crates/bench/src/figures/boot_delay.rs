//! How long a boot's answer takes while boots come at a steady rate.

use std::time::Duration;

use super::responder;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures::{self, Fixture};
use crate::plan::Plan;
use crate::rounds::{Pairs, percentile_ms};
use crate::yard::Yard;

/// Each fixture boots once in this time: 200 of them a thousand times a second together.
const PERIOD: Duration = Duration::from_millis(200);

/// p50 and p99 in milliseconds.
async fn delays(fixtures: &mut Vec<Fixture>, plan: Plan) -> Result<(f64, f64), BenchError> {
    let mut load = fixtures::boots(fixtures, plan.slice * 2, Some(PERIOD)).await?;
    Ok((percentile_ms(&mut load.taken, 0.5), percentile_ms(&mut load.taken, 0.99)))
}

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let daemon = yard.daemon(plan.street).await?;
    let bare = responder(&daemon, yard, true).await?;
    let mut figures = Vec::new();
    for count in plan.connections {
        let mut ours = fixtures::connect(daemon.mqtt, count).await?;
        let mut theirs = fixtures::connect(bare.address("mqtt")?, count).await?;
        delays(&mut ours, plan).await?;
        let (mut middle, mut slow) = (Pairs::default(), Pairs::default());
        for round in 0..plan.rounds {
            let (our, their) = if round.is_multiple_of(2) {
                let our = delays(&mut ours, plan).await?;
                (our, delays(&mut theirs, plan).await?)
            } else {
                let their = delays(&mut theirs, plan).await?;
                (delays(&mut ours, plan).await?, their)
            };
            middle.push(our.0, their.0);
            slow.push(our.1, their.1);
        }
        let size = format!("{} boots/s", count as u64 * 1000 / PERIOD.as_millis() as u64);
        let figure = Figure::paired("boot-delay", "boot answer, p99", "ms", &slow)
            .size(&size)
            .ceiling_is("the same bare responder, p99");
        figures.push(if count >= 200 { figure.goal(Goal::AtMost(1.5)) } else { figure });
        figures.push(
            Figure::paired("boot-delay", "boot answer, p50", "ms", &middle)
                .size(&size)
                .ceiling_is("the same bare responder, p50"),
        );
    }
    bare.stop()?;
    daemon.stop()?;
    Ok(figures)
}
