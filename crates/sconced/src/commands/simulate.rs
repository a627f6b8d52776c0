//! `simulate`: simulated fixtures against any broker.

use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use simulator::{Firmware, Fixture, FixtureOptions, FixtureState};
use tokio::task::JoinSet;

use super::daemon;
use crate::arguments::{Common, Simulate, SimulatedFirmware};
use crate::config::BrokerUrl;
use crate::daemon::{Signals, say};
use crate::error::Failure;
use crate::output::{Output, shown};

/// Runs simulated fixtures until a signal comes or the time is over.
pub(super) async fn simulate(arguments: Simulate, common: Common, out: Output) -> Result<(), Failure> {
    let mut signals = Signals::take()?;
    let named = arguments.broker.as_deref().map(str::parse::<BrokerUrl>).transpose();
    let named = named.map_err(|why| Failure::Usage(format!("--broker: {why}; {}", BrokerUrl::ADVICE)))?;
    let all = match (&arguments.secrets, arguments.enrol) {
        (Some(path), _) => {
            let text = std::fs::read_to_string(path).map_err(Failure::file("reading", path))?;
            let broker = named.ok_or_else(|| Failure::Usage("--secrets needs --broker".into()))?;
            read_secrets(&text)?
                .into_iter()
                .map(|(id, secret)| FixtureOptions::new(id, secret, pair(&broker)))
                .collect()
        }
        (None, count) => {
            let asked = tokio::task::spawn_blocking(move || enrolled(&common, count.unwrap_or(0), named.as_ref()));
            asked.await.map_err(|error| Failure::System(error.to_string()))??
        }
    };
    let all: Vec<FixtureOptions> = all.into_iter().map(|options| as_asked(options, &arguments)).collect();
    for options in &all {
        options.check().map_err(|error| Failure::Usage(error.to_string()))?;
    }
    say(&format!("{} simulated fixtures; stop with Ctrl-C", all.len()));
    let fixtures: Vec<Arc<Fixture>> = all.into_iter().map(|options| Arc::new(Fixture::start(options))).collect();
    let mut watching = JoinSet::new();
    for fixture in &fixtures {
        watching.spawn(watch(Arc::clone(fixture), out));
    }
    let over = async {
        match arguments.seconds {
            Some(seconds) => tokio::time::sleep(Duration::from_secs(seconds)).await,
            None => std::future::pending().await,
        }
    };
    let ended = tokio::select! {
        () = signals.stop() => Ok(()),
        () = over => Ok(()),
        Some(failed) = watching.join_next() => failed.unwrap_or(Ok(())),
    };
    watching.shutdown().await;
    let mut leaving = JoinSet::new();
    for fixture in fixtures.into_iter().filter_map(Arc::into_inner) {
        leaving.spawn(fixture.stop());
    }
    while leaving.join_next().await.is_some() {}
    ended
}

fn pair(broker: &BrokerUrl) -> (String, u16) {
    (broker.host.clone(), broker.port)
}

fn as_asked(mut options: FixtureOptions, arguments: &Simulate) -> FixtureOptions {
    options.firmware = match arguments.firmware {
        SimulatedFirmware::Showing => Firmware::Showing,
        SimulatedFirmware::Agenda => Firmware::Agenda,
        SimulatedFirmware::Patch => Firmware::Patch,
    };
    options.qos0 = arguments.qos0;
    options.start_pause_ms = arguments.start_pause;
    if let Some(prefix) = &arguments.prefix {
        prefix.clone_into(&mut options.prefix);
    }
    options
}

/// The pairs of a secrets file: one `ID:SECRET` a line; empty lines and lines that begin with `#` are passed over.
fn read_secrets(text: &str) -> Result<Vec<(String, String)>, Failure> {
    let mut pairs = Vec::new();
    for (number, line) in text.lines().enumerate().map(|(index, line)| (index + 1, line.trim())) {
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        match line.split_once(':') {
            Some((id, secret)) if !id.is_empty() && !secret.is_empty() => {
                pairs.push((id.to_owned(), secret.to_owned()))
            }
            // the line itself is not repeated: it may hold a secret
            _ => return Err(Failure::Usage(format!("line {number} of the file is not of the form ID:SECRET"))),
        }
    }
    if pairs.is_empty() {
        return Err(Failure::Usage("the file names no fixture; write one ID:SECRET on each line".into()));
    }
    Ok(pairs)
}

