//! Resident memory: of an idle daemon with 100 fixtures, and of each further fixture.

use crate::bare::{self, Bare};
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures;
use crate::history::name;
use crate::plan::thousands;
use crate::process::resident;
use crate::rounds::Pairs;
use crate::yard::Yard;

const WHAT: &str = "memory";
const MIB: f64 = 1024.0 * 1024.0;

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let [small, middle, large] = plan.growth;
    let data = yard.own_house(small)?;
    let count = small.fixtures as usize;
    let mut pairs = Pairs::default();
    let mut alone = Vec::new();
    for _ in 0..plan.starts {
        let daemon = yard.daemon(small).await?;
        alone.push(resident(daemon.pid())? as f64);
        let _ours = fixtures::connect(daemon.mqtt, count).await?;
        daemon.rest().await?;
        let folder = yard.another()?;
        let bare = bare::start(&Bare::Idle { data: data.clone() }, &folder)?;
        let _theirs = fixtures::connect_quiet(bare.address("mqtt")?, count).await?;
        crate::process::rest(bare.pid(), std::time::Duration::from_secs(30)).await?;
        pairs.push(resident(daemon.pid())? as f64 / MIB, resident(bare.pid())? as f64 / MIB);
        bare.stop()?;
        daemon.stop()?;
    }
    let mut figures = vec![
        Figure::paired(WHAT, "resident memory, idle", "MiB", &pairs)
            .size(format!("{count} fixtures connected"))
            .ceiling_is("a bare process with broker, axum and sqlx pool")
            .goal(Goal::AtMost(1.3)),
    ];
    let base = crate::rounds::median(alone);
    for size in [middle, large] {
        let daemon = yard.daemon(size).await?;
        let more = resident(daemon.pid())? as f64 - base;
        let each = more / f64::from(size.fixtures - small.fixtures);
        let mut bytes = 0;
        for what in ["desired", "reported"] {
            bytes += daemon.get(&format!("/v1/fixtures/{}/{what}", name(1))).await?.1.len();
        }
        let figure = Figure::against(WHAT, "memory of one fixture", "bytes", each, bytes as f64)
            .size(format!("{} fixtures", thousands(size.fixtures.into())))
            .ceiling_is("the bytes of its two documents");
        figures.push(if size == large { figure.goal(Goal::AtMost(4.0)) } else { figure });
        daemon.stop()?;
    }
    Ok(figures)
}
