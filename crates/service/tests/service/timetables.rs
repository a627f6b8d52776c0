//! What shows changes by the clock, whatever the clock does, and is published then.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use serde_json::{Value, json};
use service::{Actor, Command, Edit, FixtureId, Message, Paper, Precondition, Way};
use store::{Direction, Filter};
use tokio::task::JoinSet;

use crate::rig::{Rig, id, second, until};
use crate::scheduler::{settle, start, stopped};

const HOUR: i64 = 3_600;

/// Looks, and a timetable of these lines.
fn document(lines: &[(&str, &str)]) -> Value {
    let entries: Vec<Value> = lines.iter().map(|(start, look)| json!({"start": start, "look": look})).collect();
    json!({"looks": {"evening": {"kelvin": 2400}, "late": {"kelvin": 2000}}, "timetable": entries})
}

/// Noon in the house is 13:00 on the canal: late from 14:00 on, dark from 15:00, evening from 16:00.
fn afternoon() -> Value {
    document(&[("14:00", "late"), ("15:00", "dark"), ("16:00", "evening")])
}

async fn house(names: &[&str], document: &Value) -> Rig {
    let rig = Rig::new().await;
    for name in names {
        rig.create(name, "strip").await;
        rig.merge(name, document.clone()).await;
    }
    rig
}

/// Does what the courier does: takes what is due, makes it of what holds now, and acknowledges it.
async fn collect(rig: &Rig) -> Vec<(String, String)> {
    let mut told = Vec::new();
    for due in rig.service.outbox().take(usize::MAX) {
        let fixture = rig.service.house().by_key(due.key).unwrap();
        let shown = rig.service.shown(&fixture, rig.service.now()).unwrap();
        told.push((due.id.to_string(), shown.shown.showing.look));
        rig.service.published(due.key, due.ticket).await;
    }
    told
}

/// Waits for what is published next, so many fixtures of it.
async fn published(rig: &Rig, count: usize) -> Vec<(String, String)> {
    let mut told = Vec::new();
    let all = async {
        while told.len() < count {
            rig.service.outbox().came().await;
            told.extend(collect(rig).await);
        }
    };
    tokio::time::timeout(std::time::Duration::from_secs(120), all).await.expect("it is published");
    settle().await;
    told.extend(collect(rig).await);
    told.sort();
    told
}

fn told(list: &[(&str, &str)]) -> Vec<(String, String)> {
    list.iter().map(|(id, look)| ((*id).to_owned(), (*look).to_owned())).collect()
}

