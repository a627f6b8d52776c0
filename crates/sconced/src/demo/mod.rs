//! `sconced demo`: the daemon with Heron House, five simulated fixtures with an invented past, and a power switch.

mod past;
mod power;

use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use service::{Actor, Asked as AskedBy, Clock, FixtureId, Service, Standing, Way};
use simulator::heron_house::{DemoFixture, heron_house};
use simulator::{FixtureOptions, Fleet};
use tokio::net::TcpListener;

use self::power::HousePower;
use crate::arguments::Demo;
use crate::config::{LogFormat, LogLevel, Settings};
use crate::daemon::{
    Extras, OpenHouse, Running, Signals, bind_http, leave_whereabouts, say, say_first_token, say_ready, start_log,
    stop, watch,
};
use crate::error::Failure;
use crate::whereabouts::Whereabouts;

/// How long the fixtures may take before the demo goes on without waiting for them.
const IN_STEP: Duration = Duration::from_secs(10);
/// How often it is looked whether they are in step.
const LOOK: Duration = Duration::from_millis(10);

/// Runs the demo until a signal ends it. `data` is kept; without it everything lies in a temporary folder that is
/// removed at the end.
///
/// # Errors
/// As [`crate::daemon::serve`].
pub async fn demo(arguments: Demo, data: Option<PathBuf>) -> Result<(), Failure> {
    let temporary = if data.is_none() { Some(TemporaryFolder::make()?) } else { None };
    let folder = match (&data, &temporary) {
        (Some(data), _) => data.clone(),
        (None, Some(temporary)) => temporary.0.clone(),
        (None, None) => return Err(Failure::System("there is no folder for the demo".into())),
    };
    let settings = settings(&arguments, folder);
    settings.check()?;
    let log = start_log(&settings.log);
    let mut signals = Signals::take()?;
    let listener = listen(arguments.http, Settings::default().http.listen).await?;
    let house = OpenHouse::open(&settings, Clock::System).await?;
    if data.is_some() {
        say_first_token(&house);
    }
    if let Err(failure) = past::furnish(&house.service).await {
        house.service.stop().await;
        return Err(failure);
    }
    let power = Arc::new(HousePower::default());
    let extras = Extras { demo: true, power_switch: Some(power.clone()) };
    let mut running = Running::start(house, listener, &settings, extras).await?;
    let came_up = tokio::select! {
        up = come_up(&mut running, &power) => up.map(|()| true),
        () = signals.stop() => Ok(false),
    };
    let ended = match came_up {
        Ok(true) => {
            let here = leave_whereabouts(&running);
            let for_user = here.leave_for_user();
            if let Err(error) = &for_user {
                tracing::warn!(error, "other shells need --data or --url to find this demo");
            }
            welcome(&running, data.as_deref());
            say_ready(&running);
            let ended = watch(&mut running, &mut signals, None, settings, &log).await;
            here.take_away(&Whereabouts::path(&running.house.data));
            if let Ok(path) = for_user {
                here.take_away(&path);
            }
            ended
        }
        Ok(false) => Ok(()),
        Err(failure) => Err(failure),
    };
    power.end().await;
    stop(running, &mut signals, ended).await
}

/// The demo's configuration: loopback alone, open, at an invented place. Neither file nor environment is read, so that
/// a demo never touches a real house.
fn settings(arguments: &Demo, folder: PathBuf) -> Settings {
    let mut settings = Settings::default();
    settings.data.folder = folder;
    settings.http.open_on_loopback = true;
    settings.mqtt.listen = arguments.mqtt.unwrap_or(SocketAddr::from((Ipv4Addr::LOCALHOST, 0)));
    settings.backups.every_hours = 0;
    settings.site.title = "Heron House".to_owned();
    settings.site.latitude = Some(52.4);
    settings.site.longitude = Some(5.1);
    settings.site.zone = Some("Europe/Amsterdam".to_owned());
    settings.log.level = LogLevel::Warn;
    settings.log.format = arguments.log.unwrap_or(LogFormat::Text);
    settings
}

/// The usual address, or a free port when that is taken and no other was asked for.
async fn listen(asked: Option<SocketAddr>, usual: SocketAddr) -> Result<TcpListener, Failure> {
    if let Some(addr) = asked {
        return bind_http(addr).await;
    }
    match bind_http(usual).await {
        Ok(listener) => Ok(listener),
        Err(_) => bind_http(SocketAddr::from((Ipv4Addr::LOCALHOST, 0))).await,
    }
}

