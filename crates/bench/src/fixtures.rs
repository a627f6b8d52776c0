//! Fixtures as far as they are measured: they log in, learn their revision, boot, report, and come back after a cut.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::sync::{Barrier, Semaphore};
use tokio::task::JoinSet;
use tokio::time::MissedTickBehavior;

use crate::error::BenchError;
use crate::history::{SECRET, name};
use crate::load::Load;
use crate::machine::nanoseconds;
use crate::mqtt::Mqtt;
use crate::packet::{Packet, Will};

/// Connections that are being made at one time. More would overflow the system's queue of those not accepted yet, and
/// what overflows is tried again only after a second: that would be measured in place of daemon and broker.
const CONNECTING: usize = 1024;
/// Reports of one fixture that the broker has not acknowledged yet, at most.
const UNACKNOWLEDGED: u32 = 16;
/// A tick later than this is late: what waits is counted from when it should have been sent.
const LATE: Duration = Duration::from_millis(2);

/// One fixture on its connection.
#[derive(Debug)]
pub(crate) struct Fixture {
    mqtt: Mqtt,
    boot: String,
    reported: String,
    have: u64,
    boots: u64,
    reports: u64,
}

/// The revision with which a `desired` message begins.
pub(crate) fn revision(payload: &[u8]) -> Option<u64> {
    let digits = payload.strip_prefix(b"{\"rev\":")?;
    let end = digits.iter().position(|byte| !byte.is_ascii_digit())?;
    std::str::from_utf8(digits.get(..end)?).ok()?.parse().ok()
}

impl Fixture {
    /// Logs in and subscribes to its `desired` topic.
    async fn connect(address: SocketAddr, number: usize) -> Result<Self, BenchError> {
        let id = name(number);
        let alive = format!("fixtures/{id}/alive");
        let will = Will { topic: &alive, payload: b"{\"alive\":false}" };
        let mut mqtt = Mqtt::connect(address, &id, SECRET, Some(will)).await?;
        mqtt.subscribe(&format!("fixtures/{id}/desired")).await?;
        let topic = |what: &str| format!("fixtures/{id}/{what}");
        Ok(Self { mqtt, boot: topic("boot"), reported: topic("reported"), have: 0, boots: 0, reports: 0 })
    }

    /// Logs in and takes its revision from the retained message.
    pub(crate) async fn in_step(address: SocketAddr, number: usize) -> Result<Self, BenchError> {
        let mut fixture = Self::connect(address, number).await?;
        let (payload, _) = fixture.mqtt.publication().await?;
        fixture.have = revision(fixture.mqtt.bytes(payload)).unwrap_or(0);
        fixture.mqtt.flush().await?;
        Ok(fixture)
    }

    /// Boots, and waits for the answer; what was stored is passed over.
    pub(crate) async fn boot(&mut self) -> Result<(), BenchError> {
        self.boots += 1;
        let Self { have, boots, .. } = self;
        let payload = format!(
            "{{\"reason\":\"power-on\",\"have\":{have},\"firmware\":\"2.1.0\",\"boots\":{boots},\"rssi\":-61}}"
        );
        self.mqtt.publish(&self.boot, payload.as_bytes());
        self.mqtt.flush().await?;
        loop {
            let (payload, stored) = self.mqtt.publication().await?;
            if !stored {
                self.have = revision(self.mqtt.bytes(payload)).unwrap_or(self.have);
                return Ok(());
            }
        }
    }

    /// Says that it has taken its desired document as given.
    async fn report_taken(&mut self) -> Result<(), BenchError> {
        let payload = format!("{{\"rev\":{}}}", self.have);
        self.mqtt.publish(&self.reported, payload.as_bytes());
        self.mqtt.flush().await
    }

    /// Reports `times` times, each time something new, and waits until the broker has all.
    async fn report(&mut self, times: u32) -> Result<(), BenchError> {
        let (mut sent, mut acknowledged) = (0, 0);
        while acknowledged < times {
            while sent < times && sent - acknowledged < UNACKNOWLEDGED {
                self.reports += 1;
                let payload = format!("{{\"rev\":{},\"patch\":{{\"lit_hours\":{}}}}}", self.have, self.reports);
                self.mqtt.publish(&self.reported, payload.as_bytes());
                sent += 1;
            }
            self.mqtt.flush().await?;
            match self.mqtt.next().await? {
                Packet::PubAck(_) => acknowledged += 1,
                Packet::Publish { id: Some(id), .. } => self.mqtt.acknowledge(id),
                _ => {}
            }
        }
        Ok(())
    }

    /// The revision that it holds.
    pub(crate) fn held(&self) -> u64 {
        self.have
    }

    /// Waits for the message of a revision at least as new, and holds it.
    pub(crate) async fn arrival(&mut self, wanted: u64) -> Result<(), BenchError> {
        loop {
            let (payload, _) = self.mqtt.publication().await?;
            let come = revision(self.mqtt.bytes(payload)).unwrap_or(0);
            self.mqtt.flush().await?;
            if come >= wanted {
                self.have = come;
                return Ok(());
            }
        }
    }
}

