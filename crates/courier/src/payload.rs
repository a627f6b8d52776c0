//! The bytes of what the daemon sends. What is kept as text goes out as that text, not written anew.

use std::borrow::Cow;
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
        let comma = if index == 0 { "" } else { "," };
        let _ = write!(out, "{comma}[{at},\"{}\"]", quoted(&change.look));
    }
    out.push_str("]}");
    out
}

/// The `showing` message: what to show now, everything resolved. Within [`SHOWING_MAX`] bytes with its topic: when it
/// would be longer, the look's name, which is there for people only, is cut. `None` for kinds without looks.
#[must_use]
pub fn showing_message(fixture: &Fixture, now: Timestamp, topic_bytes: usize) -> Option<String> {
    let shown = fixture.outlook().shown(now)?;
    let mut out = String::with_capacity(SHOWING_MAX);
    let _ = write!(out, "{{\"rev\":{},\"now_ms\":{},\"look\":\"", fixture.desired.revision.get(), now.as_millisecond());
    let name_at = out.len();
    write_shown(&mut out, &shown);
    let room = SHOWING_MAX.saturating_sub(topic_bytes + out.len());
    out.insert_str(name_at, &quoted(fitting(&shown.showing.look, room)));
    Some(out)
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
fn write_shown(out: &mut String, shown: &ShownLook) {
    out.push_str("\",\"channels\":[");
    for (index, channels) in shown.compiled.channels.iter().enumerate() {
        out.push_str(if index == 0 { "[" } else { ",[" });
        for (index, duty) in channels.iter().enumerate() {
            let _ = write!(out, "{}{duty}", if index == 0 { "" } else { "," });
        }
        out.push(']');
    }
    let [from, to] = shown.compiled.span;
    let _ = write!(out, "],\"span\":[{from},{to}],\"motif\":");
    shown.compiled.motif.write(out);
    let _ = write!(out, ",\"fade_ms\":{}", shown.fade_ms);
    if let Some(until) = shown.showing.until {
        let _ = write!(out, ",\"until\":{}", seconds_up(until));
    }
    let _ = write!(out, ",\"because\":\"{}\"}}", shown.showing.because);
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
mod tests {
    use std::sync::Arc;

    use document::Revision;
    use serde_json::json;

    use super::*;

    #[test]
    fn names_are_written_and_measured_as_the_json_library_writes_them() {
        let every: String = (0..0x300_u32).chain([0x2028, 0xffff, 0x1f4a1]).filter_map(char::from_u32).collect();
        for text in ["", "evening", "\"", "\\\"", "a\u{0}b", "\u{7f}é\n", every.as_str()] {
            let whole = serde_json::to_string(text).unwrap();
            assert_eq!(format!("\"{}\"", quoted(text)), whole);
            assert_eq!(text.chars().map(escaped).sum::<usize>() + 2, whole.len());
        }
    }

    #[test]
    fn a_name_is_cut_at_the_last_character_that_fits() {
        let name = "\"é\n💡z";
        let lengths = [0, 0, 2, 2, 4, 4, 6, 6, 6, 6, 10, 11, 11];
        for (room, bytes) in lengths.into_iter().enumerate() {
            let fits = quoted(fitting(name, room)).len();
            assert_eq!(fits, bytes, "{room}");
        }
    }

    fn held(revision: u64, document: &serde_json::Value, step: Option<&str>) -> Held {
        let mut held = Held::empty(Timestamp::UNIX_EPOCH);
        held.revision = Revision::new(revision);
        held.text = document.to_string().into();
        held.step = step.map(Arc::from);
        held
    }

    #[test]
    fn the_patch_is_that_of_the_edit_where_nothing_lies_between_and_else_the_difference() {
        let (one, two, three) = (json!({"a": 1}), json!({"a": 1, "b": {"c": 2}}), json!({"b": {"c": 3}}));
        let (first, second) = (held(1, &one, None), held(2, &two, Some(r#"{"b":{"c":2}}"#)));
        let third = held(3, &three, Some(r#"{"a":null,"b":{"c":3}}"#));
        assert_eq!(patch_message(&first, &second), r#"{"from":1,"rev":2,"patch":{"b":{"c":2}}}"#);
        assert_eq!(patch_message(&second, &third), r#"{"from":2,"rev":3,"patch":{"a":null,"b":{"c":3}}}"#);
        // over a revision that was never published, the last edit alone would not lead there
        assert_eq!(patch_message(&first, &third), r#"{"from":1,"rev":3,"patch":{"a":null,"b":{"c":3}}}"#);
        let fourth = held(4, &one, Some(r#"{"a":1}"#));
        assert_eq!(patch_message(&second, &fourth), r#"{"from":2,"rev":4,"patch":{"b":null}}"#);
        // a document that was loaded has no step
        let loaded = held(2, &two, None);
        assert_eq!(patch_message(&first, &loaded), patch_message(&first, &second));
    }
}
