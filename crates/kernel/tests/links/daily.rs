//! Links as people meet them.

use jiff::Timestamp;
use kernel::links::{CAUTION, STORM, Verdict};
use serde_json::json;

use crate::rig::{Story, fixture, in_house, link, link_id, seconds, start, told, verdicts};

#[test]
fn a_single_false_pulse_lights_nothing_where_two_are_asked_for() {
    let mut story = Story::of([("a", link(json!({"confirm": {"pulses": 2, "within": 10}, "run_on": 30})))]);
    let heard = story.motion("hall", 0.0);
    assert_eq!((told(&heard.effects), verdicts(&heard)), (vec![], vec![Verdict::Unconfirmed]));
    // the next one comes too late to confirm it, and is itself confirmed by a third
    assert_eq!(verdicts(&story.motion("hall", 10.001)), [Verdict::Unconfirmed]);
    assert_eq!(told(&story.motion("hall", 20.001).effects), ["begin shelf until 50.001"]);
    // one is enough to extend
    assert_eq!(told(&story.motion("hall", 45.0).effects), ["extend shelf until 75"]);
    assert_eq!(told(&story.tick(80.0)), ["end shelf at 75"]);
}

#[test]
fn two_sensors_of_a_group_do_not_confirm_each_other() {
    let over = json!({"from": {"group": "eyes"}, "confirm": {"pulses": 2, "within": 10}});
    let mut story = Story::of([("a", link(over))]);
    assert_eq!(verdicts(&story.motion("hall", 0.0)), [Verdict::Unconfirmed]);
    assert_eq!(verdicts(&story.motion("door", 1.0)), [Verdict::Unconfirmed]);
    assert_eq!(verdicts(&story.motion("hall", 2.0)), [Verdict::Begun]);
    assert_eq!(verdicts(&story.motion("door", 3.0)), [Verdict::Extended]);
}

#[test]
fn a_guest_on_the_stairs_never_waits_for_confirmation() {
    let over =
        json!({"to": {"fixture": "stairs"}, "confirm": {"pulses": 2, "within": 4}, "run_on": 40, "dead_time": 60});
    let mut story = Story::of([("a", link(over))]);
    let heard = story.motion("hall", 0.0);
    assert_eq!(
        (told(&heard.effects), verdicts(&heard)),
        (vec!["begin stairs until 5 raised".into()], vec![Verdict::Raised])
    );
    // a module with 2 s of output and 2.5 s of blocking (tests/check-values/pir-facts.csv) reports again after 4.5 s: too late for 4 s, but
    // the stairs are still lit and stay so
    assert_eq!(told(&story.motion("hall", 4.5).effects), ["extend stairs until 9.5 raised"]);
    // a raise that nothing confirmed leaves no dead time
    assert_eq!(told(&story.motion("hall", 20.0).effects), ["end stairs at 9.5", "begin stairs until 25 raised"]);
    let heard = story.motion("hall", 23.0);
    assert_eq!((told(&heard.effects), verdicts(&heard)), (vec!["extend stairs until 63".into()], vec![Verdict::Begun]));
    // after a confirmed run it does, as the owner asked
    let heard = story.motion("hall", 70.0);
    assert_eq!((told(&heard.effects), verdicts(&heard)), (vec!["end stairs at 63".into()], vec![Verdict::DeadTime]));
    assert_eq!(verdicts(&story.motion("hall", 122.999)), [Verdict::DeadTime]);
    assert_eq!(verdicts(&story.motion("hall", 130.0)), [Verdict::Raised]);
}

#[test]
fn a_raise_is_never_longer_than_the_run_on() {
    let over = json!({"to": {"fixture": "stairs"}, "confirm": {"pulses": 3, "within": 50}, "run_on": 20});
    let mut story = Story::of([("a", link(over))]);
    assert_eq!(told(&story.motion("hall", 0.0).effects), ["begin stairs until 20 raised"]);
}

