//! Links that run, over the timetable and under the override.

use almanac::{Because, Override, Plan, Running, Showing, Until, agenda, next_change, showing};
use jiff::SignedDuration;

use crate::{amsterdam, at, entry, plan_of, scene};

const EDITED: &str = "2026-11-25T09:00:00Z";

fn running(link: &str, look: &str, since: &str, until: Option<&str>) -> Running {
    let on_the_day = |clock: &str| at(&format!("2026-11-25T{clock}Z"));
    Running { link: link.into(), look: look.into(), since: on_the_day(since), until: until.map(on_the_day) }
}

fn plan() -> Plan {
    plan_of(vec![entry("16:00", "evening"), entry("22:45", "late")])
}

fn link(shown: &Showing) -> (&str, Option<&str>) {
    (shown.look.as_str(), shown.link.as_deref())
}

#[test]
fn a_link_shows_from_its_begin_to_its_end_and_the_timetable_goes_on_beneath() {
    let (place, plan) = (amsterdam(), plan());
    let links = [running("stairs", "greet", "21:40:00", Some("21:50:00"))];
    let scene = scene(&plan, Some(&place), EDITED, &links);
    let (begin, end) = (at("2026-11-25T21:40:00Z"), at("2026-11-25T21:50:00Z"));
    let before = showing(&scene, begin - SignedDuration::from_nanos(1));
    assert_eq!((before.look.as_str(), before.until, before.link), ("evening", Some(begin), None));
    let shown = showing(&scene, begin);
    assert_eq!((link(&shown), shown.because), (("greet", Some("stairs")), Because::Link));
    assert_eq!((shown.since, shown.until, shown.entry), (Some(begin), Some(end), None));
    // 22:45 by the clock has passed meanwhile.
    let after = showing(&scene, end);
    assert_eq!((after.look.as_str(), after.because, after.since), ("late", Because::Timetable, Some(end)));
}

#[test]
fn of_two_links_the_later_in_the_list_shows_and_the_other_comes_back() {
    let (place, plan) = (amsterdam(), plan());
    let links = [
        running("stairs", "greet", "18:00:00", Some("18:30:00")),
        running("hall", "glow", "18:10:00", Some("18:20:00")),
    ];
    let on_links = scene(&plan, Some(&place), EDITED, &links);
    let rows = agenda(&on_links, at("2026-11-25T17:00:00Z"), at("2026-11-25T19:00:00Z"));
    let found: Vec<String> = rows.iter().map(|row| format!("{} {}", row.at.strftime("%H:%M"), row.look)).collect();
    assert_eq!(found, ["15:00 evening", "18:00 greet", "18:10 glow", "18:20 greet", "18:30 evening"]);
    assert_eq!(link(&showing(&on_links, at("2026-11-25T18:25:00Z"))), ("greet", Some("stairs")));
    // The other way about the first hides the second for all of its time.
    let [one, other] = links;
    let links = [other, one];
    let on_links = scene(&plan, Some(&place), EDITED, &links);
    assert_eq!(showing(&on_links, at("2026-11-25T18:15:00Z")).until, Some(at("2026-11-25T18:30:00Z")));
}

#[test]
fn links_with_the_same_look_that_follow_each_other_are_one_time_of_showing() {
    let (place, plan) = (amsterdam(), plan());
    let links = [
        running("stairs", "greet", "18:00:00", Some("18:10:00")),
        running("hall", "greet", "18:05:00", Some("18:20:00")),
    ];
    let scene = scene(&plan, Some(&place), EDITED, &links);
    for (now, name) in [("18:02:00", "stairs"), ("18:07:00", "hall"), ("18:15:00", "hall")] {
        let shown = showing(&scene, at(&format!("2026-11-25T{now}Z")));
        assert_eq!(link(&shown), ("greet", Some(name)));
        assert_eq!(shown.since, Some(at("2026-11-25T18:00:00Z")));
        assert_eq!(shown.until, Some(at("2026-11-25T18:20:00Z")));
    }
}

#[test]
fn a_link_without_end_shows_on_and_one_that_ends_before_it_begins_never_does() {
    let (place, plan) = (amsterdam(), plan());
    let links = [
        running("stairs", "greet", "18:00:00", None),
        running("hall", "glow", "18:05:00", Some("18:05:00")),
        running("jetty", "glow", "18:05:00", Some("18:01:00")),
    ];
    let scene = scene(&plan, Some(&place), EDITED, &links);
    let shown = showing(&scene, at("2026-11-25T18:05:00Z"));
    assert_eq!((link(&shown), shown.until), (("greet", Some("stairs")), None));
    assert_eq!(next_change(&scene, at("2026-11-25T18:00:00Z")), None);
}

#[test]
fn an_override_hides_links_and_an_unlit_fixture_shows_none() {
    let place = amsterdam();
    let links = [running("stairs", "greet", "18:00:00", Some("18:30:00"))];
    let held = Override { look: "glow".into(), until: Until::At(at("2026-11-25T18:10:00Z")) };
    let held = Plan { owners_override: Some(held), ..plan() };
    let overridden = scene(&held, Some(&place), EDITED, &links);
    let shown = showing(&overridden, at("2026-11-25T18:05:00Z"));
    assert_eq!((link(&shown), shown.because), (("glow", None), Because::Override));
    assert_eq!(shown.until, Some(at("2026-11-25T18:10:00Z")));
    // The link comes out from under it, in the middle of its time.
    let after = showing(&overridden, at("2026-11-25T18:10:00Z"));
    assert_eq!((after.because, after.since), (Because::Link, Some(at("2026-11-25T18:10:00Z"))));
    let unlit = Plan { lit: false, ..plan() };
    let scene = scene(&unlit, Some(&place), EDITED, &links);
    assert_eq!(link(&showing(&scene, at("2026-11-25T18:05:00Z"))), ("dark", None));
}

#[test]
fn a_link_shows_where_the_fixture_has_no_place() {
    let plan = plan();
    let links = [running("stairs", "greet", "18:00:00", Some("18:30:00"))];
    let scene = scene(&plan, None, EDITED, &links);
    assert_eq!(link(&showing(&scene, at("2026-11-25T18:05:00Z"))), ("greet", Some("stairs")));
    assert_eq!(showing(&scene, at("2026-11-25T18:30:00Z")).because, Because::Dark);
}
