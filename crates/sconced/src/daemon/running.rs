//! A running daemon: its tasks, from the open house to the last commit.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use broker::{Action, BrokerError, DAEMON_USERNAME, Embedded, Refusal};
use service::{Care, LinkState, Service};
use tokio::net::TcpListener;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use web::{BrokerFace, PowerSwitch, WebOptions};

use super::broker_side::Admission;
use super::house::{BrokerChoice, OpenHouse};
use crate::client::Client;
use crate::config::{Mqtt, Settings};
use crate::error::Failure;

/// How many refusals may wait for the courier; more are dropped.
const REFUSALS: usize = 256;
/// How often it is looked whether the daemon is ready.
const LOOK: Duration = Duration::from_millis(5);
/// After how long it is said that the daemon is not ready yet.
const SAY: Duration = Duration::from_secs(10);

/// What the demo adds.
#[derive(Debug, Default)]
pub(crate) struct Extras {
    pub(crate) demo: bool,
    pub(crate) power_switch: Option<Arc<dyn PowerSwitch>>,
}

/// A running daemon.
#[derive(Debug)]
pub(crate) struct Running {
    pub(crate) house: OpenHouse,
    /// The address of HTTP, reachable from this machine.
    pub(crate) http: String,
    /// The broker, as `HOST:PORT`.
    pub(crate) mqtt: String,
    tasks: JoinSet<&'static str>,
    courier: JoinSet<&'static str>,
    /// Takes no more requests, starts nothing new.
    soft: CancellationToken,
    /// Ends the link to the broker: after the last request, so that what it did still goes out.
    link: CancellationToken,
    care: CancellationToken,
}

/// Binds the address of HTTP.
pub(crate) async fn bind_http(addr: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(addr).await.map_err(|error| {
        let why = match error.kind() {
            std::io::ErrorKind::AddrInUse => "the address is in use".to_owned(),
            _ => error.to_string(),
        };
        Failure::Address { what: "HTTP", addr, why, flag: "--http" }
    })
}

/// An address as this machine reaches it: that of all addresses stands for loopback.
fn reachable(addr: SocketAddr) -> SocketAddr {
    let ip = match addr.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, addr.port())
}

impl Running {
    /// Starts everything on an open house. A failure closes the house again.
    pub(crate) async fn start(
        house: OpenHouse,
        listener: TcpListener,
        settings: &Settings,
        extras: Extras,
    ) -> Result<Self, Failure> {
        let http = listener.local_addr().map_err(|error| Failure::System(error.to_string()))?;
        let service = Arc::clone(&house.service);
        let (link, face, refusals) = match to_broker(&house, settings).await {
            Ok(link) => link,
            Err(failure) => {
                service.stop().await;
                return Err(failure);
            }
        };
        let mqtt = match &house.broker {
            BrokerChoice::Embedded(_) => {
                SocketAddr::new(link.host.parse().unwrap_or(Ipv4Addr::LOCALHOST.into()), link.port).to_string()
            }
            BrokerChoice::External { url, .. } => url.to_string(),
        };
        let router = web::router(
            Arc::clone(&service),
            WebOptions {
                open_on_loopback: settings.http.open_on_loopback,
                broker: face,
                power_switch: extras.power_switch,
                demo: extras.demo,
                version: env!("CARGO_PKG_VERSION"),
            },
        );
        let mut running = Self {
            house,
            http: format!("http://{}", reachable(http)),
            mqtt,
            tasks: JoinSet::new(),
            courier: JoinSet::new(),
            soft: CancellationToken::new(),
            link: CancellationToken::new(),
            care: CancellationToken::new(),
        };
        let (soft, stop_link) = (running.soft.clone(), running.link.clone());
        running.tasks.spawn({
            let (service, soft) = (Arc::clone(&service), soft.clone());
            async move {
                service::run_scheduler(service, soft).await;
                "the scheduler"
            }
        });
        running.courier.spawn({
            let service = Arc::clone(&service);
            async move {
                courier::run(service, link, Some(refusals), stop_link).await;
                "the link to the broker"
            }
        });
        running.tasks.spawn(async move {
            if let Err(error) = web::serve(listener, router, soft).await {
                tracing::error!(%error, "HTTP has failed");
            }
            "HTTP"
        });
        running.take_care(settings);
        Ok(running)
    }