#[test]
fn a_chattering_sensor_mutes_a_shelf_and_holds_the_stairs_on() {
    let over = json!({"from": {"group": "eyes"}, "to": {"group": "lights"}, "run_on": 2});
    let mut story = Story::of([("a", link(over))]);
    for i in 0..STORM {
        // every 4.5 s, as fast as a module can that works: no storm yet
        assert_eq!(verdicts(&story.motion("hall", 4.5 * i as f64)), [Verdict::Begun, Verdict::Begun]);
    }
    let at = 4.5 * (STORM - 1) as f64; // 49.5
    let heard = story.motion("hall", at + 0.1);
    assert_eq!(told(&heard.effects), ["mute shelf for hall", "extend stairs until 87", "hold stairs for hall"]);
    assert_eq!(verdicts(&heard), [Verdict::Muted, Verdict::Extended]);
    // of the 13 pulses the seventh from the end, at 27 s, decides: a minute after it no more than six are left
    // what ran on the shelf runs out; the stairs stay lit far beyond their two seconds
    assert_eq!(told(&story.tick(52.0)), ["end shelf at 51.5"]);
    assert_eq!(story.on("stairs", 80.0), ["a"]);
    // the other sensor of the link is heard as before
    assert_eq!(told(&story.motion("door", 60.0).effects), ["begin shelf until 62"]);
    assert_eq!(told(&story.tick(70.0)), ["end shelf at 62"]);
    // six pulses or fewer in a minute: it lets go, and the stairs, whose last pulse is long past, go out
    let deadline = story.links.next_deadline().unwrap().duration_since(start()).as_secs_f64();
    assert!((deadline - 87.0).abs() < 1e-9, "{deadline}");
    assert_eq!(
        told(&story.tick(90.0)),
        ["release shelf for hall at 87", "release stairs for hall at 87", "end stairs at 87"]
    );
    assert_eq!(verdicts(&story.motion("hall", 95.0)), [Verdict::Begun, Verdict::Begun]);
    assert!(CAUTION.contains("not emergency lighting"));
}

#[test]
fn a_storm_goes_on_while_more_than_half_as_many_come() {
    let mut story = Story::of([("a", link(json!({"to": {"fixture": "stairs"}, "run_on": 1})))]);
    for i in 0..=STORM {
        story.motion("hall", i as f64);
    }
    assert_eq!(told(&story.motion("hall", 13.0).effects), ["extend stairs until 67"]);
    // one in eight seconds: at no time have there been six or fewer in the last minute
    for i in 0..20 {
        let heard = story.motion("hall", 20.0 + 8.0 * f64::from(i));
        assert_eq!(verdicts(&heard), [Verdict::Extended], "{i}");
    }
    // one in eleven is calm enough
    let mut released = Vec::new();
    for i in 0..20 {
        released.extend(told(&story.motion("hall", 180.0 + 11.0 * f64::from(i)).effects));
    }
    assert_eq!(released.iter().filter(|effect| effect.starts_with("release")).count(), 1, "{released:?}");
}

#[test]
fn of_two_links_on_one_target_the_later_wins_and_the_earlier_comes_back() {
    let mut story = Story::of([
        ("b-long", link(json!({"run_on": 100}))),
        ("a-short", link(json!({"from": {"fixture": "door"}, "look": "late", "run_on": 10}))),
    ]);
    story.motion("hall", 0.0);
    story.motion("door", 20.0);
    assert_eq!(story.on("shelf", 29.9), ["b-long", "a-short"]);
    assert_eq!(story.until("shelf", 25.0), Some(30.0));
    assert_eq!(story.on("shelf", 30.0), ["b-long"]);
    // to be extended does not make it the later one
    story.motion("door", 40.0);
    story.motion("hall", 45.0);
    assert_eq!(story.on("shelf", 46.0), ["b-long", "a-short"]);
    assert_eq!(story.on("shelf", 145.0), Vec::<String>::new());
}

