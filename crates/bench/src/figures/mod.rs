//! The figures, one a file.

mod agenda;
mod arrival;
mod boot_delay;
mod boots;
mod edits;
mod frames;
mod idle;
mod long_history;
mod memory;
mod past;
mod reads;
mod reports;
mod single;
mod start;
mod storm;

use std::net::SocketAddr;

use crate::arguments::What;
use crate::bare::{self, Bare};
use crate::child::Child;
use crate::daemon::Daemon;
use crate::error::BenchError;
use crate::figure::Figure;
use crate::fixtures::stored_bytes;
use crate::history::name;
use crate::load::Edits;
use crate::yard::Yard;

/// All figures, in the order of the table.
pub(crate) const ALL: &[What] = &[
    What::Edits,
    What::History,
    What::Single,
    What::Reports,
    What::Boots,
    What::BootDelay,
    What::Storm,
    What::Arrival,
    What::Reads,
    What::Past,
    What::Memory,
    What::Start,
    What::Agenda,
    What::Frames,
    What::Idle,
];

/// Measures one.
pub(crate) async fn measure(what: &What, yard: &mut Yard) -> Result<Vec<Figure>, BenchError> {
    match what {
        What::Edits => edits::measure(yard).await,
        What::History => long_history::measure(yard).await,
        What::Single => single::measure(yard).await,
        What::Reports => reports::measure(yard).await,
        What::Boots => boots::measure(yard).await,
        What::BootDelay => boot_delay::measure(yard).await,
        What::Storm => storm::measure(yard).await,
        What::Arrival => arrival::measure(yard).await,
        What::Reads => reads::measure(yard).await,
        What::Past => past::measure(yard).await,
        What::Memory => memory::measure(yard).await,
        What::Start => start::measure(yard).await,
        What::Agenda => agenda::measure(yard).await,
        What::Frames => frames::measure(yard),
        What::Idle => idle::measure(yard).await,
        What::All | What::Bare(_) => Ok(Vec::new()),
    }
}

/// Callers that each edit a fixture of their own, spread over the whole house.
fn editors(daemon: &Daemon, callers: usize, fixtures: u32) -> Vec<Edits> {
    editors_of(daemon.http, callers, fixtures)
}

/// The same upon any server.
fn editors_of(address: SocketAddr, callers: usize, fixtures: u32) -> Vec<Edits> {
    let stride = (fixtures as usize / callers.max(1)).max(1);
    (0..callers).map(|caller| Edits::new(address, &name(1 + caller * stride))).collect()
}

/// One caller that edits the first fixture.
fn editor(daemon: &Daemon) -> Edits {
    Edits::new(daemon.http, &name(1))
}

/// The bare responder beside a daemon: the same broker, answers of the same sizes, as many of them, and as many stored
/// messages. The daemon answers a boot on two topics, `desired` and `showing`, and so does this.
async fn responder(daemon: &Daemon, yard: &mut Yard, showing: bool) -> Result<Child, BenchError> {
    let bare = Bare::Responder {
        fixtures: yard.plan.street.fixtures,
        desired: stored_bytes(daemon.mqtt, "desired").await?,
        showing: if showing { stored_bytes(daemon.mqtt, "showing").await? } else { 0 },
    };
    let folder = yard.another()?;
    bare::start(&bare, &folder)
}
