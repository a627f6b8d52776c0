//! A hundred fixtures, a thousand edits each: every one ends in step and nothing is left to publish.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use serde_json::{Map, Value, json};
use testkit::{Firmware, Http, eventually};

use crate::{checker, impatient_daemon};

const FIXTURES: usize = 100;
const EDITS: usize = 1000;
const CALLERS: usize = 32;

/// A controller that applies what it is given, newest only, and reports it.
fn serve(firmware: &Firmware, done: &AtomicBool) {
    let (mut have, mut document, mut looked_at) = (0, Value::Object(Map::new()), 0);
    firmware.say("alive", &json!({"alive": true}));
    firmware.say("boot", &json!({"reason": "power-on", "have": 0}));
    while !done.load(Ordering::Relaxed) {
        let heard = firmware.heard_from(looked_at);
        looked_at += heard.len();
        let newest = heard
            .iter()
            .filter(|heard| heard.topic.ends_with("/desired"))
            .max_by_key(|heard| heard.json["rev"].as_u64());
        if let Some(newest) = newest
            && newest.json["rev"].as_u64().unwrap_or(0) >= have
        {
            let after = newest.json["document"].clone();
            have = newest.json["rev"].as_u64().unwrap();
            firmware.say("reported", &json!({"rev": have, "patch": difference(&document, &after)}));
            document = after;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
}

/// A merge patch from one flat document to another.
fn difference(from: &Value, to: &Value) -> Value {
    let (from, to) = (from.as_object().unwrap(), to.as_object().unwrap());
    let gone = from.keys().filter(|name| !to.contains_key(*name)).map(|name| (name.clone(), Value::Null));
    let new = to.iter().filter(|(name, value)| from.get(*name) != Some(value)).map(|(n, v)| (n.clone(), v.clone()));
    Value::Object(gone.chain(new).collect())
}

#[test]
fn a_hundred_fixtures_with_a_thousand_edits_each_end_in_step() {
    let daemon = impatient_daemon();
    let ids: Vec<String> = (0..FIXTURES).map(|n| format!("reed-{n}")).collect();
    let secrets: BTreeMap<&String, String> = ids
        .iter()
        .map(|id| {
            let answer = daemon.http().post("/v1/fixtures", &json!({"id": id, "kind": "free"}));
            assert_eq!(answer.status, 201, "{answer:?}");
            (id, daemon.enrol(id))
        })
        .collect();
    let done = Arc::new(AtomicBool::new(false));
    std::thread::scope(|scope| {
        for id in &ids {
            let firmware = Firmware::start(&daemon.mqtt, id, &secrets[id]);
            let done = Arc::clone(&done);
            scope.spawn(move || serve(&firmware, &done));
        }
        // whatever goes wrong below, the controllers must be told to end, else the scope waits for them for ever
        let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            edit_all(&daemon.url, &ids);
            eventually("all in step", || {
                let list = daemon.http().get("/v1/fixtures?standing=in-step&limit=1000").json;
                (list["fixtures"].as_array().map(Vec::len) == Some(FIXTURES)).then_some(())
            });
            daemon.wait_for_empty_outbox();
        }));
        done.store(true, Ordering::Relaxed);
        if let Err(panic) = ended {
            std::panic::resume_unwind(panic);
        }
    });
    let held = checker::check(&daemon);
    assert_eq!(held.len(), FIXTURES);
    assert!(held.values().all(|desired| desired.revision == EDITS as u64));
    for id in &ids {
        assert_eq!(daemon.http().get(&format!("/v1/fixtures/{id}/delta")).json, json!({}));
    }
}

fn edit_all(url: &str, ids: &[String]) {
    std::thread::scope(|scope| {
        for caller in 0..CALLERS {
            scope.spawn(move || {
                let http = Http::new(url, None);
                for n in 0..EDITS {
                    for id in ids.iter().skip(caller).step_by(CALLERS) {
                        let patch = json!({"step": n, (format!("m{}", n % 7)): n});
                        let answer = http.patch(&format!("/v1/fixtures/{id}/desired"), &patch);
                        assert_eq!(answer.status, 200, "{answer:?}");
                    }
                }
            });
        }
    });
}
