//! The bytes of what the daemon sends. What is kept as text goes out as that text, not written anew.

use std::borrow::Cow;
use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp};
use service::{Compiled, Fixture, Held, Place, Running, ShownLook};

/// Agenda and dark hours reach this far. They are published anew at every change, and when they are 24 hours old.
const AGENDA: SignedDuration = SignedDuration::from_hours(48);
/// The agenda has at most so many changes. Where they do not reach 48 hours, it is renewed more often all the same: each
/// change that comes is published with an agenda that begins with it, and so has 31 to come.
const CHANGES: usize = 32;
/// A `showing` message with its topic has at most so many bytes, for the small buffers of small client libraries.
pub const SHOWING_MAX: usize = 480;

/// When and under which circumstances a message is made, beside the fixture itself.
#[derive(Debug, Clone, Copy)]
pub struct Circumstances<'a> {
    /// Where the fixture stands.
    pub place: Option<&'a Place>,
    /// The links that run on it.
    pub running: &'a [Running],
    /// The time now.
    pub now: Timestamp,
}

/// Seconds of a coming change, rounded up: a change must not come early.
fn seconds_up(at: Timestamp) -> i64 {
    let ms = at.as_millisecond();
    ms.div_euclid(1000) + i64::from(ms.rem_euclid(1000) > 0)
}

/// How many bytes a character takes within a JSON string, as `serde_json` writes it (RFC 8259, section 7).
fn escaped(character: char) -> usize {
    match character {
        '"' | '\\' | '\u{8}' | '\u{c}' | '\n' | '\r' | '\t' => 2,
        '\0'..='\u{1f}' => "\\u0000".len(),
        other => other.len_utf8(),
    }
}

/// A text as it stands between the quotes of a JSON string. Names that have nothing to escape, which is nearly all, are not copied first.
fn quoted(text: &str) -> Cow<'_, str> {
    if text.bytes().all(|byte| byte >= b' ' && byte != b'"' && byte != b'\\') {
        return Cow::Borrowed(text);
    }
    // a str always serialises
    let quoted = serde_json::to_string(text).unwrap_or_default();
    Cow::Owned(quoted.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or_default().to_owned())
}

/// The `desired` message: the whole document, what shows, the coming changes, and for a document with a floor the hours
/// in which it is kept.
#[must_use]
pub fn desired_message(fixture: &Fixture, circumstances: &Circumstances<'_>) -> String {
    let Circumstances { place, running, now } = *circumstances;
    let held: &Held = &fixture.desired;
    let mut out = String::with_capacity(held.text.len() + 240);
    let _ = write!(
        out,
        "{{\"rev\":{},\"now_ms\":{},\"document\":{},\"agenda\":[",
        held.revision.get(),
        now.as_millisecond(),
        held.text
    );
    let to = now.checked_add(AGENDA).unwrap_or(Timestamp::MAX);
    let changes = fixture.outlook().agenda(place, running, now, to);
    // a change of the reason or of the floor alone is none to whoever steps from look to look
    let mut told: Option<&str> = None;
    let mut count = 0;
    for change in &changes {
        if told == Some(&change.look) {
            continue;
        }
        if count == CHANGES {
            break;
        }
        let at = if change.at <= now { change.at.as_second() } else { seconds_up(change.at) };
        let comma = if count == 0 { "" } else { "," };
        let _ = write!(out, "{comma}[{at},\"{}\"]", quoted(&change.look));
        told = Some(&change.look);
        count += 1;
    }
    out.push(']');
    if let Some(dark) = fixture.outlook().dark_hours(place, now, to) {
        out.push_str(",\"dark\":[");
        for (index, (from, to)) in dark.into_iter().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            let _ = write!(out, "{comma}[{},{}]", from.as_second(), seconds_up(to));
        }
        out.push(']');
    }
    if let Some(first) = changes.first() {
        if let Some(until) = first.until {
            let _ = write!(out, ",\"until\":{}", seconds_up(until));
        }
        let _ = write!(out, ",\"because\":\"{}\"", first.because);
    }
    out.push('}');
    out
}

