//! A power cut of the whole house: all fixtures drop and come back at once; how long until the last has its state.

use std::time::Duration;

use super::responder;
use crate::bare::{self, Bare};
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures;
use crate::process::rest;
use crate::rounds::{alternate, median};
use crate::yard::Yard;

/// Rounds of a storm at most: each is long, and followed by a calm.
const ROUNDS: usize = 3;
/// How long the last wills and reports of the storm before may take to be dealt with.
const CALM: Duration = Duration::from_secs(60);

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let daemon = yard.daemon(plan.street).await?;
    let bare = responder(&daemon, yard, true).await?;
    let there = bare.address("mqtt")?;
    let mut figures = Vec::new();
    for count in plan.storm {
        let mut ours = fixtures::connect(daemon.mqtt, count).await?;
        let mut theirs = fixtures::connect(there, count).await?;
        let pairs = alternate(
            plan.rounds.min(ROUNDS),
            async || {
                rest(daemon.pid(), CALM).await?;
                fixtures::storm(daemon.mqtt, &mut ours).await
            },
            async || {
                rest(bare.pid(), CALM).await?;
                fixtures::storm(there, &mut theirs).await
            },
        )
        .await?;
        let figure = Figure::paired("storm", "power-cut storm, until the last has its state", "s", &pairs)
            .size(format!("{count} fixtures"))
            .ceiling_is("the same clients, broker and a bare responder");
        figures.push(if count == plan.storm[1] { figure.goal(Goal::AtMost(1.25)) } else { figure });
    }
    bare.stop()?;
    // what the broker itself costs: it looks through all that it has stored at each subscription
    let size = Bare::Responder {
        fixtures: 0,
        desired: fixtures::stored_bytes(daemon.mqtt, "desired").await?,
        showing: fixtures::stored_bytes(daemon.mqtt, "showing").await?,
    };
    daemon.stop()?;
    let folder = yard.another()?;
    let empty = bare::start(&size, &folder)?;
    let count = plan.storm[1];
    let mut theirs = fixtures::connect_quiet(empty.address("mqtt")?, count).await?;
    let mut seconds = Vec::new();
    for _ in 0..plan.rounds.min(ROUNDS) {
        rest(empty.pid(), CALM).await?;
        seconds.push(fixtures::storm(empty.address("mqtt")?, &mut theirs).await?);
    }
    empty.stop()?;
    figures.push(
        Figure::alone("storm", "the same, bare, with nothing stored in the broker", "s", median(seconds))
            .size(format!("{count} fixtures")),
    );
    Ok(figures)
}
