//! Changes of showing as an iCalendar object (RFC 5545), for people who lay them over a calendar of their own.
//!
//! Written by hand: of an event there are eight properties, and what can go wrong is in two functions, [`escaped`] and
//! [`folded`].

use jiff::{SignedDuration, Timestamp};
use service::AgendaChange;

/// The media type (RFC 5545, section 8.1).
pub(crate) const ICALENDAR: &str = "text/calendar; charset=utf-8";

/// The octets of a line, its end not counted (RFC 5545, section 3.1).
const LINE: usize = 75;

/// Whose calendar it is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Calendar<'a> {
    /// The fixture's id.
    pub(crate) id: &'a str,
    /// What people call it.
    pub(crate) title: &'a str,
    /// When the fixture was made: it tells its events apart from those of another one of the same id.
    pub(crate) created: Timestamp,
    /// The program's version.
    pub(crate) version: &'a str,
    /// When this is written.
    pub(crate) now: Timestamp,
}

impl Calendar<'_> {
    /// One event for each change. The last one ends with `to` if no change is foreseen.
    ///
    /// iCalendar knows whole seconds only: instants are cut to them, and what begins and ends in the same one is left
    /// out, unless it is the last.
    pub(crate) fn write(&self, changes: &[AgendaChange], to: Timestamp) -> String {
        let mut out = String::with_capacity(400 * (changes.len() + 1));
        let mut line = |name: &str, value: &str| folded(&mut out, name, value);
        line("BEGIN", "VCALENDAR");
        line("VERSION", "2.0");
        line("PRODID", &escaped(&format!("-//sconced//sconced {}//EN", self.version)));
        line("CALSCALE", "GREGORIAN");
        // RFC 7986, section 5.1, and what calendars read that do not know it
        for name in ["NAME", "X-WR-CALNAME"] {
            line(name, &escaped(self.title));
        }
        for (index, change) in changes.iter().enumerate() {
            let start = second(change.at);
            let mut end = second(change.until.unwrap_or(to));
            if end <= start {
                if index + 1 < changes.len() {
                    continue;
                }
                end = start.checked_add(SignedDuration::from_secs(1)).unwrap_or(start);
            }
            line("BEGIN", "VEVENT");
            let uid = format!("{}-{}-{}@sconced", self.id, self.created.as_millisecond(), utc(start));
            line("UID", &escaped(&uid));
            line("DTSTAMP", &utc(self.now));
            line("DTSTART", &utc(start));
            line("DTEND", &utc(end));
            line("SUMMARY", &escaped(&change.look));
            line("DESCRIPTION", &escaped(&why(change)));
            line("TRANSP", "TRANSPARENT");
            line("END", "VEVENT");
        }
        line("END", "VCALENDAR");
        out
    }
}

/// Why a look shows, in words.
fn why(change: &AgendaChange) -> String {
    let because = match change.because {
        "unlit" => "It is not lit",
        "override" => "The owner's override",
        "link" => "A link",
        "timetable" => "By its timetable",
        "default" => "Its default look",
        _ => "Nothing else is said",
    };
    let floor = if change.floored { "; its floor is kept" } else { "" };
    format!("{because}{floor}.")
}

/// The whole second in which an instant lies.
fn second(instant: Timestamp) -> Timestamp {
    Timestamp::from_second(instant.as_second()).unwrap_or(instant)
}

/// Form 2 of a date and time: UTC (RFC 5545, section 3.3.5).
fn utc(instant: Timestamp) -> String {
    instant.strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// A text as a value of the type TEXT (RFC 5545, section 3.3.11). Control characters have no place in one.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// Appends a content line, folded between characters (RFC 5545, section 3.1).
fn folded(out: &mut String, name: &str, value: &str) {
    let mut room = LINE;
    for c in name.chars().chain([':']).chain(value.chars()) {
        if c.len_utf8() > room {
            out.push_str("\r\n ");
            room = LINE - 1;
        }
        room -= c.len_utf8();
        out.push(c);
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests;
