//! Timetables, floors, and overrides that wait for the next change.

use document::Pointer;
use kernel::{Command, Edit, Fixture, Paper, Rejection};
use serde_json::{Value, json};

use crate::rig::{Rig, assert_nothing_changes, canal, findings, id, loaded, pointer_of, revision, time};

/// A strip on the canal that turns late at 22:45 and shows nothing from dawn on; 18:00 UTC is 19:00 there.
fn timed() -> Rig {
    let mut rig = Rig::strip();
    rig.stands_at(canal());
    rig.merge(timetable()).unwrap();
    rig
}

fn timetable() -> Value {
    json!({"timetable": [
        {"start": "17:00", "look": "evening"},
        {"start": "22:45", "look": "greet"},
        {"start": "dawn", "look": "dark"},
    ]})
}

fn until_next_change(rig: &mut Rig) {
    let held = json!({"look": "greet", "until": "next-change"});
    rig.edit(Paper::Desired, Edit::Member("override", Some(held))).unwrap();
}

fn told(rig: &Rig) -> (String, &'static str) {
    let showing = rig.shown().showing;
    (showing.look, showing.because.as_str())
}

#[test]
fn the_timetable_shows_its_look_from_the_very_second_on() {
    let mut rig = timed();
    assert_eq!(told(&rig), ("evening".into(), "timetable"));
    assert_eq!(rig.next(), Some(time("2026-11-25T21:45:00Z")));
    rig.now = time("2026-11-25T21:44:59.999Z");
    assert_eq!(told(&rig).0, "evening");
    rig.now = time("2026-11-25T21:45:00Z");
    assert_eq!(told(&rig).0, "greet");
    assert_nothing_changes(&rig.tick());
}

#[test]
fn a_timetable_without_a_place_is_refused_at_its_first_entry_with_what_to_set() {
    for (start, says) in [("sunset", "sunset"), ("22:45", "wall time"), ("dawn", "latitude")] {
        let mut rig = Rig::strip();
        let before = rig.desired();
        let entries = json!({"timetable": [{"start": start, "look": "evening"}, {"start": "23:00", "look": "dark"}]});
        let found = findings(rig.merge(entries));
        assert_eq!(found[0].pointer.to_string(), "/timetable/0/start");
        assert!(found[0].text.contains(says), "{}", found[0].text);
        for setting in ["site.latitude", "site.longitude", "site.zone", "\"place\""] {
            assert!(found[0].advice.contains(setting), "{}", found[0].advice);
        }
        assert_eq!((rig.desired(), rig.rev()), (before, 1), "nothing has changed");
    }
    // an empty timetable needs none, nor does any other kind
    Rig::strip().merge(json!({"timetable": []})).unwrap();
    Rig::of("free").merge(timetable()).unwrap();
}

#[test]
fn a_place_of_its_own_is_as_good_as_the_sites_and_goes_before_it() {
    let mut rig = Rig::strip();
    rig.edit(
        Paper::Fixture,
        Edit::Merge(json!({"place": {"latitude": 35.7, "longitude": 139.7, "zone": "Asia/Tokyo"}})),
    )
    .unwrap();
    rig.stands_at(canal());
    rig.merge(timetable()).unwrap();
    // 03:00 in Tokyo: late since 22:45 there, whatever the time is on the canal
    assert_eq!(told(&rig).0, "greet");
    rig.rules.site = None;
    assert_eq!(told(&rig).0, "greet");
}

#[test]
fn a_record_that_takes_the_place_away_from_a_timetable_is_refused() {
    let place = json!({"place": {"latitude": 52.4, "longitude": 4.9, "zone": "Europe/Amsterdam"}});
    let mut rig = Rig::strip();
    rig.edit(Paper::Fixture, Edit::Merge(place.clone())).unwrap();
    rig.merge(timetable()).unwrap();
    let away = || Edit::Merge(json!({"place": null}));
    let found = findings(rig.edit(Paper::Fixture, away()));
    assert_eq!(found[0].pointer.to_string(), "/place");
    assert!(found[0].advice.contains("site.zone"));
    assert!(rig.fixture().record.place.is_some());
    rig.edit(Paper::Fixture, Edit::Merge(json!({"title": "another", "place": {"zone": "Europe/Paris"}}))).unwrap();
    // where the site has a place, or no timetable is left, it may go
    let mut free = Rig::strip();
    free.fixture.clone_from(&rig.fixture);
    free.merge(json!({"timetable": null})).unwrap();
    free.edit(Paper::Fixture, away()).unwrap();
    rig.stands_at(canal());
    rig.edit(Paper::Fixture, away()).unwrap();
    assert_eq!(told(&rig).0, "evening");
}

