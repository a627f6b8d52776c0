//! What time alone brings: simulated fixtures that follow their agenda with nobody there, and a daemon that tells the
//! others when it is due. Fixtures go by a clock that the tests move, and so does the house where it has to.

use std::future::Future;
use std::time::Duration;

use almanac::Place;
use device::{DeviceLook, Layout, Output};
use jiff::{SignedDuration, Timestamp};
use light::{LookDuty, look_duty};
use serde_json::{Value, json};
use service::Standing;
use simulator::{Chip, Clock, Currents, Firmware, Fixture, FixtureOptions, FixtureState, Strip};
use testkit::{Daemon, DaemonOptions, House, PATIENCE, eventually};

use crate::SCONCED;

async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, future).await.unwrap_or_else(|_| panic!("waited {PATIENCE:?} in vain for {what}"))
}

/// A simulated fixture on a clock that stands still.
fn simulated(id: &str, secret: &str, broker: (String, u16), firmware: Firmware) -> (Fixture, Clock) {
    let clock = Clock::manual();
    let options = FixtureOptions { firmware, clock: clock.clone(), ..FixtureOptions::new(id, secret, broker) };
    (Fixture::start(options), clock)
}

/// The time by the fixture's own clock.
async fn time_of(fixture: &Fixture) -> Timestamp {
    let frame = within("a frame", fixture.frame()).await.expect("it has power");
    Timestamp::from_millisecond(frame.unix_ms.try_into().unwrap()).unwrap()
}

/// Moves the fixture's clock on to `to`, and gives what it shows then.
async fn move_on(fixture: &Fixture, clock: &Clock, to: Timestamp) -> FixtureState {
    let left = to.duration_since(time_of(fixture).await);
    clock.advance(Duration::try_from(left).unwrap_or_else(|_| panic!("the fixture's clock is past {to}")));
    // whoever has its frame of an instant finds its state no older
    assert_eq!(time_of(fixture).await, to);
    fixture.state()
}

/// Moves the clock to a millisecond before `at`, where `before` still shows, and to `at`, where `after` does.
async fn see_change(fixture: &Fixture, clock: &Clock, at: Timestamp, before: &str, after: &str) {
    let state = move_on(fixture, clock, at - SignedDuration::from_millis(1)).await;
    assert_eq!(state.look.as_deref(), Some(before), "before {at}");
    let state = move_on(fixture, clock, at).await;
    assert_eq!(state.look.as_deref(), Some(after), "at {at}");
}

