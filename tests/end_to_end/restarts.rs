//! What a start says of fixtures that were there before it.

use serde_json::json;
use testkit::{Firmware, eventually};

use crate::daemon;

#[test]
fn a_fixture_that_does_not_come_back_after_a_start_is_silent_and_one_that_does_is_not() {
    let mut daemon = daemon();
    daemon.keep_addresses();
    let secrets = ["hall", "stairs"].map(|id| {
        daemon.add(id);
        daemon.enrol(id)
    });
    let connected = |daemon: &testkit::Daemon, id: &str, secret: &str| {
        let firmware = Firmware::start(&daemon.mqtt, id, secret);
        firmware.say_raw(&format!("fixtures/{id}/alive"), b"{\"alive\":true}", true);
        firmware.say("boot", &json!({"reason": "power-on", "have": 0}));
        firmware
    };
    let standing = |daemon: &testkit::Daemon, id: &str| {
        daemon.http().get(&format!("/v1/fixtures/{id}")).json["standing"].as_str().unwrap().to_owned()
    };
    for kill in [true, false] {
        let all = [("hall", &secrets[0]), ("stairs", &secrets[1])].map(|(id, secret)| connected(&daemon, id, secret));
        for id in ["hall", "stairs"] {
            eventually("both in step", || (standing(&daemon, id) == "in-step").then_some(()));
        }
        if kill {
            daemon.kill();
        } else {
            assert_eq!(daemon.stop(), 0);
        }
        drop(all);
        daemon.restart();
        assert_eq!((standing(&daemon, "hall"), standing(&daemon, "stairs")), ("silent".into(), "silent".into()));
        let _back = connected(&daemon, "hall", &secrets[0]);
        eventually("it is back", || (standing(&daemon, "hall") == "in-step").then_some(()));
        assert_eq!(standing(&daemon, "stairs"), "silent");
    }
}