/// The `showing` message: what to show now, everything resolved. `None` for kinds without looks.
///
/// Within [`SHOWING_MAX`] bytes with its topic. When it would be longer, the look's name is cut, which is there for
/// people only. A look of many colours in four channels, on a topic with a long name, may not fit even so: then `because`
/// is left out, then `until`, and in the end the colours are told by fewer, taken where they would be on the strip.
#[must_use]
pub fn showing_message(fixture: &Fixture, circumstances: &Circumstances<'_>, topic_bytes: usize) -> Option<String> {
    let Circumstances { place, running, now } = *circumstances;
    let shown = fixture.outlook().shown(place, running, now)?;
    let beginning =
        format!("{{\"rev\":{},\"now_ms\":{},\"look\":\"", fixture.desired.revision.get(), now.as_millisecond());
    Some(fitted(&beginning, shown, SHOWING_MAX.saturating_sub(topic_bytes)))
}

/// What shows, in at most so many bytes as far as that can be done.
fn fitted(beginning: &str, mut shown: ShownLook, most: usize) -> String {
    let mut whole: Option<Compiled> = None;
    let mut told = Told::All;
    loop {
        let mut out = String::with_capacity(SHOWING_MAX);
        out.push_str(beginning);
        write_shown(&mut out, &shown, told);
        let colours = shown.compiled.channels.len();
        match (out.len() <= most, told) {
            (false, Told::All) => told = Told::WithoutBecause,
            (false, Told::WithoutBecause) => told = Told::Bare,
            (false, Told::Bare) if colours > 1 => {
                // from the whole each time, so that nothing is mixed twice
                let whole = whole.get_or_insert_with(|| shown.compiled.clone());
                shown.compiled = whole.clone().told_by(colours - 1);
            }
            _ => {
                let room = most.saturating_sub(out.len());
                out.insert_str(beginning.len(), &quoted(fitting(&shown.showing.look, room)));
                return out;
            }
        }
    }
}

/// How much is told of what is not needed to show it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Told {
    All,
    WithoutBecause,
    Bare,
}

/// The most of a name's beginning that takes no more than `room` bytes within a JSON string.
fn fitting(name: &str, room: usize) -> &str {
    let mut taken = 0;
    let end = name.char_indices().find(|(_, character)| {
        taken += escaped(*character);
        taken > room
    });
    end.map_or(name, |(at, _)| name.get(..at).unwrap_or_default())
}

/// Appends what follows the look's name.
fn write_shown(out: &mut String, shown: &ShownLook, told: Told) {
    out.push_str("\",\"channels\":[");
    for (index, channels) in shown.compiled.channels.iter().enumerate() {
        if index > 0 {
            out.push(',');
        }
        write_channels(out, channels);
    }
    let [from, to] = shown.compiled.span;
    let _ = write!(out, "],\"span\":[{from},{to}],\"motif\":");
    shown.compiled.motif.write(out);
    let _ = write!(out, ",\"fade_ms\":{}", shown.fade_ms);
    if let Some(floor) = &shown.compiled.floor {
        out.push_str(",\"floor\":");
        write_channels(out, floor);
    }
    if let Some(until) = shown.showing.until.filter(|_| told != Told::Bare) {
        let _ = write!(out, ",\"until\":{}", seconds_up(until));
    }
    if told == Told::All {
        let _ = write!(out, ",\"because\":\"{}\"", shown.showing.because);
    }
    out.push('}');
}

fn write_channels(out: &mut String, channels: &[u16]) {
    out.push('[');
    for (index, duty) in channels.iter().enumerate() {
        let _ = write!(out, "{}{duty}", if index == 0 { "" } else { "," });
    }
    out.push(']');
}

/// The `patch` message: from one revision to another.
#[must_use]
pub fn patch_message(from: &Held, to: &Held) -> String {
    let known = to.step.as_deref().filter(|_| from.revision.next() == to.revision);
    let patch = known
        .map_or_else(|| Cow::Owned(document::write(&document::difference(&from.value(), &to.value()))), Cow::Borrowed);
    format!("{{\"from\":{},\"rev\":{},\"patch\":{patch}}}", from.revision.get(), to.revision.get())
}

/// A `patch` message that changes nothing: it fits those who hold that revision, and makes those ask who hold an older
/// one, for they see a `from` that is not theirs.
#[must_use]
pub fn beacon_message(at: &Held) -> String {
    let rev = at.revision.get();
    format!("{{\"from\":{rev},\"rev\":{rev},\"patch\":{{}}}}")
}

#[cfg(test)]
mod tests;
