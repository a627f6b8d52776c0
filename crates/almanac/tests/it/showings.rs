//! What shows, why, since when and until when: one case at a time.

use almanac::{
    Because, Change, Need, Override, Plan, Showing, Start, SunEvent, Until, agenda, next_change, next_deadline,
    override_end, showing,
};
use jiff::{SignedDuration, Timestamp};

use crate::{amsterdam, at, entry, plan_of, scene};

const EDITED: &str = "2026-11-25T18:00:00Z";
const END: &str = "2026-11-25T22:00:00Z";

fn plan(until: Until) -> Plan {
    Plan {
        default: Some("evening".into()),
        owners_override: Some(Override { look: "greet".into(), until }),
        ..Plan::default()
    }
}

fn shown(look: &str, because: Because, since: Option<&str>, until: Option<&str>) -> Showing {
    let (since, until) = (since.map(at), until.map(at));
    Showing { look: look.into(), because, since, until, floored: false, link: None, entry: None }
}

/// What shows by a plan without place or links that was edited at [`EDITED`].
fn showing_of(plan: &Plan, now: Timestamp) -> Showing {
    showing(&scene(plan, None, EDITED, &[]), now)
}

#[test]
fn an_empty_document_shows_dark_since_its_edit() {
    assert_eq!(showing_of(&Plan::default(), at(END)), shown("dark", Because::Dark, Some(EDITED), None));
}

#[test]
fn the_default_shows_where_nothing_else_holds() {
    let plan = Plan { default: Some("evening".into()), ..Plan::default() };
    assert_eq!(showing_of(&plan, at(END)), shown("evening", Because::Default, Some(EDITED), None));
}

#[test]
fn an_override_holds_until_its_end_and_not_at_it() {
    let plan = plan(Until::At(at(END)));
    let last = at(END) - SignedDuration::from_nanos(1);
    assert_eq!(showing_of(&plan, last), shown("greet", Because::Override, Some(EDITED), Some(END)));
    assert_eq!(showing_of(&plan, at(END)), shown("evening", Because::Default, Some(END), None));
}

#[test]
fn an_override_that_ended_before_the_edit_changed_nothing_since() {
    let plan = plan(Until::At(at("2026-11-25T17:00:00Z")));
    assert_eq!(showing_of(&plan, at(END)), shown("evening", Because::Default, Some(EDITED), None));
}

#[test]
fn an_override_until_release_holds_without_end_and_so_does_one_until_a_change_that_never_comes() {
    for until in [Until::NextChange, Until::Released] {
        let (plan, far) = (plan(until), at("2031-01-01T00:00:00Z"));
        assert_eq!(showing_of(&plan, far), shown("greet", Because::Override, Some(EDITED), None));
        assert_eq!(next_deadline(&scene(&plan, None, EDITED, &[]), at(EDITED)), None);
        assert_eq!(override_end(&scene(&plan, None, EDITED, &[])), None);
    }
}

#[test]
fn an_override_until_the_next_change_ends_when_another_entry_takes_over() {
    let place = amsterdam();
    let mut plan = plan_of(vec![entry("16:00", "evening"), entry("22:45", "late"), entry("23:45", "late")]);
    plan.owners_override = Some(Override { look: "greet".into(), until: Until::NextChange });
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    // 22:45 in Amsterdam, in winter.
    let end = at("2026-11-25T21:45:00Z");
    assert_eq!((override_end(&scene), next_deadline(&scene, at(EDITED))), (Some(end), Some(end)));
    let last = showing(&scene, end - SignedDuration::from_nanos(1));
    assert_eq!(last, shown("greet", Because::Override, Some(EDITED), Some("2026-11-25T21:45:00Z")));
    let then = showing(&scene, end);
    assert_eq!(
        (then.look.as_str(), then.because, then.since, then.entry),
        ("late", Because::Timetable, Some(end), Some(1))
    );
    // Days later it is still over.
    assert_eq!(showing(&scene, at("2026-11-28T18:00:00Z")).look, "evening");
    // An edit exactly at a change counts from the next one, and entries with the same look are two.
    let scene = crate::scene(&plan, Some(&place), "2026-11-25T21:45:00Z", &[]);
    assert_eq!(override_end(&scene), Some(at("2026-11-25T22:45:00Z")));
}

#[test]
fn an_entry_that_begins_again_is_no_change_for_an_override() {
    let place = amsterdam();
    let mut plan = plan_of(vec![entry("16:00", "evening")]);
    plan.owners_override = Some(Override { look: "greet".into(), until: Until::NextChange });
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    assert_eq!(override_end(&scene), None);
    assert_eq!(showing(&scene, at("2027-06-01T00:00:00Z")).because, Because::Override);
}

#[test]
fn the_end_of_an_override_until_the_next_change_counts_while_unlit_too() {
    let place = amsterdam();
    let mut plan = plan_of(vec![entry("16:00", "evening"), entry("22:45", "late")]);
    plan.owners_override = Some(Override { look: "greet".into(), until: Until::NextChange });
    plan.lit = false;
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    assert_eq!(next_change(&scene, at(EDITED)), None);
    assert_eq!(next_deadline(&scene, at(EDITED)), Some(at("2026-11-25T21:45:00Z")));
    assert_eq!(next_deadline(&scene, at("2026-11-25T21:45:00Z")), None);
}