    /// Begins the regular care, in place of what was before.
    pub(crate) fn take_care(&mut self, settings: &Settings) {
        self.care.cancel();
        self.care = self.soft.child_token();
        let care = Care { backup_every: settings.backups.every(), retention: settings.retention.options() };
        // on its own: it ends and begins anew when the configuration is read again
        drop(tokio::spawn(service::run_care(Arc::clone(&self.house.service), care, self.care.clone())));
    }

    /// The front door.
    pub(crate) fn service(&self) -> &Arc<Service> {
        &self.house.service
    }

    /// Waits until HTTP answers and, with the embedded broker, the link to it is up.
    pub(crate) async fn ready(&mut self) -> Result<(), Failure> {
        let embedded = matches!(self.house.broker, BrokerChoice::Embedded(_));
        let mut said = Instant::now();
        let client = Client::new(&self.http, None, String::new());
        let mut http = false;
        loop {
            if !http {
                let client = client.clone();
                let asked = tokio::task::spawn_blocking(move || client.get("/healthz", &[]).is_ok());
                http = asked.await.unwrap_or(false);
            }
            if http && (!embedded || self.service().health().broker == LinkState::Up) {
                return Ok(());
            }
            if said.elapsed() > SAY {
                tracing::warn!(http, "still waiting for HTTP or the link to the embedded broker");
                said = Instant::now();
            }
            tokio::select! {
                failure = self.failed() => return Err(failure),
                () = tokio::time::sleep(LOOK) => {}
            }
        }
    }

    /// Waits until a task ends that should not.
    pub(crate) async fn failed(&mut self) -> Failure {
        let ended = tokio::select! {
            Some(ended) = self.tasks.join_next() => ended,
            Some(ended) = self.courier.join_next() => ended,
            else => std::future::pending().await,
        };
        match ended {
            Ok(name) => Failure::System(format!("{name} has ended by itself; the log says why")),
            Err(error) => Failure::System(format!("a part of the daemon has failed: {error}")),
        }
    }

    /// Stops in order: no more requests, then the link, then the broker, then the last commit.
    pub(crate) async fn stop(mut self) {
        self.soft.cancel();
        while self.tasks.join_next().await.is_some() {}
        self.link.cancel();
        while self.courier.join_next().await.is_some() {}
        if let BrokerChoice::Embedded(side) = &self.house.broker {
            side.stop().await;
        }
        self.house.service.stop().await;
    }
}

type Link = (courier::Options, BrokerFace, mpsc::Receiver<courier::Refused>);

/// Starts the embedded broker where it is used, and says how the courier and the fixtures reach the broker.
async fn to_broker(house: &OpenHouse, settings: &Settings) -> Result<Link, Failure> {
    let (told, refusals) = mpsc::channel(REFUSALS);
    let (host, port, username, password, client_id, face_host) = match &house.broker {
        BrokerChoice::External { url, username, password } => {
            let password = password.as_ref().map(|password| password.reveal().to_owned());
            let client_id = settings.broker.client_id.clone();
            (url.host.clone(), url.port, username.clone(), password, client_id, url.host.clone())
        }
        BrokerChoice::Embedded(side) => {
            // whoever was connected to the broker of the last start is not connected to this one
            match house.service.forget_connections().await {
                Ok(0) => {}
                Ok(fixtures) => tracing::info!(fixtures, "silent until they connect anew"),
                Err(error) => tracing::warn!(%error, "fixtures that do not come back may look as if they were there"),
            }
            let broker = start_embedded(house, &settings.mqtt, told).await?;
            let addr = broker.local_addr();
            let secret = broker.daemon_secret().to_owned();
            side.began(broker).await;
            let face = face_host(&settings.mqtt, addr);
            let client_id = broker::DAEMON_CLIENT_ID.to_owned();
            let host = reachable(addr).ip().to_string();
            (host, addr.port(), Some(DAEMON_USERNAME.to_owned()), Some(secret), client_id, face)
        }
    };
    let prefix = house.prefix.as_str().to_owned();
    let face = BrokerFace { host: face_host, port, prefix: prefix.clone() };
    let options = courier::Options {
        host,
        port,
        username,
        password,
        client_id,
        prefix,
        resend_first: settings.broker.first_pause(),
        resend_longest: settings.broker.longest_pause(),
    };
    Ok((options, face, refusals))
}

