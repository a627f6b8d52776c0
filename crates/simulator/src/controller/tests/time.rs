//! What time alone brings, and what is drawn when.

use device::DARK;

use super::*;

#[test]
fn the_agenda_is_followed_by_its_own_clock_with_nobody_there() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    let second = NOW / 1000;
    let agenda = json!([[second, "arrival"], [second + 60, "foot-glow"], [second + 36_000, "dark"]]);
    let message = json!({"rev": 1, "now_ms": NOW, "document": {}, "agenda": agenda}).to_string();
    controller.message("fixtures/hall/desired", message.as_bytes(), false, 1_000);
    controller.disconnected();
    assert_eq!(controller.look(1_000), Some("arrival"));
    assert_eq!(controller.next_due(1_000), Some(61_000));
    assert_eq!(controller.look(60_999), Some("arrival"));
    assert_eq!(controller.look(61_000), Some("foot-glow"));
    assert_eq!(controller.look(36_001_000), Some("dark"));
    assert_eq!(controller.next_due(36_001_000), None);
}

#[test]
fn a_stored_agenda_is_followed_once_a_time_server_has_set_the_clock() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    controller.connected(0);
    let second = NOW / 1000;
    let agenda = json!([[second, "arrival"], [second + 60, "foot-glow"]]);
    let message = json!({"rev": 1, "now_ms": NOW, "document": {}, "agenda": agenda}).to_string();
    controller.message("fixtures/hall/desired", message.as_bytes(), true, 1_000);
    assert_eq!(controller.look(500_000), Some("arrival"));
    controller.set_clock(NOW + 70_000, 500_000);
    assert_eq!(controller.look(500_000), Some("foot-glow"));
}

/// What it was told to show on the way to `uptime`: when, and with what beneath it.
fn followed(controller: &mut Controller, uptime: u64) -> Vec<(u64, bool)> {
    let mut shown = Vec::new();
    controller.follow(uptime, |picture, now| shown.push((now.uptime_ms, picture.look.floor() != DARK)));
    shown
}

#[test]
fn changes_that_time_has_passed_over_are_followed_each_at_its_instant() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    assert_eq!(followed(&mut controller, 500), [(500, false)], "what is compiled into it");
    controller.connected(600);
    let second = NOW / 1000;
    let message = json!({
        "rev": 1, "now_ms": NOW,
        "document": {"fade": 1, "floor": 8, "looks": {"arrival": {"kelvin": 2700}, "late": {"kelvin": 2000}}},
        "agenda": [[second, "arrival"], [second + 60, "late"], [second + 120, "dark"]],
        "dark": [[second + 90, second + 150]]
    });
    controller.message("fixtures/hall/desired", message.to_string().as_bytes(), false, 1_000);
    assert_eq!(followed(&mut controller, 1_000), [(1_000, false)]);
    assert_eq!(followed(&mut controller, 1_001), []);
    controller.disconnected();
    assert_eq!(controller.next_due(1_001), Some(61_000));
    let expected = [(61_000, false), (91_000, true), (121_000, true), (151_000, false)];
    assert_eq!(followed(&mut controller, 200_000), expected);
    let state = state(&mut controller, 200_000);
    assert_eq!((state.changes, state.look.as_deref(), state.floored), (4, Some("dark"), false));
    assert_eq!(state.dark, [(second + 90, second + 150)]);
}

#[test]
fn a_clock_that_is_set_changes_what_shows_at_once_and_passes_over_nothing() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    let second = NOW / 1000;
    let agenda = json!([[second, "arrival"], [second + 60, "foot-glow"], [second + 120, "dark"]]);
    let message = json!({"rev": 1, "now_ms": NOW, "document": {}, "agenda": agenda}).to_string();
    controller.message("fixtures/hall/desired", message.as_bytes(), false, 1_000);
    followed(&mut controller, 1_000);
    controller.set_clock(NOW + 130_000, 2_000);
    assert_eq!(followed(&mut controller, 2_000).len(), 1);
    assert_eq!(state(&mut controller, 2_000).look.as_deref(), Some("dark"));
    controller.set_clock(NOW + 50_000, 3_000);
    assert_eq!(followed(&mut controller, 3_000).len(), 1);
    assert_eq!(followed(&mut controller, 13_000).len(), 1, "the change comes again");
    assert_eq!(state(&mut controller, 13_000).look.as_deref(), Some("foot-glow"));
    assert_eq!(state(&mut controller, 13_000).changes, 1, "what others set is no change of its own");
}

