//! CPU time of a daemon that has nothing to do.

use std::time::{Duration, Instant};

use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures;
use crate::plan::thousands;
use crate::process::cpu_time;
use crate::yard::Yard;

/// Fixtures that are connected and say nothing.
const CONNECTED: usize = 100;
/// A larger house is watched for at most this long.
const SHORTER: Duration = Duration::from_secs(20);

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let mut figures = Vec::new();
    for (size, length) in [(plan.growth[0], plan.idle), (plan.growth[1], plan.idle.min(SHORTER))] {
        let daemon = yard.daemon(size).await?;
        let _connected = fixtures::connect(daemon.mqtt, CONNECTED).await?;
        daemon.rest().await?;
        let (before, began) = (cpu_time(daemon.pid())?, Instant::now());
        tokio::time::sleep(length).await;
        let used = cpu_time(daemon.pid())?.saturating_sub(before);
        let share = used.as_secs_f64() / began.elapsed().as_secs_f64() * 100.0;
        let size_said = format!("{} fixtures, {} s", thousands(size.fixtures.into()), length.as_secs());
        let figure = Figure::alone("idle", "CPU of an idle daemon", "% of a core", share).size(size_said);
        figures.push(if size == plan.growth[0] { figure.goal(Goal::ValueAtMost(0.2)) } else { figure });
        daemon.stop()?;
    }
    Ok(figures)
}