/// The name or address that controllers are told.
fn face_host(mqtt: &Mqtt, addr: SocketAddr) -> String {
    match &mqtt.host {
        Some(host) => host.clone(),
        None if addr.ip().is_unspecified() => own_address(),
        None => addr.ip().to_string(),
    }
}

/// This machine's address on its network, or its name when it has none. No packet is sent: connecting a datagram
/// socket only asks the system by which of its addresses it would go (the other end is of RFC 5737's examples).
fn own_address() -> String {
    let by_route = std::net::UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))
        .and_then(|socket| socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).and_then(|()| socket.local_addr()))
        .map(|addr| addr.ip());
    match by_route {
        Ok(ip) if !ip.is_loopback() && !ip.is_unspecified() => ip.to_string(),
        _ => rustix::system::uname().nodename().to_string_lossy().into_owned(),
    }
}

async fn start_embedded(
    house: &OpenHouse,
    mqtt: &Mqtt,
    told: mpsc::Sender<courier::Refused>,
) -> Result<Embedded, Failure> {
    let (refusals, heard) = mpsc::channel(REFUSALS);
    let count = |value: u32| usize::try_from(value).unwrap_or(usize::MAX);
    let options = broker::Options {
        listen: mqtt.listen,
        websocket: mqtt.websocket,
        prefix: house.prefix.clone(),
        max_packet_bytes: count(mqtt.max_packet_bytes),
        max_connections: count(mqtt.max_connections),
        connections_per_address: count(mqtt.connections_per_address),
        failed_logins_per_minute: mqtt.failed_logins_per_minute,
        refusals: Some(refusals),
        ..broker::Options::default()
    };
    let started = Embedded::start(options, Arc::new(Admission(Arc::clone(&house.service)))).await;
    let broker = started.map_err(|error| address_failure(error, mqtt))?;
    // ends when the broker is gone
    drop(tokio::spawn(pass_on(heard, told)));
    Ok(broker)
}

fn address_failure(error: BrokerError, mqtt: &Mqtt) -> Failure {
    let (addr, why) = match error {
        BrokerError::AddressInUse { addr } => (addr, "the address is in use".to_owned()),
        BrokerError::Bind { addr, source } => (addr, source.to_string()),
        other => return Failure::Broker(other.to_string()),
    };
    let flag = if Some(addr) == mqtt.websocket { "mqtt.websocket" } else { "--mqtt" };
    Failure::Address { what: "the broker", addr, why, flag }
}

async fn pass_on(mut heard: mpsc::Receiver<Refusal>, told: mpsc::Sender<courier::Refused>) {
    while let Some(Refusal { fixture, topic, action }) = heard.recv().await {
        let action = match action {
            Action::Publish => "publish",
            Action::Subscribe => "subscribe",
            Action::Will => "will",
        };
        // one that finds the channel full is dropped: a fixture that keeps asking is told again
        let _ = told.try_send(courier::Refused { fixture, topic, action });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_addresses_are_reached_on_loopback() {
        for (addr, reached) in
            [("0.0.0.0:80", "127.0.0.1:80"), ("[::]:80", "[::1]:80"), ("192.168.1.9:80", "192.168.1.9:80")]
        {
            assert_eq!(reachable(addr.parse().unwrap()).to_string(), reached);
        }
    }

    #[test]
    fn controllers_are_told_the_configured_name_first_and_never_that_of_all_addresses() {
        let named = Mqtt { host: Some("lights.lan".into()), ..Mqtt::default() };
        let all: SocketAddr = "0.0.0.0:1883".parse().unwrap();
        assert_eq!(face_host(&named, all), "lights.lan");
        assert_eq!(face_host(&Mqtt::default(), "192.168.1.9:1".parse().unwrap()), "192.168.1.9");
        let told = face_host(&Mqtt::default(), all);
        assert!(!told.is_empty() && told != "0.0.0.0");
    }
}