async fn nothing_is_published(rig: &Rig) {
    settle().await;
    assert_eq!(collect(rig).await, []);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_is_published_at_its_second_and_not_before() {
    let rig = house(&["hall"], &afternoon()).await;
    collect(&rig).await;
    let scheduler = start(&rig.service);
    // yesterday's evening holds still
    assert_eq!(published(&rig, 1).await, told(&[("hall", "evening")]), "renewed at the start");
    for (at, look) in [(1, "late"), (2, "dark"), (3, "evening")] {
        rig.clock.set(second(at * HOUR - 1));
        nothing_is_published(&rig).await;
        rig.clock.set(second(at * HOUR));
        assert_eq!(published(&rig, 1).await, told(&[("hall", look)]));
    }
    assert_eq!(rig.rev("hall"), 1, "nothing of it is an edit");
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_nights_on_which_clocks_are_put_on_and_back_have_their_changes_once() {
    // Source: RFC 5545 section 3.3.5: a wall time in the gap is read by the offset before it, one in the fold is the
    // first of the two. Amsterdam goes from +01:00 to +02:00 on 2026-03-29 and back on 2026-10-25, at 01:00 UTC.
    for (before, change, after) in [
        ("2026-03-29T00:59:59Z", "2026-03-29T01:30:00Z", "2026-03-29T05:00:00Z"),
        ("2026-10-24T23:00:00Z", "2026-10-25T00:30:00Z", "2026-10-25T05:00:00Z"),
    ] {
        let time = |text: &str| text.parse::<Timestamp>().unwrap();
        let rig = house(&["hall"], &document(&[("02:30", "late"), ("20:00", "evening")])).await;
        rig.clock.set(time(before));
        collect(&rig).await;
        let scheduler = start(&rig.service);
        assert_eq!(published(&rig, 1).await, told(&[("hall", "evening")]));
        rig.clock.set(time(change) - jiff::SignedDuration::from_secs(1));
        nothing_is_published(&rig).await;
        rig.clock.set(time(change));
        assert_eq!(published(&rig, 1).await, told(&[("hall", "late")]));
        rig.clock.set(time(after));
        nothing_is_published(&rig).await;
        stopped(scheduler).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_goes_on_by_hours_brings_what_holds_then_and_no_step_of_the_past() {
    let rig = house(&["hall"], &afternoon()).await;
    collect(&rig).await;
    let scheduler = start(&rig.service);
    published(&rig, 1).await;
    // over 14:00 and 15:00
    rig.clock.set(second(2 * HOUR + 1_800));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "dark")]), "once, and nothing late");
    // over all of three days
    rig.clock.set(second(74 * HOUR + 1_800));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "dark")]));
    rig.clock.set(second(75 * HOUR));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "evening")]));
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_set_back_brings_what_holds_then_and_each_change_again() {
    let rig = house(&["hall", "jetty"], &afternoon()).await;
    rig.merge("jetty", document(&[("23:00", "late")])).await;
    collect(&rig).await;
    let scheduler = start(&rig.service);
    published(&rig, 2).await;
    rig.clock.set(second(2 * HOUR));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "dark")]));
    // back to before both changes; jetty was published at noon, and what was said then is right now
    rig.clock.set(second(600));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "evening")]));
    rig.clock.set(second(HOUR));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "late")]));
    // back by a moment that changes nothing for anybody but who was published in it
    rig.clock.set(second(HOUR + 100));
    settle().await;
    rig.clock.set(second(HOUR + 50));
    nothing_is_published(&rig).await;
    rig.clock.set(second(2 * HOUR));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "dark")]));
    // before everything was published: all of it anew
    rig.clock.set(second(-5 * HOUR));
    assert_eq!(published(&rig, 2).await, told(&[("hall", "evening"), ("jetty", "late")]));
    // and as far on as it will go
    rig.clock.set("9999-01-01T00:00:00Z".parse().unwrap());
    assert_eq!(published(&rig, 2).await.len(), 2);
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn after_a_night_down_what_holds_is_published_and_an_override_of_the_evening_is_cleared() {
    let rig = house(&["hall", "jetty"], &afternoon()).await;
    let held = json!({"look": "late", "until": "next-change"});
    rig.service.put_override(id("hall"), Some(held), crate::rig::owner()).await.unwrap();
    collect(&rig).await;
    // its end is 14:00, and two changes come after it
    rig.clock.set(second(20 * HOUR));
    let rig = rig.reopened().await;
    let scheduler = start(&rig.service);
    until("the override is cleared", || rig.desired("hall").get("override").is_none()).await;
    assert_eq!(published(&rig, 2).await, told(&[("hall", "evening"), ("jetty", "evening")]));
    assert_eq!((rig.rev("hall"), rig.rev("jetty")), (3, 1));
    let page = rig.service.store().history(&Filter::default(), Direction::NewestFirst, None, 1).await.unwrap();
    assert_eq!((page.changes[0].by.as_str(), page.changes[0].via.as_str()), ("sconced", "daemon"));
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_override_until_the_next_change_ends_with_it_as_a_revision() {
    let rig = house(&["hall"], &afternoon()).await;
    let scheduler = start(&rig.service);
    let held = json!({"look": "evening", "until": "next-change"});
    rig.service.put_override(id("hall"), Some(held), crate::rig::owner()).await.unwrap();
    rig.clock.set(second(HOUR - 1));
    settle().await;
    assert!(rig.desired("hall").get("override").is_some());
    rig.clock.set(second(HOUR));
    until("the override is cleared", || rig.desired("hall").get("override").is_none()).await;
    settle().await;
    assert!(collect(&rig).await.contains(&("hall".into(), "late".into())));
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_agenda_is_renewed_before_it_runs_short() {
    // the next change is weeks away, and what holds is right until then
    let rig = house(&["hall"], &json!({"looks": {"late": {"kelvin": 2000}}})).await;
    let held = json!({"look": "late", "until": second(40 * 24 * HOUR).to_string()});
    rig.service.put_override(id("hall"), Some(held), crate::rig::owner()).await.unwrap();
    collect(&rig).await;
    let scheduler = start(&rig.service);
    published(&rig, 1).await;
    for day in 1..=3 {
        rig.clock.set(second(day * 24 * HOUR - 1));
        nothing_is_published(&rig).await;
        rig.clock.set(second(day * 24 * HOUR));
        assert_eq!(published(&rig, 1).await, told(&[("hall", "late")]));
    }
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_edit_is_followed_from_then_on_and_signs_of_life_change_nothing() {
    let rig = house(&["hall"], &afternoon()).await;
    let scheduler = start(&rig.service);
    published(&rig, 1).await;
    rig.merge("hall", document(&[("14:30", "late"), ("18:00", "evening")])).await;
    published(&rig, 1).await;
    for n in 1..20 {
        let message = Message::Event { event: "motion".into(), n };
        let hear = Command::Hear { id: id("hall"), message };
        rig.service.execute(hear, Actor::fixture("hall"), None).await.unwrap();
    }
    rig.clock.set(second(HOUR));
    nothing_is_published(&rig).await;
    rig.clock.set(second(HOUR + 1_800));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "late")]));
    // another place, other hours: 18:00 in Tokyo is long over
    let tokyo = json!({"place": {"latitude": 35.7, "longitude": 139.7, "zone": "Asia/Tokyo"}});
    rig.service.edit(id("hall"), Paper::Fixture, Edit::Merge(tokyo), crate::rig::owner()).await.unwrap();
    assert_eq!(published(&rig, 1).await, told(&[("hall", "evening")]));
    // 14:30 there is 05:30 UTC
    rig.clock.set(second(-6 * HOUR + 24 * HOUR - 1_801));
    nothing_is_published(&rig).await;
    rig.clock.set(second(-6 * HOUR + 24 * HOUR - 1_800));
    assert_eq!(published(&rig, 1).await, told(&[("hall", "late")]));
    rig.merge("hall", json!({"timetable": null})).await;
    published(&rig, 1).await;
    rig.clock.set(second(90 * HOUR));
    nothing_is_published(&rig).await;
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_that_comes_while_an_edit_is_made_is_published_too() {
    let rig = house(&["hall"], &document(&[("00:00", "dark")])).await;
    let scheduler = start(&rig.service);
    for n in 1..=30 {
        let (now, then) = (second(n * 60 - 1), second(n * 60));
        rig.clock.set(now);
        let wall = format!("13:{n:02}"); // noon in the house is 13:00 on the canal
        rig.merge("hall", document(&[("00:00", "dark"), (&wall, "late")])).await;
        // published as it was, and the scheduler has hardly heard of it yet
        collect(&rig).await;
        rig.clock.set(then);
        let late = async {
            while !collect(&rig).await.contains(&("hall".into(), "late".into())) {
                rig.service.outbox().came().await;
            }
        };
        tokio::time::timeout(std::time::Duration::from_secs(60), late).await.expect("the change is published");
    }
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nightfall_is_published_where_a_floor_is_kept() {
    let rig = house(&["hall"], &json!({"floor": 8})).await;
    collect(&rig).await;
    let scheduler = start(&rig.service);
    published(&rig, 1).await;
    let hall = rig.get("hall");
    let sunset = rig.service.agenda(&hall, second(0), second(24 * HOUR)).unwrap().changes[1].at;
    let floored = |at| rig.service.shown(&hall, at).unwrap().shown.compiled.floor;
    rig.clock.set(sunset - jiff::SignedDuration::from_secs(1));
    nothing_is_published(&rig).await;
    assert_eq!(floored(rig.service.now()), None);
    rig.clock.set(sunset);
    assert_eq!(published(&rig, 1).await.len(), 1);
    assert!(floored(sunset).is_some_and(|floor| floor[0] > 0));
    stopped(scheduler).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn of_fixtures_that_time_does_not_change_nothing_is_published_nor_kept() {
    let rig = house(&["hall", "jetty"], &json!({"looks": {"late": {"kelvin": 2000}}, "default": "late"})).await;
    rig.merge("jetty", afternoon()).await;
    collect(&rig).await;
    settle_the_outbox(&rig).await;
    let rig = rig.reopened().await;
    let scheduler = start(&rig.service);
    rig.service.outbox().came().await;
    settle().await;
    let due = rig.service.outbox().take(9);
    assert_eq!(due.iter().map(|due| due.id.as_str()).collect::<Vec<_>>(), ["jetty"]);
    for name in ["hall", "jetty"] {
        assert!(rig.get(name).outlook.get().is_none(), "{name} is read, and what was read is not kept");
    }
    stopped(scheduler).await;
}

/// Waits until nothing is left to be published after a restart.
async fn settle_the_outbox(rig: &Rig) {
    let outbox = rig.service.outbox();
    until("all of it is acknowledged", || outbox.is_empty()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn ten_thousand_fixtures_that_change_at_one_second_are_published_once_each() {
    const MANY: usize = 10_000;
    let rig = Rig::new().await;
    let by = || Actor::new("owner", Way::Http);
    let mut tasks = JoinSet::new();
    for part in 0..100 {
        let service = Arc::clone(&rig.service);
        tasks.spawn(async move {
            for n in 0..MANY / 100 {
                let name: FixtureId = format!("reed-{}", part * (MANY / 100) + n).parse().unwrap();
                let create = Command::Create { id: name.clone(), record: json!({}) };
                service.execute(create, by(), None).await.unwrap();
                let edit = Edit::Merge(document(&[("14:00", "late"), ("20:00", "evening")]));
                let edit = Command::Edit { id: name, paper: Paper::Desired, edit, precondition: Precondition::None };
                service.execute(edit, by(), None).await.unwrap();
            }
        });
    }
    while let Some(done) = tasks.join_next().await {
        done.unwrap();
    }
    collect(&rig).await;
    let scheduler = start(&rig.service);
    assert_eq!(published(&rig, MANY).await.len(), MANY);
    rig.clock.set(second(HOUR - 1));
    nothing_is_published(&rig).await;
    rig.clock.set(second(HOUR));
    let mut counts = BTreeMap::<String, usize>::new();
    for (name, look) in published(&rig, MANY).await {
        assert_eq!(look, "late");
        *counts.entry(name).or_default() += 1;
    }
    assert_eq!(counts.len(), MANY);
    assert!(counts.values().all(|count| *count == 1), "each of them once");
    stopped(scheduler).await;
}
