//! The daemon is killed in the midst of edits, and everything comes back as it was.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use serde_json::{Value, json};
use testkit::{Firmware, Http, eventually};

use crate::{checker, daemon};

const FIXTURES: [&str; 4] = ["hall", "stairs", "landing", "jetty"];
const CALLERS: usize = 8;
const ROUNDS: usize = 10;
/// Answered edits in a round before the daemon is killed.
const EDITS: usize = 120;

/// An edit that was answered.
#[derive(Debug, Clone)]
struct Answered {
    fixture: &'static str,
    revision: u64,
    member: String,
    value: u64,
}

#[test]
fn no_answered_edit_is_lost_when_the_daemon_is_killed_ten_times_among_edits_of_eight_callers() {
    let mut daemon = daemon();
    let mut secrets = BTreeMap::new();
    for id in FIXTURES {
        daemon.add(id);
        secrets.insert(id, daemon.enrol(id));
    }
    let mut answered: Vec<Answered> = Vec::new();
    for round in 0..ROUNDS {
        answered.extend(edit_until_killed(&mut daemon, round));
        daemon.restart();
        let held = checker::check(&daemon);
        let mut newest: BTreeMap<(&str, &str), &Answered> = BTreeMap::new();
        for edit in &answered {
            assert!(edit.revision <= held[edit.fixture].revision, "{edit:?} was answered and is lost");
            newest
                .entry((edit.fixture, &edit.member))
                .and_modify(|known| {
                    if known.revision < edit.revision {
                        *known = edit;
                    }
                })
                .or_insert(edit);
        }
        for edit in newest.values() {
            // each caller writes a member of its own, counting up; one edit beyond the answered one may have been
            // committed and killed before its answer
            let value = held[edit.fixture].document[&edit.member].as_u64().unwrap();
            assert!((edit.value..=edit.value + 1).contains(&value), "{edit:?}: the document has {value}");
        }
        for (id, desired) in &held {
            let answer = daemon.http().get(&format!("/v1/fixtures/{id}/desired"));
            assert_eq!((answer.revision(), &answer.json), (desired.revision, &desired.document));
        }
    }
    assert!(answered.len() >= ROUNDS * EDITS);
    let mut revisions: Vec<_> = answered.iter().map(|edit| (edit.fixture, edit.revision)).collect();
    revisions.sort_unstable();
    let count = revisions.len();
    revisions.dedup();
    assert_eq!(revisions.len(), count, "a revision was given to two edits");
    // retained state and boot answers agree with the documents
    daemon.wait_for_empty_outbox();
    for (id, desired) in checker::check(&daemon) {
        let firmware = Firmware::start(&daemon.mqtt, &id, &secrets[id.as_str()]);
        let retained = firmware.wait("desired", |heard| heard.retained);
        assert_eq!(
            (retained.json["rev"].as_u64(), &retained.json["document"]),
            (Some(desired.revision), &desired.document)
        );
        firmware.say("boot", &json!({"reason": "power-on", "have": 0}));
        let answer = firmware.wait("desired", |heard| !heard.retained);
        assert_eq!(
            (answer.json["rev"].as_u64(), &answer.json["document"]),
            (Some(desired.revision), &desired.document)
        );
    }
}

fn edit_until_killed(daemon: &mut testkit::Daemon, round: usize) -> Vec<Answered> {
    let url = daemon.url.clone();
    let killed = Arc::new(AtomicBool::new(false));
    let count = Arc::new(AtomicUsize::new(0));
    let answered = Arc::new(Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for caller in 0..CALLERS {
            let (url, killed, count, answered) = (&url, &killed, &count, &answered);
            scope.spawn(move || {
                let http = Http::new(url, None);
                let fixture = FIXTURES[caller % FIXTURES.len()];
                let member = format!("caller{caller}");
                let path = format!("/v1/fixtures/{fixture}/desired");
                let mut value =
                    http.try_send("GET", &path, &[], &[]).ok().map_or(0, |a| a.json[&member].as_u64().unwrap_or(0));
                while !killed.load(Ordering::Relaxed) {
                    value += 1;
                    let patch = json!({&member: value, "round": round}).to_string();
                    let headers = [("content-type", "application/merge-patch+json")];
                    match http.try_send("PATCH", &path, &headers, patch.as_bytes()) {
                        Ok(answer) => {
                            assert_eq!(answer.status, 200, "{answer:?}");
                            let edit = Answered { fixture, revision: answer.revision(), member: member.clone(), value };
                            answered.lock().unwrap().push(edit);
                            count.fetch_add(1, Ordering::Relaxed);
                        }
                        Err(_) => break, // killed: this edit was not answered
                    }
                }
            });
        }
        eventually("enough answered edits", || (count.load(Ordering::Relaxed) >= EDITS).then_some(()));
        daemon.kill();
        killed.store(true, Ordering::Relaxed);
    });
    Arc::try_unwrap(answered).unwrap().into_inner().unwrap()
}

#[test]
fn what_a_fixture_was_told_stays_told_when_the_daemon_stops_by_itself() {
    let mut daemon = daemon();
    daemon.keep_addresses();
    daemon.add("hall");
    let answer = daemon.http().patch("/v1/fixtures/hall/desired", &json!({"lit": false, "fade": 2.5}));
    assert_eq!(answer.status, 200);
    assert_eq!(daemon.stop(), 0);
    daemon.restart();
    let again = daemon.http().get("/v1/fixtures/hall/desired");
    assert_eq!(again.json, json!({"lit": false, "fade": 2.5}));
    assert_eq!(again.revision(), answer.revision());
    let history: Value = daemon.http().get("/v1/fixtures/hall/history?document=desired").json;
    assert_eq!(history["changes"].as_array().unwrap().len(), 1);
}
