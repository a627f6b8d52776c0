//! From an edit to its arrival at the fixture.

use std::time::{Duration, Instant};

use super::{editor, responder};
use crate::error::BenchError;
use crate::figure::{Figure, Goal};
use crate::fixtures::Fixture;
use crate::http::Http;
use crate::load::Requests as _;
use crate::machine::{Fsync, nanoseconds};
use crate::plan::thousands;
use crate::rounds::{Pairs, percentile_ms};
use crate::yard::Yard;

/// What one side has left to do must not be measured with the other.
const PAUSE: Duration = Duration::from_millis(2);

pub(super) async fn measure(yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    let plan = yard.plan;
    let mut fsync = Fsync::open(yard.folder())?;
    let mut figures = Vec::new();
    for size in [plan.growth[0], plan.street] {
        let daemon = yard.daemon(size).await?;
        let bare = responder(&daemon, yard, true).await?;
        let mut http = Http::open(daemon.http).await?;
        let mut edits = editor(&daemon);
        // the first may find what it sets already there; every further one changes something
        http.ask(edits.next()).await?.good()?;
        daemon.rest().await?;
        let mut fixture = Fixture::in_step(daemon.mqtt, 1).await?;
        let mut other = Fixture::in_step(bare.address("mqtt")?, 1).await?;
        let (mut pairs, mut syncs, mut trips) = (Pairs::default(), Vec::new(), Vec::new());
        for _ in 0..plan.rounds {
            let (mut taken, mut sync, mut trip) = (Vec::new(), Vec::new(), Vec::new());
            for _ in 0..plan.singles {
                // each edit with an fdatasync and a round trip of its own, at the same pace: a disk that is pressed
                // slows down
                tokio::time::sleep(PAUSE).await;
                let began = Instant::now();
                http.send(edits.next()).await?;
                let wanted = fixture.held() + 1;
                fixture.arrival(wanted).await?;
                taken.push(nanoseconds(began));
                http.answer().await?.good()?;
                tokio::time::sleep(PAUSE).await;
                sync.extend(fsync.time(1)?);
                let began = Instant::now();
                other.boot().await?;
                trip.push(nanoseconds(began));
            }
            let (sync, trip) = (percentile_ms(&mut sync, 0.5), percentile_ms(&mut trip, 0.5));
            pairs.push(percentile_ms(&mut taken, 0.5), sync + trip);
            syncs.push(sync);
            trips.push(trip);
        }
        let size = format!("{} fixtures", thousands(size.fixtures.into()));
        figures.push(
            Figure::paired("arrival", "edit to its arrival at the fixture, p50", "ms", &pairs)
                .size(&size)
                .ceiling_is("one fdatasync and the broker's bare round trip")
                .goal(Goal::AtMost(1.5)),
        );
        let (sync, trip) = (crate::rounds::median(syncs), crate::rounds::median(trips));
        figures.push(Figure::alone("arrival", "of that ceiling, the fdatasync", "ms", sync).size(&size));
        figures.push(Figure::alone("arrival", "of that ceiling, the round trip", "ms", trip).size(&size));
        bare.stop()?;
        daemon.stop()?;
    }
    Ok(figures)
}
