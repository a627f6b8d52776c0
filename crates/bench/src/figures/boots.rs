//! Boots answered a second, against a bare responder; and whether they slow down as house and history grow.

use super::responder;
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures::{self, Fixture};
use crate::plan::Plan;
use crate::rounds::{Pairs, alternate};
use crate::yard::Yard;

const WHAT: &str = "boots";
/// Connections when growth is looked at: every house has as many fixtures.
const SOME: usize = 100;

async fn rate(fixtures: &mut Vec<Fixture>, plan: Plan) -> Result<f64, BenchError> {
    Ok(fixtures::boots(fixtures, plan.slice, None).await?.rate())
}

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let daemon = yard.daemon(plan.street).await?;
    let bare = responder(&daemon, yard, true).await?;
    let mut figures = Vec::new();
    for count in plan.connections {
        let mut ours = fixtures::connect(daemon.mqtt, count).await?;
        let mut theirs = fixtures::connect(bare.address("mqtt")?, count).await?;
        rate(&mut ours, plan).await?;
        let pairs =
            alternate(plan.rounds, async || rate(&mut ours, plan).await, async || rate(&mut theirs, plan).await)
                .await?;
        let figure = Figure::paired(WHAT, "boots answered", "/s", &pairs)
            .size(format!("{count} connections"))
            .ceiling_is("a bare responder, both answers of the same sizes");
        figures.push(if count >= 200 { figure.goal(Goal::AtLeast(0.95)) } else { figure });
    }
    let one = responder(&daemon, yard, false).await?;
    let count = plan.connections[1];
    let mut ours = fixtures::connect(daemon.mqtt, count).await?;
    let mut theirs = fixtures::connect(one.address("mqtt")?, count).await?;
    let pairs =
        alternate(plan.rounds, async || rate(&mut ours, plan).await, async || rate(&mut theirs, plan).await).await?;
    figures.push(
        Figure::paired(WHAT, "against one answer in place of two", "/s", &pairs)
            .size(format!("{count} connections"))
            .ceiling_is("a bare responder that answers on desired alone"),
    );
    one.stop()?;
    bare.stop()?;
    daemon.stop()?;
    figures.extend(growth(yard).await?);
    Ok(figures)
}

/// The largest houses against the smallest.
async fn growth(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let [small, middle, large] = plan.growth;
    let base = yard.daemon(small).await?;
    let mut few = fixtures::connect(base.mqtt, SOME).await?;
    rate(&mut few, plan).await?;
    let mut figures = Vec::new();
    for size in [middle, large] {
        let daemon = yard.daemon(size).await?;
        let mut many = fixtures::connect(daemon.mqtt, SOME).await?;
        rate(&mut many, plan).await?;
        let pairs: Pairs =
            alternate(plan.rounds, async || rate(&mut many, plan).await, async || rate(&mut few, plan).await).await?;
        let figure = Figure::paired(WHAT, "boots answered in a larger house", "/s", &pairs)
            .size(size.words())
            .ceiling_is("the smallest house and history");
        figures.push(if size == large { figure.goal(Goal::AtLeast(0.9)) } else { figure });
        daemon.stop()?;
    }
    base.stop()?;
    Ok(figures)
}