#[test]
fn an_edit_of_the_look_that_shows_is_drawn_and_a_repetition_is_not() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    let message = |rev: u64, kelvin: u64| {
        let document = json!({"looks": {"arrival": {"kelvin": kelvin}}});
        desired(rev, NOW, &document)
    };
    controller.message("fixtures/hall/desired", &message(1, 2_700), false, 5);
    assert_eq!(followed(&mut controller, 5).len(), 1);
    controller.message("fixtures/hall/desired", &message(1, 2_700), false, 6);
    assert_eq!(followed(&mut controller, 6).len(), 0);
    controller.message("fixtures/hall/desired", &message(2, 2_000), false, 7);
    assert_eq!(followed(&mut controller, 7).len(), 1);
}

#[test]
fn what_the_daemon_resolved_is_shown_with_the_floor_that_it_names() {
    for firmware in [Firmware::Showing, Firmware::Patch] {
        let mut controller = controller(firmware, |_| {});
        let showing = |rev: u64, floor: Value| json!({"rev": rev, "now_ms": NOW + rev, "look": "late", "channels": [[9, 9, 9]], "floor": floor});
        controller.message("fixtures/hall/showing", showing(1, json!([7, 5, 3])).to_string().as_bytes(), false, 5);
        assert_eq!(followed(&mut controller, 5), [(5, true)]);
        assert!(state(&mut controller, 5).floored);
        controller.message("fixtures/hall/showing", showing(2, Value::Null).to_string().as_bytes(), false, 6);
        assert_eq!(followed(&mut controller, 6), [(6, false)]);
        assert!(!state(&mut controller, 6).floored);
        // one that does not say what to show leaves what shows
        let mute = json!({"rev": 3, "now_ms": NOW + 9, "look": "late"}).to_string();
        controller.message("fixtures/hall/showing", mute.as_bytes(), false, 7);
        assert_eq!(followed(&mut controller, 7), []);
    }
}

#[test]
fn an_agenda_longer_than_a_controllers_table_is_cut() {
    let mut controller = controller(Firmware::Agenda, |_| {});
    let agenda: Vec<_> = (0..200).map(|at| json!([at, "arrival"])).collect();
    let message = json!({"rev": 1, "now_ms": NOW, "document": {}, "agenda": agenda}).to_string();
    controller.message("fixtures/hall/desired", message.as_bytes(), false, 1_000);
    assert_eq!(state(&mut controller, 2_000).agenda.len(), device::AGENDA_CHANGES);
}

proptest! {
    /// Whoever looks seldom finds the same pictures of the same instants as whoever looks often.
    #[test]
    fn one_leap_brings_what_many_steps_bring(
        agenda in prop::collection::vec((0_u64..3_000, 0_usize..3), 1..12),
        dark in prop::collection::vec((0_u64..3_000, 0_u64..500), 0..5),
        steps in prop::collection::vec(1_u64..400_000, 1..30),
    ) {
        let second = NOW / 1000;
        let names = ["arrival", "late", "dark"];
        let agenda: Vec<_> = agenda.into_iter().map(|(at, look)| json!([second + at, names[look]])).collect();
        let dark: Vec<_> = dark.into_iter().map(|(at, length)| json!([second + at, second + at + length])).collect();
        let looks = json!({"arrival": {"kelvin": 2700}, "late": {"kelvin": 2000}});
        let message = json!({
            "rev": 1, "now_ms": NOW, "document": {"floor": 8, "looks": looks}, "agenda": agenda, "dark": dark
        });
        let started = || {
            let mut controller = controller(Firmware::Agenda, |_| {});
            controller.message("fixtures/hall/desired", message.to_string().as_bytes(), false, 1_000);
            followed(&mut controller, 1_000);
            controller
        };
        let end = 1_000 + steps.iter().sum::<u64>();
        let (mut leaping, mut stepping) = (started(), started());
        let at_once = followed(&mut leaping, end);
        let mut in_steps = Vec::new();
        let mut uptime = 1_000;
        for step in steps {
            uptime += step;
            in_steps.extend(followed(&mut stepping, uptime));
        }
        prop_assert_eq!(&at_once, &in_steps);
        let state = state(&mut leaping, end);
        prop_assert_eq!(state.changes, at_once.len() as u64);
        prop_assert_eq!(state.look.as_deref(), stepping.look(end));
    }
}