#[test]
fn what_is_not_lit_is_dark_whatever_the_override_says() {
    let plan = Plan { lit: false, ..plan(Until::At(at(END))) };
    let scene = scene(&plan, None, EDITED, &[]);
    assert_eq!(showing(&scene, at(EDITED)), shown("dark", Because::Unlit, Some(EDITED), None));
    assert_eq!(agenda(&scene, at(EDITED), at("2026-11-27T18:00:00Z")).len(), 1);
    // The override ends all the same.
    assert_eq!(next_deadline(&scene, at(EDITED)), Some(at(END)));
}

#[test]
fn before_the_edit_nothing_is_known_of_since_when() {
    let before = at("2026-11-25T12:00:00Z");
    let plan = plan(Until::Released);
    assert_eq!(showing_of(&plan, before), shown("greet", Because::Override, None, None));
    assert_eq!(agenda(&scene(&plan, None, EDITED, &[]), before, at(END))[0].at, before);
}

#[test]
fn the_timetable_shows_since_its_entry_began_but_not_from_before_the_edit() {
    let place = amsterdam();
    let plan = plan_of(vec![entry("16:00", "evening"), entry("22:45", "late")]);
    let scene = scene(&plan, Some(&place), EDITED, &[]);
    let edited = showing(&scene, at("2026-11-25T19:00:00Z"));
    assert_eq!((edited.look.as_str(), edited.since), ("evening", Some(at(EDITED))));
    let late = showing(&scene, at("2026-11-26T12:00:00Z"));
    assert_eq!((late.look.as_str(), late.since), ("late", Some(at("2026-11-25T21:45:00Z"))));
    assert_eq!(late.until, Some(at("2026-11-26T15:00:00Z")));
}

#[test]
fn the_agenda_has_the_end_of_the_override() {
    let change = |at_text: &str, look: &str, because, until: Option<&str>| Change {
        at: at(at_text),
        look: look.into(),
        because,
        until: until.map(at),
        floored: false,
    };
    let plan = plan(Until::At(at(END)));
    let scene = scene(&plan, None, EDITED, &[]);
    let first = change(EDITED, "greet", Because::Override, Some(END));
    let second = change(END, "evening", Because::Default, None);
    let to = at("2026-11-27T18:00:00Z");
    assert_eq!(agenda(&scene, at(EDITED), to), [first.clone(), second.clone()]);
    assert_eq!(agenda(&scene, at("2026-11-25T20:00:00Z"), to), [first.clone(), second.clone()]);
    assert_eq!(agenda(&scene, at(END), to), [second]);
    // `to` is not included, and the first change is there whatever it is.
    assert_eq!(agenda(&scene, at(EDITED), at(END)), vec![first.clone()]);
    assert_eq!(agenda(&scene, at(EDITED), at(EDITED)), vec![first.clone()]);
    assert_eq!(agenda(&scene, at(EDITED), at("2026-11-01T00:00:00Z")), [first]);
}

#[test]
fn the_deadline_is_the_end_of_the_override_until_it_has_come() {
    let plan = plan(Until::At(at(END)));
    assert_eq!(next_deadline(&scene(&plan, None, EDITED, &[]), at(EDITED)), Some(at(END)));
    assert_eq!(next_deadline(&scene(&plan, None, EDITED, &[]), at(END)), None);
    assert_eq!(next_deadline(&scene(&Plan::default(), None, EDITED, &[]), at(END)), None);
}

#[test]
fn every_reason_has_the_word_of_the_messages() {
    let reasons =
        [Because::Unlit, Because::Override, Because::Link, Because::Timetable, Because::Default, Because::Dark];
    assert_eq!(reasons.map(Because::as_str), ["unlit", "override", "link", "timetable", "default", "dark"]);
}

#[test]
fn without_a_place_no_entry_begins_and_the_plan_says_that_it_needs_one() {
    let mut plan = plan_of(vec![entry("00:00", "late"), entry("dusk", "late")]);
    plan.default = Some("evening".into());
    assert_eq!(showing_of(&plan, at(END)), shown("evening", Because::Default, Some(EDITED), None));
    assert_eq!(plan.needs_place(), Some(Need { entry: 0, start: "00:00".parse().unwrap() }));
    let sun = plan_of(vec![entry("dusk", "late")]);
    assert_eq!(sun.needs_place(), Some(Need { entry: 0, start: Start::Sun(SunEvent::Dusk) }));
    assert_eq!(Plan::default().needs_place(), None);
}

/// A plan's clones share its parts.
#[test]
fn cloning_a_plan_copies_no_entry() {
    let plan = plan_of(vec![entry("00:00", "late")]);
    assert!(std::ptr::eq(plan.timetable.entries(), plan.clone().timetable.entries()));
}

#[test]
fn the_ends_of_time_break_nothing() {
    let place = amsterdam();
    let plan = Plan { keeps_floor: true, ..plan_of(vec![entry("sunset", "evening"), entry("22:45", "late")]) };
    for edited_at in [Timestamp::MIN, at(EDITED), Timestamp::MAX] {
        let scene = almanac::Scene { plan: &plan, place: Some(&place), edited_at, running: &[] };
        for now in [Timestamp::MIN, Timestamp::MAX] {
            let shown = showing(&scene, now);
            assert!(shown.until.is_none_or(|until| until > now));
            assert!(shown.since.is_none_or(|since| since <= now));
            assert!(!agenda(&scene, now, now).is_empty());
            let _ = (next_deadline(&scene, now), almanac::dark_hours(&place, now, now));
        }
    }
}