#[test]
fn a_run_that_began_in_the_window_is_not_cut_off_by_its_end() {
    // windows of this house are open from 22:00 for 90 seconds
    let mut story = Story::of([("a", link(json!({"between": ["dusk", "23:30"], "run_on": 60})))]);
    assert_eq!(told(&story.motion("hall", 89.0).effects), ["begin shelf until 149"]);
    // outside nothing counts, neither to extend nor to begin
    let heard = story.motion("hall", 91.0);
    assert_eq!((told(&heard.effects), verdicts(&heard)), (vec![], vec![Verdict::OutsideWindow]));
    assert_eq!(story.until("shelf", 100.0), Some(149.0));
    assert_eq!(verdicts(&story.motion("hall", 150.0)), [Verdict::OutsideWindow]);
    assert_eq!(verdicts(&story.motion("hall", 180.0)), [Verdict::Begun]);
}

#[test]
fn what_is_asked_to_follow_light_leaves_the_dark_alone() {
    let over = |to: &str| link(json!({"to": {"fixture": to}, "lit_only": true}));
    let mut story = Story::of([("a", over("cellar")), ("b", over("shelf"))]);
    assert_eq!(verdicts(&story.motion("hall", 0.0)), [Verdict::Unlit, Verdict::Begun]);
}

#[test]
fn a_target_that_has_no_such_look_is_not_made_dark() {
    let over = |to: serde_json::Value| link(json!({"to": to}));
    let mut story = Story::of([("a", over(json!({"fixture": "attic"}))), ("b", over(json!({"group": "nobody"})))]);
    let heard = story.motion("hall", 0.0);
    assert_eq!((told(&heard.effects), verdicts(&heard)), (vec![], vec![Verdict::CannotShow; 2]));
}

#[test]
fn a_fixture_may_answer_its_own_sensor() {
    let mut story = Story::of([("a", link(json!({"to": {"fixture": "hall"}})))]);
    assert_eq!(told(&story.motion("hall", 0.0).effects), ["begin hall until 60"]);
}

#[test]
fn a_number_counts_once_and_an_older_one_not_at_all() {
    let mut story = Story::of([("a", link(json!({})))]);
    let mut hear = |n, at| verdicts(&story.event("hall", "motion", n, at)).remove(0);
    assert_eq!(hear(7, 0.0), Verdict::Begun);
    assert_eq!(hear(7, 1.0), Verdict::Duplicate);
    assert_eq!(hear(6, 2.0), Verdict::OutOfOrder);
    assert_eq!(hear(9, 3.0), Verdict::Extended);
    assert_eq!(hear(8, 4.0), Verdict::OutOfOrder);
}

#[test]
fn numbers_are_counted_through_all_events_of_a_fixture() {
    let mut story = Story::of([("a", link(json!({})))]);
    assert_eq!(verdicts(&story.event("hall", "door-opened", 5, 0.0)), []);
    assert_eq!(verdicts(&story.event("hall", "motion", 5, 1.0)), [Verdict::Duplicate]);
    assert_eq!(verdicts(&story.event("hall", "motion", 6, 2.0)), [Verdict::Begun]);
}

#[test]
fn after_a_boot_any_number_is_taken_but_for_what_is_delivered_again() {
    let mut story = Story::of([("a", link(json!({})))]);
    let boot = |story: &mut Story, at| story.links.booted(&fixture("hall"), start() + seconds(at));
    let hear = |story: &mut Story, n, at| verdicts(&story.event("hall", "motion", n, at)).remove(0);
    assert_eq!(hear(&mut story, 41, 0.0), Verdict::Begun);
    assert_eq!(hear(&mut story, 42, 1.0), Verdict::Extended);
    boot(&mut story, 2.0);
    // the broker had not got the acknowledgements, and delivers both again
    assert_eq!(hear(&mut story, 41, 3.0), Verdict::Duplicate);
    assert_eq!(hear(&mut story, 42, 3.0), Verdict::Duplicate);
    assert_eq!(hear(&mut story, 1, 4.0), Verdict::Extended);
    assert_eq!(hear(&mut story, 2, 5.0), Verdict::Extended);
    boot(&mut story, 6.0);
    // a counter that starts anew passes over numbers that were counted shortly before the boot
    assert_eq!(hear(&mut story, 0, 7.0), Verdict::Extended);
    assert_eq!(hear(&mut story, 1, 8.0), Verdict::Extended);
    assert_eq!(hear(&mut story, 2, 9.0), Verdict::Extended);
    boot(&mut story, 10.0);
    // one that is kept over the boot is taken as well, and so is any number a minute later
    assert_eq!(hear(&mut story, 7, 11.0), Verdict::Extended);
    boot(&mut story, 12.0);
    assert_eq!(hear(&mut story, 7, 72.0), Verdict::Begun);
}

