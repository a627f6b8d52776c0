//! Durable edits a second over HTTP, and how evenly they are acknowledged.

use std::time::Duration;

use super::{editor, editors, editors_of};
use crate::bare::{self, Bare};
use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::load;
use crate::plain::{Plain, Rows};
use crate::rounds::{Pairs, alternate, percentile_ms};
use crate::yard::Yard;

const WHAT: &str = "edits";
/// The callers whose acknowledgements are looked at.
const EVEN: usize = 64;
/// What one side has left to do must not be measured with the other.
const PAUSE: Duration = Duration::from_millis(100);

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let street = plan.street;
    let daemon = yard.daemon(street).await?;
    let plain = Plain::new(&yard.own_house(street)?)?;
    let mut figures = Vec::new();
    let mut even = Vec::new();
    for callers in plan.callers {
        let (mut ours_even, mut plain_even) = (Pairs::default(), Pairs::default());
        // once before it counts: connections of the pool, pages, and the log's file come to be
        load::run(daemon.http, editors(&daemon, callers, street.fixtures), plan.slice / 3).await?;
        let pairs = alternate(
            plan.rounds,
            async || {
                tokio::time::sleep(PAUSE).await;
                let mut load = load::run(daemon.http, editors(&daemon, callers, street.fixtures), plan.slice).await?;
                ours_even.push(percentile_ms(&mut load.taken, 0.99), percentile_ms(&mut load.taken, 0.5));
                Ok(load.rate())
            },
            async || {
                tokio::time::sleep(PAUSE).await;
                let mut load = plain.run(callers, Rows::Edit, plan.slice, None).await?;
                plain_even.push(percentile_ms(&mut load.taken, 0.99), percentile_ms(&mut load.taken, 0.5));
                Ok(load.rate())
            },
        )
        .await?;
        let figure = Figure::paired(WHAT, "durable edits over HTTP", "/s", &pairs)
            .size(format!("{callers} callers"))
            .ceiling_is("plain SQLite, one writer, as many waiting callers");
        figures.push(if callers >= EVEN { figure.goal(Goal::AtLeast(0.8)) } else { figure });
        if callers == EVEN {
            even.push(
                Figure::paired(WHAT, "acknowledgement p99 over p50", "ms", &ours_even)
                    .size(format!("{callers} callers"))
                    .ceiling_is("its own p50")
                    .goal(Goal::AtMost(3.0)),
            );
            even.push(
                Figure::paired(WHAT, "the same of plain SQLite", "ms", &plain_even)
                    .size(format!("{callers} callers"))
                    .ceiling_is("its own p50"),
            );
        }
    }
    figures.extend(even);
    figures.extend(behind_http(yard, &daemon).await?);
    daemon.stop()?;
    Ok(figures)
}

/// The share of HTTP itself: the same plain SQLite, but each edit comes over HTTP and is answered over HTTP, by a
/// process of its own beside the program that makes the load, as the daemon is. What the daemon does beyond it is
/// what it is there for: JSON, rules, documents, history in both directions, publishing.
async fn behind_http(yard: &mut Yard, daemon: &Daemon) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let fixtures = plan.street.fixtures;
    let folder = yard.another()?;
    let answer = folder.join("answer");
    let edited = daemon.edited(&mut editor(daemon)).await?;
    std::fs::write(&answer, edited).map_err(BenchError::io("writing the answer"))?;
    let bare = bare::start(&Bare::Http { answer, data: Some(yard.own_house(plan.street)?) }, &folder)?;
    let there = bare.address("http")?;
    let mut figures = Vec::new();
    for callers in plan.callers.into_iter().filter(|callers| *callers >= EVEN) {
        let rate = async |address| -> Result<f64, BenchError> {
            tokio::time::sleep(PAUSE).await;
            Ok(load::run(address, editors_of(address, callers, fixtures), plan.slice).await?.rate())
        };
        rate(there).await?;
        let pairs = alternate(plan.rounds, async || rate(daemon.http).await, async || rate(there).await).await?;
        figures.push(
            Figure::paired(WHAT, "durable edits against bare HTTP", "/s", &pairs)
                .size(format!("{callers} callers"))
                .ceiling_is("a bare axum handler that waits for plain SQLite"),
        );
    }
    bare.stop()?;
    Ok(figures)
}