#[test]
fn a_kind_that_takes_up_a_timetable_without_a_place_is_refused() {
    let mut rig = Rig::of("free");
    rig.merge(json!({"looks": {"evening": {"kelvin": 2400}}, "timetable": [{"start": "sunset", "look": "evening"}]}))
        .unwrap();
    let strip = || Edit::Merge(json!({"kind": "strip"}));
    assert_eq!(pointer_of(rig.edit(Paper::Fixture, strip())), "/place");
    rig.stands_at(canal());
    rig.edit(Paper::Fixture, strip()).unwrap();
}

#[test]
fn a_timetable_that_lost_its_place_stands_in_nobodys_way_and_is_said() {
    let mut rig = timed();
    rig.rules.site = None; // as after a change of the configuration
    assert_eq!(told(&rig), ("evening".into(), "default"));
    assert!(rig.timing().unwrap().lacks_place);
    let places = |advice: &[kernel::Advice]| advice.iter().map(|a| a.pointer.to_string()).collect::<Vec<_>>();
    let decision = rig.merge(json!({"fade": 3})).unwrap();
    assert_eq!(places(&decision.answer.advice), ["/timetable"]);
    let decision = rig.merge(json!({"floor": 8, "override": {"look": "greet", "until": "next-change"}})).unwrap();
    assert_eq!(places(&decision.answer.advice), ["/timetable", "/floor", "/override/until"]);
    // the same again is no new timetable; a changed one is
    rig.merge(timetable()).unwrap();
    let mut entries = timetable();
    entries["timetable"][1]["start"] = json!("22:50");
    assert_eq!(pointer_of(rig.merge(entries)), "/timetable/0/start");
    rig.stands_at(canal());
    let decision = rig.merge(json!({"fade": 4})).unwrap();
    assert_eq!(decision.answer.advice, []);
}

#[test]
fn an_override_until_the_next_change_ends_with_the_timetable() {
    let mut rig = timed();
    until_next_change(&mut rig);
    let end = time("2026-11-25T21:45:00Z");
    assert_eq!(told(&rig), ("greet".into(), "override"));
    assert_eq!(rig.next(), Some(end));
    rig.now = time("2026-11-25T21:44:59.999Z");
    // an edit of something else moves nothing
    rig.merge(json!({"fade": 3})).unwrap();
    assert_nothing_changes(&rig.tick());
    assert!(!rig.override_has_ended());
    rig.now = end;
    assert!(rig.override_has_ended());
    assert_eq!(told(&rig), ("greet".into(), "timetable"));
    let decision = rig.tick();
    assert_eq!(decision.answer.revision, revision(5));
    assert_eq!(rig.desired().get("override"), None);
    assert_nothing_changes(&rig.tick());
}

#[test]
fn an_override_until_the_next_change_ends_while_the_daemon_is_down() {
    let mut rig = timed();
    until_next_change(&mut rig);
    rig.fixture = rig.fixture.as_ref().map(loaded);
    // two changes later: the end was the first of them
    rig.now = time("2026-11-26T12:00:00Z");
    assert_eq!(told(&rig).0, "dark");
    rig.fixture = rig.fixture.as_ref().map(loaded);
    assert!(rig.timing().unwrap().override_has_ended);
    assert!(rig.fixture().outlook.get().is_none(), "a glance keeps nothing");
    assert_eq!(rig.tick().answer.revision, revision(4));
    assert_eq!(rig.desired().get("override"), None);
}

