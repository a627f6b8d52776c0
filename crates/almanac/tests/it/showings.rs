//! What shows, why, since when and until when: one case at a time.

use almanac::{
    Because, Change, Entry, Override, Plan, Showing, Start, SunEvent, Timetable, Until, agenda, next_deadline, showing,
};
use jiff::{SignedDuration, Timestamp};

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

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
    Showing { look: look.into(), because, since: since.map(at), until: until.map(at) }
}

#[test]
fn an_empty_document_shows_dark_since_its_edit() {
    assert_eq!(showing(&Plan::default(), at(EDITED), at(END)), shown("dark", Because::Dark, Some(EDITED), None));
}

#[test]
fn the_default_shows_where_nothing_else_holds() {
    let plan = Plan { default: Some("evening".into()), ..Plan::default() };
    assert_eq!(showing(&plan, at(EDITED), at(END)), shown("evening", Because::Default, Some(EDITED), None));
}

#[test]
fn an_override_holds_until_its_end_and_not_at_it() {
    let plan = plan(Until::At(at(END)));
    let last = at(END) - SignedDuration::from_nanos(1);
    assert_eq!(showing(&plan, at(EDITED), last), shown("greet", Because::Override, Some(EDITED), Some(END)));
    assert_eq!(showing(&plan, at(EDITED), at(END)), shown("evening", Because::Default, Some(END), None));
}

#[test]
fn an_override_that_ended_before_the_edit_changed_nothing_since() {
    let plan = plan(Until::At(at("2026-11-25T17:00:00Z")));
    assert_eq!(showing(&plan, at(EDITED), at(END)), shown("evening", Because::Default, Some(EDITED), None));
}

#[test]
fn an_override_until_the_next_change_or_release_holds_without_end() {
    for until in [Until::NextChange, Until::Released] {
        let far = at("2031-01-01T00:00:00Z");
        assert_eq!(showing(&plan(until), at(EDITED), far), shown("greet", Because::Override, Some(EDITED), None));
        assert_eq!(next_deadline(&plan(until), at(EDITED)), None);
    }
}

#[test]
fn what_is_not_lit_is_dark_whatever_the_override_says() {
    let plan = Plan { lit: false, ..plan(Until::At(at(END))) };
    assert_eq!(showing(&plan, at(EDITED), at(EDITED)), shown("dark", Because::Unlit, Some(EDITED), None));
    assert_eq!(agenda(&plan, at(EDITED), at(EDITED), at("2026-11-27T18:00:00Z")).len(), 1);
    // The override ends all the same.
    assert_eq!(next_deadline(&plan, at(EDITED)), Some(at(END)));
}

#[test]
fn before_the_edit_nothing_is_known_of_since_when() {
    let before = at("2026-11-25T12:00:00Z");
    assert_eq!(showing(&plan(Until::Released), at(EDITED), before), shown("greet", Because::Override, None, None));
    assert_eq!(agenda(&plan(Until::Released), at(EDITED), before, at(END))[0].at, before);
}

#[test]
fn the_agenda_has_the_end_of_the_override() {
    let change = |at_text: &str, look: &str, because, until: Option<&str>| Change {
        at: at(at_text),
        look: look.into(),
        because,
        until: until.map(at),
    };
    let plan = plan(Until::At(at(END)));
    let first = change(EDITED, "greet", Because::Override, Some(END));
    let second = change(END, "evening", Because::Default, None);
    let to = at("2026-11-27T18:00:00Z");
    assert_eq!(agenda(&plan, at(EDITED), at(EDITED), to), [first.clone(), second.clone()]);
    assert_eq!(agenda(&plan, at(EDITED), at("2026-11-25T20:00:00Z"), to), [first.clone(), second.clone()]);
    assert_eq!(agenda(&plan, at(EDITED), at(END), to), [second]);
    // `to` is not included, and the first change is there whatever it is.
    assert_eq!(agenda(&plan, at(EDITED), at(EDITED), at(END)), vec![first.clone()]);
    assert_eq!(agenda(&plan, at(EDITED), at(EDITED), at(EDITED)), vec![first.clone()]);
    assert_eq!(agenda(&plan, at(EDITED), at(EDITED), at("2026-11-01T00:00:00Z")), [first]);
}

#[test]
fn the_deadline_is_the_end_of_the_override_until_it_has_come() {
    let plan = plan(Until::At(at(END)));
    assert_eq!(next_deadline(&plan, at(EDITED)), Some(at(END)));
    assert_eq!(next_deadline(&plan, at(END)), None);
    assert_eq!(next_deadline(&Plan::default(), at(END)), None);
}

#[test]
fn every_reason_has_the_word_of_the_messages() {
    let reasons =
        [Because::Unlit, Because::Override, Because::Link, Because::Timetable, Because::Default, Because::Dark];
    assert_eq!(reasons.map(Because::as_str), ["unlit", "override", "link", "timetable", "default", "dark"]);
}

/// As [`showing`] says of itself: once timetables are solved, this is no longer so.
#[test]
fn an_unsolved_timetable_has_no_say_in_what_shows() {
    let entries = vec![Entry::new(Start::Sun(SunEvent::Dusk), "late"), Entry::new("00:00".parse().unwrap(), "late")];
    let timetable = Timetable::new(entries).unwrap();
    let plan = Plan { timetable, ..plan(Until::NextChange) };
    let days_later = at("2026-11-29T12:00:00Z");
    assert_eq!(showing(&plan, at(EDITED), days_later), shown("greet", Because::Override, Some(EDITED), None));
    let released = Plan { owners_override: None, ..plan };
    assert_eq!(showing(&released, at(EDITED), days_later), shown("evening", Because::Default, Some(EDITED), None));
}
