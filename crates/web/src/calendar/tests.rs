use proptest::prelude::*;

use super::*;

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn change(from: &str, until: Option<&str>, look: &str, floored: bool) -> AgendaChange {
    AgendaChange { at: at(from), look: look.into(), because: "timetable", until: until.map(at), floored }
}

fn written(title: &str, changes: &[AgendaChange], to: &str) -> String {
    let (created, now) = (at("2026-01-02T03:04:05.678Z"), at("2026-11-25T20:00:00.9Z"));
    Calendar { id: "hall", title, created, version: "9.8.7", now }.write(changes, at(to))
}

/// What a reader makes of the folded lines (RFC 5545, section 3.1): a line end and one space are nothing.
fn unfolded(text: &str) -> Vec<String> {
    text.replace("\r\n ", "").split_terminator("\r\n").map(str::to_owned).collect()
}

/// What a reader makes of a TEXT value (RFC 5545, section 3.3.11).
fn unescaped(text: &str) -> String {
    let mut chars = text.chars();
    let mut out = String::new();
    while let Some(c) = chars.next() {
        match c {
            '\\' => match chars.next().unwrap() {
                'n' | 'N' => out.push('\n'),
                c @ ('\\' | ';' | ',') => out.push(c),
                other => panic!("\\{other} is no escape"),
            },
            ';' | ',' => panic!("{c} stands bare in {text}"),
            c => out.push(c),
        }
    }
    out
}

#[test]
fn a_change_is_an_event_until_the_next_one_and_the_last_until_the_end() {
    let changes = [
        change("2026-11-25T15:34:26Z", Some("2026-11-25T22:45:00Z"), "evening", false),
        change("2026-11-25T22:45:00Z", None, "late", true),
    ];
    let lines = unfolded(&written("Reeds in the hall", &changes, "2026-11-26T20:00:00Z"));
    assert_eq!(
        lines,
        [
            "BEGIN:VCALENDAR",
            "VERSION:2.0",
            "PRODID:-//sconced//sconced 9.8.7//EN",
            "CALSCALE:GREGORIAN",
            "NAME:Reeds in the hall",
            "X-WR-CALNAME:Reeds in the hall",
            "BEGIN:VEVENT",
            "UID:hall-1767323045678-20261125T153426Z@sconced",
            "DTSTAMP:20261125T200000Z",
            "DTSTART:20261125T153426Z",
            "DTEND:20261125T224500Z",
            "SUMMARY:evening",
            "DESCRIPTION:By its timetable.",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
            "BEGIN:VEVENT",
            "UID:hall-1767323045678-20261125T224500Z@sconced",
            "DTSTAMP:20261125T200000Z",
            "DTSTART:20261125T224500Z",
            "DTEND:20261126T200000Z",
            "SUMMARY:late",
            "DESCRIPTION:By its timetable\\; its floor is kept.",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
            "END:VCALENDAR",
        ]
    );
}

/// RFC 5545, section 3.8.2.2: an event ends after it begins. Section 3.6: a calendar has a component.
#[test]
fn what_is_shorter_than_a_second_is_left_out_unless_it_is_the_last() {
    let changes = [
        change("2026-11-25T20:00:00.250Z", Some("2026-11-25T20:00:00.500Z"), "evening", false),
        change("2026-11-25T20:00:00.500Z", Some("2026-11-25T20:00:01.900Z"), "late", false),
        change("2026-11-25T20:00:01.900Z", None, "dark", false),
    ];
    let text = written("h", &changes, "2026-11-25T20:00:01.950Z");
    let spans: Vec<String> = unfolded(&text).into_iter().filter(|line| line.starts_with("DT")).collect();
    assert_eq!(
        spans,
        [
            "DTSTAMP:20261125T200000Z",
            "DTSTART:20261125T200000Z",
            "DTEND:20261125T200001Z",
            "DTSTAMP:20261125T200000Z",
            "DTSTART:20261125T200001Z",
            "DTEND:20261125T200002Z",
        ]
    );
}

/// Source of the escapes: the example of RFC 5545, section 3.3.11.
#[test]
fn a_text_is_escaped_as_the_standard_shows() {
    assert_eq!(
        escaped("Project XYZ Final Review\nConference Room - 3B\nCome Prepared."),
        "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    );
    assert_eq!(escaped("a\\b;c,d:e\"f\u{7}\t"), "a\\\\b\\;c\\,d:e\"f");
}

proptest! {
    #[test]
    fn any_title_comes_back_and_no_line_is_longer_than_75_octets(title in "\\PC{0,200}") {
        let text = written(&title, &[change("2026-11-25T20:00:00Z", None, "evening", false)], "2026-11-26T20:00:00Z");
        for line in text.split("\r\n") {
            prop_assert!(line.len() <= 75, "{} octets: {line:?}", line.len());
            prop_assert!(!line.contains(['\r', '\n']));
        }
        let lines = unfolded(&text);
        for property in ["NAME:", "X-WR-CALNAME:"] {
            let name = lines.iter().find_map(|line| line.strip_prefix(property)).unwrap();
            prop_assert_eq!(&unescaped(name), &title);
        }
    }

    #[test]
    fn events_follow_each_other_without_a_gap(steps in prop::collection::vec(1_i64..5_000_000_000, 1..20)) {
        let (mut at, mut changes) = (at("2026-11-25T20:00:00Z"), Vec::new());
        for step in steps {
            let until = at + SignedDuration::from_nanos(step);
            changes.push(AgendaChange { at, look: "a".into(), because: "link", until: Some(until), floored: false });
            at = until;
        }
        let lines = unfolded(&written("h", &changes, "2026-11-26T20:00:00Z"));
        let of = |name: &str| lines.iter().filter_map(|line| line.strip_prefix(name)).map(str::to_owned).collect::<Vec<_>>();
        let (starts, ends, ids) = (of("DTSTART:"), of("DTEND:"), of("UID:"));
        prop_assert_eq!(&starts[0], "20261125T200000Z");
        prop_assert!(starts.iter().zip(&ends).all(|(start, end)| start < end));
        prop_assert_eq!(&starts[1..], &ends[..ends.len() - 1]);
        prop_assert_eq!(ids.iter().collect::<std::collections::BTreeSet<_>>().len(), ids.len());
    }
}
