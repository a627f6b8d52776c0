//! The bytes of what the daemon sends. What is kept as text goes out as that text, not written anew.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp};
use service::{Fixture, Held, ShownLook};

/// The agenda reaches this far.
const AGENDA: SignedDuration = SignedDuration::from_hours(48);
/// And has at most so many changes.
const CHANGES: usize = 32;
/// A `showing` message with its topic has at most so many bytes, for the small buffers of small client libraries.
pub const SHOWING_MAX: usize = 480;

/// Seconds of a coming change, rounded up: a change must not come early.
fn seconds_up(at: Timestamp) -> i64 {
    let ms = at.as_millisecond();
    ms.div_euclid(1000) + i64::from(ms.rem_euclid(1000) > 0)
}

/// Appends a text as a JSON string.
fn quoted(out: &mut String, text: &str) {
    match serde_json::to_string(text) {
        Ok(json) => out.push_str(&json),
        Err(_) => out.push_str("\"\""), // a str always serialises
    }
}

/// The `desired` message: the whole document with the coming changes.
#[must_use]
pub fn desired_message(fixture: &Fixture, now: Timestamp) -> String {
    let held: &Held = &fixture.desired;
    let mut out = String::with_capacity(held.text.len() + 160);
    let _ = write!(
        out,
        "{{\"rev\":{},\"now_ms\":{},\"document\":{},\"agenda\":[",
        held.revision.get(),
        now.as_millisecond(),
        held.text
    );
    let to = now.checked_add(AGENDA).unwrap_or(Timestamp::MAX);
    for (index, change) in fixture.outlook().agenda(now, to).iter().take(CHANGES).enumerate() {
        let at = if change.at <= now { change.at.as_second() } else { seconds_up(change.at) };
        let _ = write!(out, "{}[{at},", if index == 0 { "" } else { "," });
        quoted(&mut out, &change.look);
        out.push(']');
    }
    out.push_str("]}");
    out
}

/// The `showing` message: what to show now, everything resolved. Within [`SHOWING_MAX`] bytes with its topic: when it
/// would be longer, the look's name, which is there for people only, is cut. `None` for kinds without looks.
#[must_use]
pub fn showing_message(fixture: &Fixture, now: Timestamp, topic_bytes: usize) -> Option<String> {
    let shown = fixture.outlook().shown(now)?;
    let revision = fixture.desired.revision.get();
    let whole = showing_of(revision, &shown, now, &shown.showing.look);
    if whole.len() + topic_bytes <= SHOWING_MAX {
        return Some(whole);
    }
    let mut look = shown.showing.look.as_str();
    loop {
        // one character less, until it fits or nothing is left of the name
        look = look.char_indices().next_back().map_or("", |(at, _)| look.get(..at).unwrap_or(""));
        let cut = showing_of(revision, &shown, now, look);
        if cut.len() + topic_bytes <= SHOWING_MAX || look.is_empty() {
            return Some(cut);
        }
    }
}

fn showing_of(revision: u64, shown: &ShownLook, now: Timestamp, look: &str) -> String {
    let mut out = String::with_capacity(SHOWING_MAX);
    let _ = write!(out, "{{\"rev\":{revision},\"now_ms\":{},\"look\":", now.as_millisecond());
    quoted(&mut out, look);
    out.push_str(",\"channels\":[");
    for (index, channels) in shown.compiled.channels.iter().enumerate() {
        out.push_str(if index == 0 { "[" } else { ",[" });
        for (index, duty) in channels.iter().enumerate() {
            let _ = write!(out, "{}{duty}", if index == 0 { "" } else { "," });
        }
        out.push(']');
    }
    let [from, to] = shown.compiled.span;
    let _ = write!(out, "],\"span\":[{from},{to}],\"motif\":");
    shown.compiled.motif.write(&mut out);
    let _ = write!(out, ",\"fade_ms\":{}", shown.fade_ms);
    if let Some(until) = shown.showing.until {
        let _ = write!(out, ",\"until\":{}", seconds_up(until));
    }
    let _ = write!(out, ",\"because\":\"{}\"}}", shown.showing.because);
    out
}

/// The `patch` message: from one revision to another.
#[must_use]
pub fn patch_message(from: &Held, to: &Held) -> String {
    let patch = document::difference(&from.value(), &to.value());
    format!("{{\"from\":{},\"rev\":{},\"patch\":{}}}", from.revision.get(), to.revision.get(), document::write(&patch))
}

/// A `patch` message that changes nothing: it fits those who hold that revision, and makes those ask who hold an older
/// one, for they see a `from` that is not theirs.
#[must_use]
pub fn beacon_message(at: &Held) -> String {
    let rev = at.revision.get();
    format!("{{\"from\":{rev},\"rev\":{rev},\"patch\":{{}}}}")
}
