//! Reports of fixtures taken up durably.

use std::time::{Duration, Instant};

use super::responder;
use crate::child::Child;
use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures::{self, Fixture};
use crate::history::name;
use crate::http::{Http, request};
use crate::plain::{Plain, Rows};
use crate::rounds::Pairs;
use crate::yard::Yard;

/// How often it is looked whether all is taken up.
const LOOK: Duration = Duration::from_micros(500);
/// How long a wave may take.
const BOUND: Duration = Duration::from_secs(60);
/// Waiting callers of plain SQLite: as many reports as can be on their way to the daemon at once.
const CALLERS: usize = 512;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let daemon = yard.daemon(plan.street).await?;
    let mut bare = responder(&daemon, yard, true).await?;
    let plain = Plain::new(&yard.own_house(plan.street)?)?;
    let mut figures = Vec::new();
    for count in plan.connections {
        let goal = count >= 200;
        let mut ours = fixtures::connect(daemon.mqtt, count).await?;
        let mut theirs = fixtures::connect(bare.address("mqtt")?, count).await?;
        daemon.rest().await?;
        // a wave is as long at every size
        let each = plan.reports * u32::try_from(200 / count.max(1)).unwrap_or(1).max(1);
        let wave = each as usize * count;
        let (mut all, mut by_broker, mut by_plain) = (Pairs::default(), Pairs::default(), Pairs::default());
        for round in 0..=plan.rounds {
            let delivered = wave as f64 / delivered(&mut bare, &mut theirs, each).await?;
            let taken_up = wave as f64 / taken_up(&daemon, &mut ours, each).await?;
            let written = plain.run(CALLERS, Rows::Report, BOUND, Some(wave)).await?.rate();
            if round > 0 {
                // the first is only there to warm up
                all.push(taken_up, delivered.min(written));
                by_broker.push(taken_up, delivered);
                by_plain.push(taken_up, written);
            }
        }
        let size = format!("{count} fixtures");
        let figure = Figure::paired("reports", "reports taken up durably", "/s", &all)
            .size(&size)
            .ceiling_is("the lesser of the next two");
        figures.push(if goal { figure.goal(Goal::AtLeast(0.5)) } else { figure });
        figures.push(
            Figure::paired("reports", "against delivery alone", "/s", &by_broker)
                .size(&size)
                .ceiling_is("the broker to a bare subscriber"),
        );
        figures.push(
            Figure::paired("reports", "against writing alone", "/s", &by_plain)
                .size(&size)
                .ceiling_is("plain SQLite, grouped, the same rows"),
        );
    }
    bare.stop()?;
    daemon.stop()?;
    Ok(figures)
}

/// Seconds until the daemon shows every report of a wave: what it shows is durable.
async fn taken_up(daemon: &Daemon, fixtures: &mut Vec<Fixture>, each: u32) -> Result<f64, BenchError> {
    let mut http = Http::open(daemon.http).await?;
    let count = fixtures.len();
    let before = revisions(&mut http, daemon, count).await?;
    let began = Instant::now();
    fixtures::reports(fixtures, each).await?;
    while began.elapsed() < BOUND {
        let now = revisions(&mut http, daemon, count).await?;
        if now.iter().zip(&before).all(|(now, before)| *now >= before + u64::from(each)) {
            return Ok(began.elapsed().as_secs_f64());
        }
        tokio::time::sleep(LOOK).await;
    }
    Err(BenchError::TooLong("taking up a wave of reports"))
}

/// The revisions of all fixtures' reported documents, asked in one piece.
async fn revisions(http: &mut Http, daemon: &Daemon, count: usize) -> Result<Vec<u64>, BenchError> {
    let ask = |number| request(daemon.http, "GET", &format!("/v1/fixtures/{}/reported", name(number)), None);
    http.send(&(1..=count).flat_map(ask).collect::<Vec<u8>>()).await?;
    let mut revisions = Vec::with_capacity(count);
    for _ in 0..count {
        revisions.push(http.answer().await?.good()?.revision()?);
    }
    Ok(revisions)
}

/// Seconds until the bare subscriber has counted every report of a wave.
async fn delivered(bare: &mut Child, fixtures: &mut Vec<Fixture>, each: u32) -> Result<f64, BenchError> {
    let wave = u64::from(each) * fixtures.len() as u64;
    let before = counted(bare)?;
    let began = Instant::now();
    fixtures::reports(fixtures, each).await?;
    while began.elapsed() < BOUND {
        if counted(bare)? >= before + wave {
            return Ok(began.elapsed().as_secs_f64());
        }
        tokio::time::sleep(LOOK).await;
    }
    Err(BenchError::TooLong("delivering a wave of reports"))
}

fn counted(bare: &mut Child) -> Result<u64, BenchError> {
    let answer = bare.ask("reports")?;
    answer.parse().map_err(|_| BenchError::unexpected("counting reports", answer))
}
