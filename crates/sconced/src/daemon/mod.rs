//! The daemon: start, signals, stop.
//!
//! It opens things in one order (HTTP's address, house, broker, the rest) and closes them in the other. It holds no
//! rule of the trade.

mod broker_side;
mod house;
mod logging;
mod running;
mod signals;

use std::io::Write as _;
use std::path::Path;
use std::time::Duration;

use sd_notify::NotifyState;
use service::Clock;

pub(crate) use self::house::OpenHouse;
pub(crate) use self::logging::{LogHandle, start as start_log};
pub(crate) use self::running::{Extras, Running, bind_http};
pub(crate) use self::signals::{Asked, Signals};
use crate::config::{Settings, Sources};
use crate::error::Failure;
use crate::whereabouts::Whereabouts;

/// The longest that stopping in order may take.
const STOP: Duration = Duration::from_secs(10);

/// Runs the daemon until a signal ends it.
///
/// # Errors
/// [`Failure`] with its exit code.
pub async fn serve(sources: Sources) -> Result<(), Failure> {
    let settings = sources.read()?;
    let log = start_log(&settings.log);
    let mut signals = Signals::take()?;
    let listener = bind_http(settings.http.listen).await?;
    if !settings.http.listen.ip().is_loopback() {
        tracing::warn!(
            listen = %settings.http.listen,
            "HTTP can be reached by the whole network and tokens are not encrypted on it: put a proxy with TLS before it"
        );
    }
    let house = OpenHouse::open(&settings, Clock::System).await?;
    say_first_token(&house);
    let mut running = Running::start(house, listener, &settings, Extras::default()).await?;
    let came_up = tokio::select! {
        ready = running.ready() => ready.map(|()| true),
        () = signals.stop() => Ok(false),
    };
    if !matches!(came_up, Ok(true)) {
        return stop(running, &mut signals, came_up.map(|_| ())).await;
    }
    let here = leave_whereabouts(&running);
    say_ready(&running);
    let ended = watch(&mut running, &mut signals, Some(&sources), settings, &log).await;
    here.take_away(&Whereabouts::path(&running.house.data));
    stop(running, &mut signals, ended).await
}

/// The admin token of a new house, said once.
pub(crate) fn say_first_token(house: &OpenHouse) {
    if let Some(token) = house.service.first_token() {
        say(&format!(
            "This house is new. Its admin token, shown this once, is\n\n    {token}\n\nKeep it: the page asks for it, \
             and programs send it as \"Authorization: Bearer TOKEN\"."
        ));
    }
}

/// Says something to the person who started the program.
pub(crate) fn say(text: &str) {
    // nobody may be listening there; that is no reason to end
    let _ = writeln!(anstream::stderr(), "{text}");
}

/// Leaves word where this daemon is; without it the commands have to be told.
pub(crate) fn leave_whereabouts(running: &Running) -> Whereabouts {
    let here = Whereabouts {
        http: running.http.clone(),
        pid: std::process::id(),
        token: running.service().local_token().to_owned(),
        data: running.house.data.clone(),
    };
    if let Err(error) = here.leave(&running.house.data) {
        tracing::warn!(error, "the commands of this machine will not find this daemon by themselves");
    }
    here
}

/// Prints the one line that programs wait for, and tells systemd.
pub(crate) fn say_ready(running: &Running) {
    let Running { http, mqtt, house, .. } = running;
    let line = format!("ready http={http} mqtt={mqtt} data={}\n", house.data.display());
    let mut out = std::io::stdout().lock();
    if let Err(error) = out.write_all(line.as_bytes()).and_then(|()| out.flush()) {
        tracing::warn!(%error, "nobody reads standard output");
    }
    drop(out);
    notify(&[NotifyState::Ready]);
    tracing::info!(http, mqtt, data = %house.data.display(), "ready");
}

fn notify(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!(%error, "systemd could not be told");
    }
}

/// Watches over a running daemon until a signal asks it to stop or a part of it fails.
pub(crate) async fn watch(
    running: &mut Running,
    signals: &mut Signals,
    sources: Option<&Sources>,
    mut settings: Settings,
    log: &LogHandle,
) -> Result<(), Failure> {
    loop {
        tokio::select! {
            asked = signals.next() => match asked {
                Asked::Stop => return Ok(()),
                Asked::Reload => {
                    if let Some(sources) = sources {
                        settings = reload(running, sources, settings, log);
                    }
                }
            },
            failure = running.failed() => return Err(failure),
        }
    }
}

/// Settings that are taken over without a restart.
const AT_ONCE: [&str; 4] = ["log.level", "backups.every_hours", "retention.history_days", "retention.history_rows"];

/// Reads the configuration again and takes over what can be. Gives the settings that hold now.
fn reload(running: &mut Running, sources: &Sources, old: Settings, log: &LogHandle) -> Settings {
    let mut states = vec![NotifyState::Reloading];
    states.extend(NotifyState::monotonic_usec_now().ok());
    notify(&states);
    let holding = match sources.read() {
        Err(error) => {
            tracing::error!(%error, "the configuration was read again and cannot be used; all stays as it was");
            old
        }
        Ok(new) => {
            let (at_once, later): (Vec<_>, Vec<_>) =
                old.differing(&new).into_iter().partition(|name| AT_ONCE.contains(&name.as_str()));
            log.set(new.log.level);
            let mut holding = old;
            holding.log.level = new.log.level;
            holding.backups.every_hours = new.backups.every_hours;
            holding.retention = new.retention;
            if at_once.iter().any(|name| name != "log.level") {
                running.take_care(&holding);
            }
            tracing::info!(changed = at_once.join(", "), "the configuration was read again");
            if !later.is_empty() {
                tracing::warn!(
                    settings = later.join(", "),
                    "these settings have changed and hold from the next start on"
                );
            }
            holding
        }
    };
    notify(&[NotifyState::Ready]);
    holding
}

/// Stops in order, within a bound; a second signal ends at once.
pub(crate) async fn stop(running: Running, signals: &mut Signals, ended: Result<(), Failure>) -> Result<(), Failure> {
    notify(&[NotifyState::Stopping]);
    tracing::info!("stopping");
    tokio::select! {
        () = running.stop() => ended,
        () = signals.stop() => Err(Failure::Hard("ended at once by a second signal")),
        () = tokio::time::sleep(STOP) => Err(Failure::Hard("the daemon did not stop within 10 seconds")),
    }
}

/// Whether a folder holds a house already.
pub(crate) fn has_house(folder: &Path) -> bool {
    folder.join(store::DATABASE).exists()
}