#[test]
fn an_edit_shows_at_once_and_a_link_that_is_switched_off_ends() {
    let mut story = Story::of([("a", link(json!({"to": {"group": "lights"}, "run_on": 100})))]);
    story.motion("hall", 0.0);
    let mut put =
        |over, at| told(&in_house(|house| story.links.put(link_id("a"), link(over), start() + seconds(at), house)));
    assert_eq!(put(json!({"to": {"group": "lights"}, "run_on": 500, "title": "Up the stairs"}), 10.0), [""; 0]);
    assert_eq!(
        put(json!({"to": {"group": "lights"}, "run_on": 20}), 20.0),
        ["changed shelf 0 until 40", "changed stairs 0 until 40"]
    );
    assert_eq!(put(json!({"look": "late"}), 21.0), ["changed shelf 0 until 40", "end stairs at 21"]);
    assert_eq!(put(json!({"enabled": false}), 22.0), ["end shelf at 22"]);
    assert_eq!(verdicts(&story.motion("hall", 23.0)), [Verdict::Disabled]);
    assert_eq!(story.links.next_deadline(), None);
}

#[test]
fn what_is_taken_away_runs_no_more() {
    let mut story = Story::of([("a", link(json!({"to": {"group": "lights"}}))), ("b", link(json!({})))]);
    for i in 0..=STORM {
        story.motion("hall", i as f64);
    }
    let at = |s| start() + seconds(s);
    assert_eq!(
        told(&story.links.departed(&fixture("stairs"), at(13.0))),
        ["release stairs for hall at 13", "end stairs at 13"]
    );
    assert_eq!(told(&story.links.remove(&link_id("a"), at(14.0))), ["release shelf for hall at 14", "end shelf at 14"]);
    assert_eq!(told(&story.links.departed(&fixture("hall"), at(15.0))), ["release shelf for hall at 15"]);
    assert_eq!(told(&story.tick(100.0)), ["end shelf at 71"]);
    assert_eq!(story.links.next_deadline(), None);
}

#[test]
fn a_clock_that_is_set_back_makes_nothing_run_longer() {
    let mut story = Story::of([("a", link(json!({"run_on": 60, "dead_time": 30})))]);
    story.motion("hall", 1000.0);
    assert_eq!(told(&story.tick(500.0)), ["changed shelf 500 until 560"]);
    assert_eq!(told(&story.tick(560.0)), ["end shelf at 560"]);
    assert_eq!(told(&story.tick(100.0)), [""; 0]);
    assert_eq!(verdicts(&story.motion("hall", 129.0)), [Verdict::DeadTime]);
    assert_eq!(verdicts(&story.motion("hall", 130.0)), [Verdict::Begun]);
}

#[test]
fn the_ends_of_time_are_survived() {
    let mut story = Story::of([("a", link(json!({"dead_time": 86400, "run_on": 86400, "to": {"fixture": "stairs"}})))]);
    for at in [Timestamp::MAX, Timestamp::MIN, Timestamp::MAX] {
        let heard =
            in_house(|house| story.links.event(&fixture("hall"), "motion", at.as_second().unsigned_abs(), at, house));
        let ends = story.links.tick(at);
        assert!(heard.effects.iter().chain(&ends).all(|effect| *effect.link() == link_id("a")), "{ends:?}");
        assert!(story.links.next_deadline().is_none_or(|due| due > at));
    }
}