/// Connects fixtures 1 to `count`, each with its revision.
pub(crate) async fn connect(address: SocketAddr, count: usize) -> Result<Vec<Fixture>, BenchError> {
    let room = Arc::new(Semaphore::new(CONNECTING));
    let mut tasks = JoinSet::new();
    for number in 1..=count {
        let room = Arc::clone(&room);
        tasks.spawn(async move {
            let _place = room.acquire().await;
            Fixture::in_step(address, number).await
        });
    }
    gather(tasks).await
}

/// Connects fixtures 1 to `count` to a broker that has nothing stored for them.
pub(crate) async fn connect_quiet(address: SocketAddr, count: usize) -> Result<Vec<Fixture>, BenchError> {
    let mut fixtures = Vec::with_capacity(count);
    for number in 1..=count {
        fixtures.push(Fixture::connect(address, number).await?);
    }
    Ok(fixtures)
}

/// The bytes of the message that the broker has stored for the first fixture on a topic of its own.
pub(crate) async fn stored_bytes(address: SocketAddr, what: &str) -> Result<usize, BenchError> {
    let id = name(1);
    let mut mqtt = Mqtt::connect(address, &id, SECRET, None).await?;
    mqtt.subscribe(&format!("fixtures/{id}/{what}")).await?;
    Ok(mqtt.publication().await?.0.len())
}

/// What every task gives.
async fn gather<T: 'static>(mut tasks: JoinSet<Result<T, BenchError>>) -> Result<Vec<T>, BenchError> {
    let mut all = Vec::with_capacity(tasks.len());
    while let Some(ended) = tasks.join_next().await {
        all.push(ended.map_err(|error| BenchError::unexpected("a fixture", error.to_string()))??);
    }
    Ok(all)
}

/// Lets all fixtures boot again and again for `length`, each at once when it was answered; or, with a `period`, each
/// once a period, evenly spread.
pub(crate) async fn boots(
    fixtures: &mut Vec<Fixture>,
    length: Duration,
    period: Option<Duration>,
) -> Result<Load, BenchError> {
    let count = fixtures.len();
    let ready = Arc::new(Barrier::new(count + 1));
    let mut tasks = JoinSet::new();
    for (index, mut fixture) in fixtures.drain(..).enumerate() {
        let ready = Arc::clone(&ready);
        tasks.spawn(async move {
            ready.wait().await;
            let first = Instant::now();
            let mut ticks = period.map(|period| {
                let share = period.mul_f64(index as f64 / count as f64);
                let mut ticks = tokio::time::interval_at(tokio::time::Instant::from_std(first + share), period);
                ticks.set_missed_tick_behavior(MissedTickBehavior::Burst);
                ticks
            });
            let mut taken = Vec::with_capacity(1024);
            while first.elapsed() < length {
                let began = match &mut ticks {
                    None => Instant::now(),
                    Some(ticks) => {
                        let tick = ticks.tick().await.into_std();
                        let now = Instant::now();
                        // timers are a millisecond coarse; a boot that had to wait for an answer counts its wait
                        if now.duration_since(tick) > LATE { tick } else { now }
                    }
                };
                fixture.boot().await?;
                taken.push(nanoseconds(began));
            }
            Ok((fixture, taken))
        });
    }
    ready.wait().await;
    let began = Instant::now();
    let mut load = Load::default();
    for (fixture, taken) in gather(tasks).await? {
        fixtures.push(fixture);
        load.taken.extend(taken);
    }
    load.length = began.elapsed();
    Ok(load)
}

/// Lets each fixture send so many reports; returns when the broker has all.
pub(crate) async fn reports(fixtures: &mut Vec<Fixture>, each: u32) -> Result<(), BenchError> {
    let mut tasks = JoinSet::new();
    for mut fixture in fixtures.drain(..) {
        tasks.spawn(async move {
            fixture.report(each).await?;
            Ok(fixture)
        });
    }
    *fixtures = gather(tasks).await?;
    Ok(())
}

/// All fixtures drop at once and come back at once, holding nothing: seconds until the last has its answer. Each then
/// reports that it took it, as a fixture does.
pub(crate) async fn storm(address: SocketAddr, fixtures: &mut Vec<Fixture>) -> Result<f64, BenchError> {
    let count = fixtures.len();
    let room = Arc::new(Semaphore::new(CONNECTING));
    let began = Instant::now();
    // no DISCONNECT: the broker publishes each one's last will
    fixtures.clear();
    let mut tasks = JoinSet::new();
    for number in 1..=count {
        let room = Arc::clone(&room);
        tasks.spawn(async move {
            let place = room.acquire_owned().await;
            let mut fixture = Fixture::connect(address, number).await?;
            drop(place);
            fixture.boot().await?;
            let answered = began.elapsed();
            fixture.report_taken().await?;
            Ok((fixture, answered))
        });
    }
    let mut last = Duration::ZERO;
    for (fixture, answered) in gather(tasks).await? {
        fixtures.push(fixture);
        last = last.max(answered);
    }
    Ok(last.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_tells_its_revision_first() {
        assert_eq!(revision(br#"{"rev":42,"now_ms":1}"#), Some(42));
        for other in [&b""[..], b"{}", b"{\"rev\":", b"{\"rev\":x}", b"{\"rev\":7"] {
            assert_eq!(revision(other), None);
        }
    }
}
