//! Overrides end by the clock, whatever the clock does.

use std::sync::Arc;

use serde_json::json;
use service::{Service, run_scheduler};
use store::{Direction, Filter};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::rig::{Rig, id, owner, second, until};

pub(crate) fn start(service: &Arc<Service>) -> (CancellationToken, JoinHandle<()>) {
    let stop = CancellationToken::new();
    (stop.clone(), tokio::spawn(run_scheduler(Arc::clone(service), stop)))
}

pub(crate) async fn stopped((stop, task): (CancellationToken, JoinHandle<()>)) {
    stop.cancel();
    task.await.unwrap();
}

async fn house(names: &[&str]) -> Rig {
    let rig = Rig::new().await;
    for name in names {
        rig.create(name, "strip").await;
        rig.merge(name, json!({"looks": {"greet": {"colours": ["gold"]}}})).await;
    }
    rig
}

async fn put_over(rig: &Rig, name: &str, until: i64) {
    let held = json!({"look": "greet", "until": second(until).to_string()});
    rig.service.put_override(id(name), Some(held), owner()).await.unwrap();
}

fn is_overridden(rig: &Rig, name: &str) -> bool {
    rig.desired(name).get("override").is_some()
}

/// Lets the scheduler do what it would do, before it is looked that nothing was done.
pub(crate) async fn settle() {
    for _ in 0..20 {
        tokio::time::sleep(std::time::Duration::from_millis(2)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_ends_on_time_as_a_revision_by_the_daemon_itself() {
    let rig = house(&["hall"]).await;
    let scheduler = start(&rig.service);
    put_over(&rig, "hall", 60).await;
    rig.clock.set(second(59));
    settle().await;
    assert!(is_overridden(&rig, "hall"), "not a second early");
    rig.clock.set(second(60));
    until("the override is cleared", || !is_overridden(&rig, "hall")).await;
    assert_eq!(rig.rev("hall"), 3);
    let page = rig.service.store().history(&Filter::default(), Direction::NewestFirst, None, 1).await.unwrap();
    let change = &page.changes[0];
    assert_eq!((change.by.as_str(), change.via.as_str(), change.at), ("sconced", "daemon", second(60)));
    assert_eq!(change.patch, json!({"override": null}));
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_that_ended_while_the_daemon_was_down_is_cleared_at_its_start() {
    let rig = house(&["hall", "jetty"]).await;
    put_over(&rig, "hall", 60).await;
    put_over(&rig, "jetty", 600).await;
    rig.clock.set(second(120));
    let rig = rig.reopened().await;
    assert!(is_overridden(&rig, "hall"), "nothing clears it but the scheduler");
    let scheduler = start(&rig.service);
    until("the override is cleared", || !is_overridden(&rig, "hall")).await;
    assert!(is_overridden(&rig, "jetty"));
    rig.clock.set(second(600));
    until("the other is cleared in its time", || !is_overridden(&rig, "jetty")).await;
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn many_overrides_end_each_in_its_time() {
    let names = ["a", "b", "c", "d"];
    let rig = house(&names).await;
    let scheduler = start(&rig.service);
    for (name, end) in names.iter().zip([40, 10, 30, 20]) {
        put_over(&rig, name, end).await;
    }
    for (end, left) in [(10, 3), (20, 2), (30, 1), (40, 0)] {
        rig.clock.set(second(end));
        let held = || names.iter().filter(|name| is_overridden(&rig, name)).count();
        until("one more is cleared", || held() == left).await;
    }
    assert_eq!(names.map(|name| rig.rev(name)), [3, 3, 3, 3]);
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_that_is_moved_or_released_ends_as_it_stands_now() {
    let rig = house(&["hall", "jetty"]).await;
    let scheduler = start(&rig.service);
    put_over(&rig, "hall", 60).await;
    put_over(&rig, "hall", 120).await;
    put_over(&rig, "jetty", 60).await;
    rig.service.put_override(id("jetty"), None, owner()).await.unwrap();
    rig.service.put_override(id("jetty"), Some(json!({"look": "greet", "until": null})), owner()).await.unwrap();
    rig.clock.set(second(60));
    settle().await;
    assert!(is_overridden(&rig, "hall") && is_overridden(&rig, "jetty"));
    rig.clock.set(second(120));
    until("the moved one is cleared", || !is_overridden(&rig, "hall")).await;
    rig.clock.set(second(9_000_000));
    settle().await;
    assert!(is_overridden(&rig, "jetty"), "held until it is released");
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_steps_back_makes_overrides_last_and_one_that_steps_on_ends_them() {
    let rig = house(&["hall", "jetty"]).await;
    let scheduler = start(&rig.service);
    put_over(&rig, "hall", 60).await;
    rig.clock.set(second(-3600));
    settle().await;
    assert!(is_overridden(&rig, "hall"));
    put_over(&rig, "jetty", -3000).await;
    rig.clock.set(second(-2999));
    until("the one set by the stepped clock ends by it", || !is_overridden(&rig, "jetty")).await;
    assert!(is_overridden(&rig, "hall"));
    rig.clock.set(second(1_000_000));
    until("a step forwards ends it", || !is_overridden(&rig, "hall")).await;
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_whose_end_passes_while_it_is_being_set_is_cleared_too() {
    let rig = house(&["hall"]).await;
    let scheduler = start(&rig.service);
    for n in 1..=30 {
        put_over(&rig, "hall", n * 10).await;
        // the scheduler has hardly heard of it yet
        rig.clock.set(second(n * 10));
        until("it is cleared", || !is_overridden(&rig, "hall")).await;
    }
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fixture_that_is_gone_leaves_no_deadline_behind() {
    let rig = house(&["hall", "jetty"]).await;
    let scheduler = start(&rig.service);
    put_over(&rig, "hall", 60).await;
    put_over(&rig, "jetty", 60).await;
    rig.service.delete(id("hall"), owner()).await.unwrap();
    rig.clock.set(second(60));
    until("the other is cleared", || !is_overridden(&rig, "jetty")).await;
    assert!(rig.service.house().get("hall").is_none());
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_that_could_not_be_cleared_is_tried_again() {
    let rig = house(&["hall"]).await;
    let scheduler = start(&rig.service);
    put_over(&rig, "hall", 60).await;
    let database = rig.service.store().path().to_owned();
    let shell = |sql: &str| {
        let done = std::process::Command::new("sqlite3")
            .arg(&database)
            .arg(format!("PRAGMA busy_timeout=60000; {sql}"))
            .output();
        done.map(|output| assert!(output.status.success(), "{output:?}"))
    };
    let fault = "CREATE TRIGGER fault BEFORE INSERT ON history WHEN NEW.by = 'sconced' BEGIN SELECT RAISE(ABORT, 'made to fail'); END;";
    if shell(fault).is_err() {
        let loud =
            "NOT RUN: the shell sqlite3 is not installed, so no commit was made to fail (apt-get install sqlite3)";
        assert!(std::env::var_os("CI").is_none_or(|ci| ci != "true"), "{loud}");
        eprintln!("{loud}");
        return;
    }
    rig.clock.set(second(60));
    settle().await;
    assert!(is_overridden(&rig, "hall"), "the commit fails");
    shell("DROP TRIGGER fault;").unwrap();
    // it is due again after half a minute; the clock goes on meanwhile
    let mut now = 60;
    until("it is cleared at last", || {
        now += 1;
        rig.clock.set(second(now));
        !is_overridden(&rig, "hall")
    })
    .await;
    stopped(scheduler).await;
}
