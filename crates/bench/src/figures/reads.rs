//! Reading desired documents over HTTP, against a bare handler with the same bytes.

use crate::bare::{self, Bare};
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::history::name;
use crate::http::request;
use crate::load::{self, Same};
use crate::rounds::alternate;
use crate::yard::Yard;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let daemon = yard.daemon(plan.street).await?;
    let (head, body) = daemon.get(&format!("/v1/fixtures/{}/desired", name(1))).await?;
    let folder = yard.another()?;
    let answer = folder.join("answer");
    std::fs::write(&answer, [head, body].concat()).map_err(BenchError::io("writing the answer"))?;
    let bare = bare::start(&Bare::Http { answer, data: None }, &folder)?;
    let there = bare.address("http")?;
    let mut figures = Vec::new();
    for callers in plan.callers {
        let rate = async |address| -> Result<f64, BenchError> {
            let path = |caller| format!("/v1/fixtures/{}/desired", name(1 + caller));
            let readers = (0..callers).map(|caller| Same(request(address, "GET", &path(caller), None))).collect();
            Ok(load::run(address, readers, plan.slice).await?.rate())
        };
        rate(daemon.http).await?;
        let pairs = alternate(plan.rounds, async || rate(daemon.http).await, async || rate(there).await).await?;
        let figure = Figure::paired("reads", "GET desired", "/s", &pairs)
            .size(format!("{callers} callers"))
            .ceiling_is("a bare axum handler with the same bytes");
        figures.push(if callers == 64 { figure.goal(Goal::AtLeast(0.9)) } else { figure });
    }
    bare.stop()?;
    daemon.stop()?;
    Ok(figures)
}