fn second(at: u64) -> Timestamp {
    Timestamp::from_second(at.try_into().unwrap()).unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_fixture_changes_twice_while_daemon_and_broker_are_stopped_and_is_in_step_when_they_are_back() {
    let site = [("LATITUDE", "52.37"), ("LONGITUDE", "4.9"), ("ZONE", "Europe/Amsterdam")];
    let env = site.map(|(name, value)| (format!("SCONCED_SITE__{name}"), value.to_owned())).to_vec();
    let mut daemon = Daemon::start(SCONCED, DaemonOptions { env, ..DaemonOptions::default() });
    daemon.keep_addresses();
    daemon.add("hall");
    let desired = json!({
        "looks": {"by-day": {"kelvin": 4000}, "by-night": {"kelvin": 2000, "intensity": 20}},
        "timetable": [{"start": "07:30", "look": "by-day"}, {"start": "19:30", "look": "by-night"}]
    });
    let answer = daemon.http().patch("/v1/fixtures/hall/desired", &desired);
    assert_eq!(answer.status, 200, "{answer:?}");
    let (fixture, clock) = simulated("hall", &daemon.enrol("hall"), daemon.mqtt.clone(), Firmware::Agenda);
    let held = within("its agenda", fixture.wait_for(|state| state.clock_set && state.agenda.len() > 2)).await;
    eventually("in step", || (standing(&daemon) == "in-step").then_some(()));

    assert_eq!(daemon.stop(), 0);
    within("the end of the link", fixture.wait_for(|state| !state.connected)).await;
    for pair in held.agenda.windows(2).take(2) {
        let [(_, before), (at, after)] = pair else { panic!("two of a window") };
        see_change(&fixture, &clock, second(*at), before, after).await;
    }
    assert_eq!(fixture.state().changes, 2);
    assert!(!fixture.state().connected, "the broker was there");

    daemon.restart();
    eventually("in step again", || (standing(&daemon) == "in-step").then_some(()));
    // the daemon's own clock was never moved: the fixture takes its time again, and shows what holds by that
    let (moved_to, _) = held.agenda[2];
    let back = async {
        while time_of(&fixture).await >= second(moved_to) {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    };
    within("the time of the daemon", back).await;
    let (state, now) = (fixture.state(), time_of(&fixture).await);
    let holds = state.agenda.iter().rfind(|(at, _)| second(*at) <= now);
    assert_eq!(state.look.as_ref(), holds.map(|(_, look)| look));
    assert_eq!((state.rev, state.boots), (held.rev, 1));
    within("its goodbye", fixture.stop()).await;
}

fn standing(daemon: &Daemon) -> String {
    daemon.http().get("/v1/fixtures/hall").json["standing"].as_str().unwrap().to_owned()
}

/// The UTC of a wall time in London. Source: `tests/check-values/civil-time.csv`, which applies RFC 5545, section 3.3.5,
/// by Python's `zoneinfo`.
fn london(wall: &str) -> Timestamp {
    let table = include_str!("../check-values/civil-time.csv");
    let row = table.lines().find_map(|line| line.strip_prefix("Europe/London,")?.strip_prefix(wall)?.strip_prefix(','));
    row.unwrap_or_else(|| panic!("no row of {wall}")).split(',').nth(1).unwrap().parse().unwrap()
}

/// The bytes of what a fixture should show at an instant, by the house's reckoning, on the usual strip.
fn foreseen_frame(house: &House, name: &str, at: Timestamp) -> Vec<u8> {
    let shown = house.service().shown(&house.fixture(name), at).unwrap().shown;
    let strip = Strip::default();
    let output = Output::new(strip.chip, Layout::straight(0, strip.pixels));
    let mut bytes = vec![0; output.bytes()];
    let unix_ms = at.as_millisecond().try_into().unwrap();
    output.frame(&DeviceLook::from(&shown.compiled), unix_ms, &mut bytes).unwrap();
    output.limit(&mut bytes, &strip.currents, strip.first_ceiling_milliamps);
    bytes
}

/// Lets a fixture with a floor go alone through a night in London in which clocks are set, from six to noon.
async fn alone_through_the_night(evening: &str, noon: &str, walls: &[&str]) {
    let place = Place::new(51.51, -0.13, "Europe/London").unwrap();
    let mut house = House::start(evening.parse().unwrap(), Some(place.clone())).await;
    let timetable: Vec<Value> = walls
        .iter()
        .enumerate()
        .map(|(index, wall)| {
            let (_, time) = wall.split_once('T').unwrap();
            json!({"start": time, "look": format!("look-{index}")})
        })
        .collect();
    let looks: Value = (0..walls.len())
        .map(|n| (format!("look-{n}"), json!({"kelvin": 2000 + 500 * n, "intensity": 40, "span": [0.0, 0.3]})))
        .collect();
    let secret = house
        .add_strip("stairs", json!({"floor": 10, "default": "look-0", "looks": looks, "timetable": timetable}))
        .await;
    let (fixture, clock) = simulated("stairs", &secret, house.mqtt(), Firmware::Agenda);
    within("its agenda", fixture.wait_for(|state| state.rev > 0 && state.clock_set)).await;
    house.until("stairs", "in step", |fixture| Standing::of(fixture) == Standing::InStep).await;
    assert_eq!(time_of(&fixture).await, house.now());
    let state = fixture.state();
    assert!(state.floored, "the sun has set");
    let to = house.now() + SignedDuration::from_hours(48);
    let dark = almanac::dark_hours(&place, house.now(), to);
    assert_eq!(state.dark.len(), dark.len());
    for (told, reckoned) in state.dark.iter().zip(&dark) {
        for (told, reckoned) in [(told.0, reckoned.0), (told.1, reckoned.1)] {
            assert!(second(told).duration_since(reckoned).abs() <= SignedDuration::from_secs(1), "{dark:?}");
        }
    }

    let noon: Timestamp = noon.parse().unwrap();
    let foreseen: Vec<Vec<u8>> =
        walls.iter().map(|wall| london(wall)).chain([noon]).map(|at| foreseen_frame(&house, "stairs", at)).collect();

    house.stop().await;
    within("the end of the link", fixture.wait_for(|state| !state.connected)).await;
    let mut before = state.look.unwrap();
    for ((index, wall), frame) in walls.iter().enumerate().zip(&foreseen) {
        let after = format!("look-{index}");
        see_change(&fixture, &clock, london(wall), &before, &after).await;
        assert!(fixture.state().floored, "at {wall} it is night");
        assert_eq!(&fixture.frame().await.unwrap().bytes, frame, "at {wall}");
        before = after;
    }
    let state = move_on(&fixture, &clock, noon).await;
    assert_eq!((state.look.as_ref(), state.floored), (Some(&before), false));
    assert_eq!(Some(&fixture.frame().await.unwrap().bytes), foreseen.last());
    let walls = u64::try_from(walls.len()).unwrap();
    assert_eq!(state.changes, walls + 1, "each entry once, and the sunrise");

    house.set_clock(noon);
    house.begin().await;
    house.until("stairs", "in step", |fixture| Standing::of(fixture) == Standing::InStep).await;
    assert_eq!(fixture.state().rev, house.fixture("stairs").desired.revision.get());
    within("its goodbye", fixture.stop()).await;
    house.stop().await;
}

#[tokio::test]
async fn alone_in_the_night_of_an_hour_that_comes_twice_each_entry_begins_once() {
    let walls = ["2026-10-25T00:59:59", "2026-10-25T01:30:00", "2026-10-25T02:30:00"];
    alone_through_the_night("2026-10-24T18:00:00Z", "2026-10-25T12:00:00Z", &walls).await;
}

#[tokio::test]
async fn alone_in_the_night_of_an_hour_that_is_left_out_its_entry_begins_all_the_same() {
    let walls = ["2026-03-29T00:59:59", "2026-03-29T01:30:00"];
    alone_through_the_night("2026-03-28T19:00:00Z", "2026-03-29T12:00:00Z", &walls).await;
}

#[tokio::test]
async fn firmware_that_knows_showing_alone_is_told_at_the_change_and_not_before() {
    let start: Timestamp = "2026-06-10T12:00:00Z".parse().unwrap();
    let place = Place::new(51.51, -0.13, "Europe/London").unwrap();
    let mut house = House::start(start, Some(place)).await;
    let desired = json!({
        "looks": {"by-day": {"kelvin": 4000}, "by-night": {"kelvin": 2000}},
        "timetable": [{"start": "08:00", "look": "by-day"}, {"start": "20:00:30", "look": "by-night"}]
    });
    let secret = house.add_strip("landing", desired.clone()).await;
    let (fixture, clock) = simulated("landing", &secret, house.mqtt(), Firmware::Showing);
    within("the first look", fixture.wait_for(|state| state.look.as_deref() == Some("by-day"))).await;
    house.until("landing", "in step", |fixture| Standing::of(fixture) == Standing::InStep).await;
    // past the rest that it keeps between the look of its power-on and this one
    clock.advance(Duration::from_secs(2));
    let day = within("its picture", fixture.frame()).await.unwrap();

    // British summer time is an hour ahead of UTC
    let change: Timestamp = "2026-06-10T19:00:30Z".parse().unwrap();
    house.set_clock(change - SignedDuration::from_millis(2));
    // once the broker has this, it would have whatever else was due
    house.add_strip("porch", desired).await;
    assert_eq!(house.now(), change - SignedDuration::from_millis(1));
    assert_eq!(fixture.state().look.as_deref(), Some("by-day"));
    house.set_clock(change);
    let state = within("the change", fixture.wait_for(|state| state.look.as_deref() == Some("by-night"))).await;
    let showing = state.showing.unwrap();
    assert_eq!(showing["now_ms"], json!(change.as_millisecond()), "it was sent before it was due");
    assert_eq!(showing["because"], json!("timetable"));
    assert_eq!(showing["until"], json!("2026-06-11T07:00:00Z".parse::<Timestamp>().unwrap().as_second()));
    assert_ne!(within("its picture", fixture.frame()).await.unwrap().bytes, day.bytes);
    assert_eq!(state.rev, house.fixture("landing").desired.revision.get(), "time made a revision");

    // the clock is put back: whoever comes then is told what holds by that
    within("the cut", fixture.cut_power()).await;
    house.set_clock(change - SignedDuration::from_hours(1));
    house.until_published().await;
    fixture.restore_power().await;
    let state = within("the day again", fixture.wait_for(|state| state.boot_answer.is_some())).await;
    assert_eq!(state.look.as_deref(), Some("by-day"));
    within("its goodbye", fixture.stop()).await;
    house.stop().await;
}

#[tokio::test]
async fn the_current_that_a_fixture_reports_is_the_one_foreseen_for_its_look_and_makes_no_history() {
    let mut house = House::start("2026-06-10T12:00:00Z".parse().unwrap(), None).await;
    let desired = json!({
        "default": "evening", "looks": {"evening": {"colours": ["gold", "#3fb6a8"], "intensity": 55, "span": [0.1, 0.8]}}
    });
    let secret = house.add_strip("hall", desired).await;
    house.edit_record("hall", json!({"volatile": ["/rssi", "/milliamps"]})).await;
    let strip = Strip {
        currents: Currents { channels: [1_600, 1_400, 1_100, 0], idle: 80 },
        first_ceiling_milliamps: 20_000,
        ..Strip::new(Chip::Ws2812b, 300)
    };
    let clock = Clock::manual();
    let options = FixtureOptions::new("hall", secret, house.mqtt());
    let fixture = Fixture::start(FixtureOptions { strip: strip.clone(), clock: clock.clone(), ..options });
    within("its look", fixture.wait_for(|state| state.look.as_deref() == Some("evening"))).await;
    let before = house.until("hall", "in step", |fixture| Standing::of(fixture) == Standing::InStep).await;

    // past the rest that it keeps between the look of its power-on and this one
    clock.advance(Duration::from_secs(1));
    let reported = within("its current", fixture.report_current()).await.unwrap();
    let after = house.until("hall", "its current", |fixture| fixture.reported.value().get("milliamps").is_some()).await;
    assert_eq!(after.reported.value()["milliamps"], json!(reported));
    assert_eq!(after.reported.revision, before.reported.revision, "a reading made history");
    assert_eq!(Standing::of(&after), Standing::InStep);

    let shown = house.service().shown(&after, house.now()).unwrap().shown;
    let LookDuty { mean, peak } = look_duty(&DeviceLook::from(&shown.compiled), 300);
    assert_eq!(mean, peak, "it holds still");
    let lit: f64 = mean.iter().zip(strip.currents.channels).map(|(duty, full)| duty * f64::from(full)).sum();
    let foreseen = 300.0 * (lit + 80.0) / 100.0;
    // half a step of 8 bits in every channel of the 210 pixels that are lit, and of a milliampere
    let rounding = 210.0 * 41.0 / 255.0 / 2.0 + 0.5;
    assert!((reported as f64 - foreseen).abs() <= rounding, "{reported} mA are reported, {foreseen} foreseen");
    within("its goodbye", fixture.stop()).await;
    house.stop().await;
}