#[test]
fn an_edit_that_comes_before_an_ended_override_is_cleared_does_not_prolong_it() {
    for edit in [Edit::Merge(json!({"fade": 3})), Edit::Operations(json!([{"op": "add", "path": "/fade", "value": 3}]))]
    {
        let mut rig = timed();
        until_next_change(&mut rig);
        rig.now = time("2026-11-25T21:45:00.001Z");
        let decision = rig.edit(Paper::Desired, edit).unwrap();
        assert_eq!((rig.desired().get("override"), rig.desired()["fade"].as_i64()), (None, Some(3)));
        assert_eq!(decision.answer.advice[0].pointer.to_string(), "/override");
        assert!(decision.answer.changed.contains(&Pointer::default().child("override").child("look")));
        assert_nothing_changes(&rig.tick());
    }
    // one that is set anew in that moment counts from then on
    let mut rig = timed();
    until_next_change(&mut rig);
    rig.now = time("2026-11-25T21:45:00.001Z");
    let held = json!({"look": "evening", "until": "next-change"});
    rig.edit(Paper::Desired, Edit::Member("override", Some(held.clone()))).unwrap();
    assert_eq!((told(&rig).1, &rig.desired()["override"]), ("override", &held));
    assert_nothing_changes(&rig.tick());
}

#[test]
fn an_override_until_the_next_change_holds_for_good_where_nothing_will_change() {
    let mut rig = Rig::strip();
    let held = json!({"override": {"look": "greet", "until": "next-change"}});
    let decision = rig.merge(held).unwrap();
    assert_eq!(decision.answer.advice[0].pointer.to_string(), "/override/until");
    assert_eq!(rig.timing(), None);
    rig.later(400 * 86_400);
    assert_eq!(told(&rig).1, "override");
    assert_nothing_changes(&rig.tick());
}

#[test]
fn an_override_that_ends_while_nothing_is_lit_is_cleared_all_the_same() {
    let mut rig = timed();
    until_next_change(&mut rig);
    rig.merge(json!({"lit": false})).unwrap();
    let end = time("2026-11-25T21:45:00Z");
    assert_eq!((told(&rig).1, rig.next()), ("unlit", Some(end)));
    rig.now = end;
    rig.tick();
    assert_eq!(rig.desired().get("override"), None);
}

#[test]
fn the_floor_lies_beneath_everything_in_the_dark_hours() {
    let mut rig = timed();
    rig.merge(json!({"floor": 50, "default": "evening", "looks": {"evening": {"kelvin": null, "colours": ["lime"]}}}))
        .unwrap();
    let floor = |rig: &Rig| rig.shown().compiled.floor;
    // Source: CIE 15: L* 50 is 12071 of 65535
    assert_eq!(floor(&rig), Some(vec![0, 12_071, 0]), "the light of the default look at the floor's intensity");
    rig.now = time("2026-11-26T12:00:00Z");
    assert_eq!((told(&rig).0.as_str(), floor(&rig)), ("dark", None), "not by day");
    rig.now = time("2026-11-26T07:00:00Z"); // civil dawn is over and the sun is not up
    assert_eq!(told(&rig).0, "dark");
    assert!(floor(&rig).is_some(), "beneath a dark look too");
    rig.merge(json!({"default": "dark"})).unwrap();
    let white = floor(&rig).unwrap();
    assert!(white.len() == 3 && white[0] == 12_071 && white[1] < white[0] && white[2] < white[1], "{white:?}");
    rig.merge(json!({"lit": false})).unwrap();
    assert_eq!(floor(&rig), None, "nothing where nothing is lit");
    rig.merge(json!({"lit": null, "floor": 0})).unwrap();
    assert_eq!(floor(&rig), None);
}

#[test]
fn nightfall_is_a_deadline_of_a_floor_and_without_a_place_it_is_kept_at_every_hour() {
    let mut rig = Rig::strip();
    let decision = rig.merge(json!({"floor": 8})).unwrap();
    assert_eq!(decision.answer.advice[0].pointer.to_string(), "/floor");
    rig.now = time("2026-06-21T12:00:00Z");
    assert!(rig.shown().compiled.floor.is_some());
    assert_eq!(rig.timing().unwrap().next, None);
    rig.stands_at(canal());
    assert!(rig.shown().compiled.floor.is_none());
    let sunset = rig.next().unwrap();
    rig.now = sunset;
    assert!(rig.shown().compiled.floor.is_some());
    // from memory: on the longest day the sun sets in Amsterdam at about 22:06
    assert!(sunset >= time("2026-06-21T20:05:00Z") && sunset <= time("2026-06-21T20:08:00Z"), "{sunset}");
}