/// Makes and enrols fixtures through the daemon.
fn enrolled(common: &Common, count: u32, named: Option<&BrokerUrl>) -> Result<Vec<FixtureOptions>, Failure> {
    let client = daemon(common)?;
    let mut all = Vec::new();
    for number in 1..=count {
        let id = format!("simulated-{number}");
        let title = format!("Simulated fixture {number}");
        match client.post("/v1/fixtures", &json!({"id": id, "title": title, "groups": ["simulated"]})) {
            Ok(_) => {}
            // it is there from an earlier time
            Err(Failure::Refused(problem)) if problem.status == 409 => {}
            Err(failure) => return Err(failure),
        }
        let path = format!("/v1/fixtures/{id}/enrol");
        let enrolment = client.post(&path, &json!({}))?.json()?;
        let text = |pointer: &str| enrolment.pointer(pointer).and_then(Value::as_str).map(ToOwned::to_owned);
        let port = enrolment.pointer("/broker/port").and_then(Value::as_u64).and_then(|port| u16::try_from(port).ok());
        let (Some(secret), Some(host), Some(port)) = (text("/secret"), text("/broker/host"), port) else {
            return Err(Failure::Answer { url: path, why: "it names no secret or no broker".into() });
        };
        let mut options = FixtureOptions::new(id, secret, named.map_or((host, port), pair));
        options.prefix = text("/prefix").unwrap_or(options.prefix);
        all.push(options);
    }
    Ok(all)
}

/// What is printed when it changes.
#[derive(Debug, Clone, PartialEq)]
struct Seen {
    connected: bool,
    rev: u64,
    look: Option<String>,
    fault: Option<String>,
}

impl Seen {
    fn of(state: &FixtureState) -> Self {
        Self { connected: state.connected, rev: state.rev, look: state.look.clone(), fault: state.fault.clone() }
    }
}

/// Prints a line at every change of a fixture's state; ends only when nothing can be printed any more.
async fn watch(fixture: Arc<Fixture>, out: Output) -> Result<(), Failure> {
    let mut last = Seen { connected: false, rev: 0, look: None, fault: None };
    loop {
        let seen = Seen::of(&fixture.wait_for(|state| Seen::of(state) != last).await);
        let at = service::Clock::System.now().to_string();
        let Seen { connected, rev, look, fault } = &seen;
        let id = fixture.id();
        if out.json {
            let line = json!({
                "at": at, "fixture": id, "connected": connected, "rev": rev, "look": look, "fault": fault
            });
            out.line(&line.to_string())?;
        } else {
            let look = look.as_ref().map(|look| Value::from(look.as_str()));
            let link = match fault {
                Some(fault) if !connected => format!("not connected: {fault}"),
                _ if *connected => "connected".to_owned(),
                _ => "not connected".to_owned(),
            };
            out.line(&format!("{at}  {id}  rev {rev}  {}  {link}", shown(look.as_ref())))?;
        }
        last = seen;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secrets_file_has_one_pair_a_line_and_a_secret_may_hold_a_colon() {
        let pairs = read_secrets("# ours\n\nhall:a:b\n  stairs:c \n").unwrap();
        assert_eq!(pairs, [("hall".to_owned(), "a:b".to_owned()), ("stairs".to_owned(), "c".to_owned())]);
    }

    #[test]
    fn a_bad_line_is_named_by_its_number_and_not_repeated() {
        let said = read_secrets("hall:a\npinewood\n").unwrap_err().to_string();
        assert!(said.contains("line 2") && !said.contains("pinewood"), "{said}");
        assert!(read_secrets("#\n").is_err());
    }
}