/// Waits for the daemon, powers the fixtures, and waits until they are in step.
async fn come_up(running: &mut Running, power: &HousePower) -> Result<(), Failure> {
    running.ready().await?;
    let service = Arc::clone(running.service());
    let (host, port) = running.mqtt.rsplit_once(':').unwrap_or((&running.mqtt, ""));
    let port = port.parse().map_err(|_| Failure::System(format!("{} is no broker address", running.mqtt)))?;
    let broker = (host.trim_matches(['[', ']']).to_owned(), port);
    let options = enrolled(&service, broker, running.house.prefix.as_str()).await?;
    let ids: Vec<String> = options.iter().map(|options| options.id.clone()).collect();
    power.begin(Fleet::start(options)).await;
    let in_step = async {
        while !ids.iter().all(|id| service.house().get(id).is_some_and(|f| Standing::of(&f) == Standing::InStep)) {
            tokio::time::sleep(LOOK).await;
        }
    };
    if tokio::time::timeout(IN_STEP, in_step).await.is_err() {
        tracing::warn!("not every simulated fixture is in step yet");
    }
    Ok(())
}

/// Gives each fixture of Heron House that is in the house a new secret, and the settings of its controller.
async fn enrolled(service: &Service, broker: (String, u16), prefix: &str) -> Result<Vec<FixtureOptions>, Failure> {
    let mut all = Vec::new();
    for DemoFixture { id, firmware, .. } in heron_house() {
        if service.house().get(&id).is_none() {
            continue;
        }
        let fixture: FixtureId = id.parse().map_err(|error: kernel::NameError| Failure::System(error.to_string()))?;
        let enrolment = service.enrol(fixture, AskedBy::by(Actor::new("demo (invented)", Way::Demo))).await?;
        let mut options = FixtureOptions::new(id, enrolment.secret, broker.clone());
        options.firmware = firmware;
        prefix.clone_into(&mut options.prefix);
        all.push(options);
    }
    Ok(all)
}

fn welcome(running: &Running, data: Option<&Path>) {
    let http = &running.http;
    let kept = match data {
        Some(data) => format!("Everything is kept in {}.", data.display()),
        None => "Everything is in a temporary folder, and gone when you stop it with Ctrl-C.".to_owned(),
    };
    say(&format!(
        "Heron House is up: a guesthouse by a canal with five simulated fixtures. House, people and history are invented.
{kept}

  The page        {http}/
  The API         {http}/docs

Change something, cut the power of the whole house for five seconds, and look back:

  curl -X PATCH {http}/v1/fixtures/hall/desired -H 'Content-Type: application/merge-patch+json' -d '{{\"lit\": false}}'
  curl -X POST {http}/v1/demo/power -H 'Content-Type: application/json' -d '{{\"cut_seconds\": 5}}'
  curl '{http}/v1/fixtures/hall/history?limit=3'

Or, in another shell: sconced list, sconced showing hall, sconced past hall, sconced undo hall
"
    ));
}

/// A folder of this user alone that is removed when it is no longer needed.
#[derive(Debug)]
struct TemporaryFolder(PathBuf);

impl TemporaryFolder {
    fn make() -> Result<Self, Failure> {
        use std::os::unix::fs::DirBuilderExt as _;
        let random = service::random_secret()?;
        let name: String = random.chars().filter(char::is_ascii_alphanumeric).take(12).collect();
        let folder = std::env::temp_dir().join(format!("sconced-demo-{name}"));
        let made = std::fs::DirBuilder::new().mode(0o700).create(&folder);
        made.map_err(Failure::file("making the folder", &folder))?;
        Ok(Self(folder))
    }
}

impl Drop for TemporaryFolder {
    fn drop(&mut self) {
        // what cannot be removed stays in the folder for temporary files, where the system clears up
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_demos_settings_can_be_used_and_stay_on_loopback() {
        let settings = settings(&Demo { http: None, mqtt: None, log: None }, PathBuf::from("demo"));
        settings.check().unwrap();
        assert!(settings.site.place().unwrap().is_some());
        assert!(settings.http.listen.ip().is_loopback() && settings.mqtt.listen.ip().is_loopback());
    }

    #[tokio::test]
    async fn a_free_port_is_taken_when_the_usual_one_is_not_free_but_never_in_place_of_one_asked_for() {
        let taken = listen(None, "127.0.0.1:0".parse().unwrap()).await.unwrap();
        let usual = taken.local_addr().unwrap();
        let other = listen(None, usual).await.unwrap().local_addr().unwrap();
        assert!(other.ip().is_loopback() && other.port() != usual.port());
        assert_eq!(listen(Some(usual), usual).await.unwrap_err().code(), 4);
    }

    #[test]
    fn the_temporary_folder_is_the_users_alone_and_goes() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = TemporaryFolder::make().unwrap();
        let path = folder.0.clone();
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o700);
        std::fs::write(path.join("x"), "x").unwrap();
        drop(folder);
        assert!(!path.exists());
    }
}