#[test]
fn only_what_time_changes_has_a_timing() {
    let mut rig = Rig::strip();
    rig.stands_at(canal());
    let timed = |rig: &Rig| rig.timing().is_some();
    assert!(!timed(&rig));
    for (patch, is_timed) in [
        (json!({"floor": 0, "timetable": []}), false),
        (json!({"override": {"look": "greet"}}), false),
        (json!({"override": {"look": "greet", "until": "2027-01-01T00:00:00Z"}}), true),
        (json!({"override": null, "floor": 1}), true),
        (json!({"floor": null, "timetable": [{"start": "06:00", "look": "greet"}]}), true),
        (json!({"timetable": null}), false),
    ] {
        rig.merge(patch.clone()).unwrap();
        assert_eq!(timed(&rig), is_timed, "{patch}");
        let fresh = loaded(rig.fixture());
        assert_eq!(fresh.timing(rig.rules.site.as_deref(), &[], rig.now), rig.timing());
    }
    let mut free = Rig::of("free");
    free.merge(json!({"floor": 8, "timetable": "whenever"})).unwrap();
    assert!(!timed(&free));
}

#[test]
fn what_a_running_link_shows_is_asked_for_with_its_look() {
    let rig = timed();
    let (since, until) = (rig.now, time("2026-11-25T18:02:00Z"));
    let running = [almanac::Running { link: "stairs".into(), look: "greet".into(), since, until: Some(until) }];
    let site = rig.rules.site.as_deref();
    let shown = |fixture: &Fixture| fixture.outlook().shown(fixture.place(site), &running, rig.now).unwrap();
    let showing = shown(rig.fixture()).showing;
    assert_eq!((showing.look.as_str(), showing.because.as_str(), showing.until), ("greet", "link", Some(until)));
    assert_eq!(rig.fixture().timing(site, &running, rig.now).unwrap().next, Some(until));
}

#[test]
fn each_fault_of_a_timetable_is_refused_and_changes_nothing() {
    let entry = |member: &str, value: Value| {
        let mut entry = json!({"start": "06:00", "look": "greet"});
        entry[member] = value;
        json!({"timetable": [{"start": "sunset", "look": "evening"}, entry]})
    };
    for (patch, place) in [
        (entry("look", json!("nowhere")), "/timetable/1/look"),
        (entry("start", json!("24:00")), "/timetable/1/start"),
        (entry("shift", json!("PT12H1S")), "/timetable/1/shift"),
        (entry("shift", json!("-PT13H")), "/timetable/1/shift"),
        (entry("days", json!(["mon", "someday"])), "/timetable/1/days"),
        (entry("dates", json!(["13-01", "01-06"])), "/timetable/1/dates/0"),
        (json!({"timetable": vec![json!({"start": "06:00", "look": "greet"}); 65]}), "/timetable/64"),
        (json!({"override": {"look": "greet", "until": "2026-11-25T17:59:59Z"}}), "/override/until"),
    ] {
        let mut rig = timed();
        let before = rig.desired();
        let found = findings(rig.merge(patch.clone()));
        assert_eq!(found[0].pointer.to_string(), place, "{patch}");
        assert!(!found[0].advice.is_empty());
        assert_eq!((rig.desired(), rig.rev()), (before, 2));
    }
}

#[test]
fn an_undo_does_not_bring_a_timetable_back_to_where_no_place_is_left() {
    let mut rig = timed();
    let with = rig.desired();
    rig.merge(json!({"timetable": null})).unwrap();
    rig.rules.site = None;
    let undo = || Command::Undo { id: id(), from: revision(3), target: with.clone() };
    let Err(Rejection::Invalid(found)) = rig.tell(undo()) else { panic!("it was brought back") };
    assert_eq!(found[0].pointer.to_string(), "/timetable/0/start");
    rig.stands_at(canal());
    rig.tell(undo()).unwrap();
    assert_eq!(rig.desired(), with);
}
