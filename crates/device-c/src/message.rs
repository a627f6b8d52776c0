//! Reading JSON without allocating, through `serde-json-core`.

use core::ffi::c_char;
use core::fmt;

use device::{Motif, MotifName, Toward};
use serde::Deserialize;
use serde::de::{Deserializer, IgnoredAny, SeqAccess, Visitor};
use serde_json_core::str::{EscapedStr, EscapedStringFragment};

use crate::look::{SCONCED_COLOURS_MAX, plain};
use crate::{SCONCED_NAME_BYTES, SconcedBecause, SconcedShowing, SconcedStatus};

/// How deep a message may be. The reader goes down by recursion, and a controller's stack is small; a `showing` message
/// has three levels.
const LEVELS: usize = 8;

#[derive(Deserialize)]
struct Message<'a> {
    rev: u64,
    now_ms: u64,
    #[serde(borrow)]
    look: Option<EscapedStr<'a>>,
    channels: Colours,
    span: Option<[u16; 2]>,
    motif: Option<Moves>,
    fade_ms: Option<u32>,
    floor: Option<Colour>,
    until: Option<u64>,
    #[serde(borrow)]
    because: Option<EscapedStr<'a>>,
    ceiling_milliamps: Option<u64>,
}

#[derive(Deserialize)]
struct Problem<'a> {
    #[serde(borrow, rename = "type")]
    kind: Option<EscapedStr<'a>>,
}

/// Reads a `showing` message.
pub(crate) fn showing(text: &[u8]) -> Result<SconcedShowing, SconcedStatus> {
    let message: Message<'_> = read(text)?;
    let Some(colours) = message.channels.kept.get(..message.channels.count).filter(|kept| !kept.is_empty()) else {
        return Err(SconcedStatus::ErrorMessage);
    };
    let motif = message.motif.map_or(Motif::STEADY, |moves| moves.0);
    let mut look = plain(colours, message.span.unwrap_or([0, u16::MAX]), motif);
    look.floor = message.floor.map_or([0; 4], |floor| floor.0);
    let ceiling = message.ceiling_milliamps.map(|ceiling| u32::try_from(ceiling).unwrap_or(u32::MAX));
    Ok(SconcedShowing {
        rev: message.rev,
        now_ms: message.now_ms,
        until_s: message.until.unwrap_or(0),
        fade_ms: message.fade_ms.unwrap_or(0),
        ceiling_milliamps: ceiling.unwrap_or(0),
        has_ceiling: ceiling.is_some(),
        because: because(message.because.map_or("", |because| because.0)) as u8,
        look,
        name: message.look.map_or([0; SCONCED_NAME_BYTES], name),
    })
}

/// Whether a `problem` message says that the revision held was never given out.
pub(crate) fn is_never_given(text: &[u8]) -> Result<bool, SconcedStatus> {
    let problem: Problem<'_> = read(text)?;
    Ok(problem.kind.is_some_and(|kind| kind.0 == "/problems/never-given"))
}

fn read<'a, T: Deserialize<'a>>(text: &'a [u8]) -> Result<T, SconcedStatus> {
    if levels(text) > LEVELS {
        return Err(SconcedStatus::ErrorMessage);
    }
    serde_json_core::from_slice(text).map(|(message, _)| message).map_err(|_| SconcedStatus::ErrorMessage)
}

/// How many arrays and objects stand in each other at most, strings left out.
fn levels(text: &[u8]) -> usize {
    let (mut deep, mut most) = (0_usize, 0_usize);
    let (mut in_string, mut escaped) = (false, false);
    for byte in text {
        match (in_string, byte) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (_, b'"') => in_string = !in_string,
            (false, b'[' | b'{') => deep = deep.saturating_add(1),
            (false, b']' | b'}') => deep = deep.saturating_sub(1),
            _ => {}
        }
        most = most.max(deep);
    }
    most
}

fn because(word: &str) -> SconcedBecause {
    match word {
        "unlit" => SconcedBecause::Unlit,
        "override" => SconcedBecause::Override,
        "link" => SconcedBecause::Link,
        "timetable" => SconcedBecause::Timetable,
        "default" => SconcedBecause::Default,
        "dark" => SconcedBecause::Dark,
        _ => SconcedBecause::Other,
    }
}

/// As many whole characters as fit, and a zero. It is for people: an escape that cannot be read ends it.
fn name(escaped: EscapedStr<'_>) -> [c_char; SCONCED_NAME_BYTES] {
    let mut kept = [0; SCONCED_NAME_BYTES];
    let mut at = 0_usize;
    let mut push = |letter: char| {
        let mut bytes = [0; 4];
        let letter = letter.encode_utf8(&mut bytes).as_bytes();
        let end = at.saturating_add(letter.len());
        // The last byte stays zero.
        let Some(room) = kept.get_mut(at..end).filter(|_| end < SCONCED_NAME_BYTES) else { return false };
        for (room, byte) in room.iter_mut().zip(letter) {
            *room = c_char::from_ne_bytes([*byte]);
        }
        at = end;
        true
    };
    'name: for fragment in escaped.fragments() {
        match fragment {
            Ok(EscapedStringFragment::NotEscaped(text)) => {
                for letter in text.chars() {
                    if !push(letter) {
                        break 'name;
                    }
                }
            }
            Ok(EscapedStringFragment::Escaped(letter)) => {
                if letter == '\0' || !push(letter) {
                    break;
                }
            }
            Err(_) => break,
        }
    }
    kept
}

/// The member `channels`.
struct Colours {
    kept: [[u16; 4]; SCONCED_COLOURS_MAX],
    count: usize,
}

/// One of them: three or four numbers.
struct Colour([u16; 4]);

impl<'de> Deserialize<'de> for Colours {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_seq(ColoursVisitor)
    }
}

struct ColoursVisitor;

impl<'de> Visitor<'de> for ColoursVisitor {
    type Value = Colours;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of colours")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Colours, A::Error> {
        let mut colours = Colours { kept: [[0; 4]; SCONCED_COLOURS_MAX], count: 0 };
        while let Some(Colour(colour)) = list.next_element()? {
            if let Some(place) = colours.kept.get_mut(colours.count) {
                *place = colour;
                colours.count = colours.count.saturating_add(1);
            }
        }
        Ok(colours)
    }
}

impl<'de> Deserialize<'de> for Colour {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_seq(ColourVisitor)
    }
}

struct ColourVisitor;

impl<'de> Visitor<'de> for ColourVisitor {
    type Value = Colour;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("three or four numbers from 0 to 65535")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Colour, A::Error> {
        let mut colour = [0; 4];
        let mut count = 0_usize;
        while let Some(duty) = list.next_element::<u16>()? {
            *colour.get_mut(count).ok_or_else(|| serde::de::Error::invalid_length(5, &self))? = duty;
            count = count.saturating_add(1);
        }
        if count < 3 {
            return Err(serde::de::Error::invalid_length(count, &self));
        }
        Ok(Colour(colour))
    }
}

/// The member `motif`.
struct Moves(Motif);

impl<'de> Deserialize<'de> for Moves {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_seq(MovesVisitor)
    }
}

struct MovesVisitor;

impl<'de> Visitor<'de> for MovesVisitor {
    type Value = Moves;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a motif: name, period, width, softness, toward, seed")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Moves, A::Error> {
        let name = list.next_element::<EscapedStr<'de>>()?.ok_or_else(|| serde::de::Error::invalid_length(0, &self))?;
        let Some(name) = MotifName::parse(name.0).filter(|name| *name != MotifName::Steady) else {
            while list.next_element::<IgnoredAny>()?.is_some() {}
            return Ok(Moves(Motif::STEADY));
        };
        let mut motif = Motif::new(name);
        motif.period_ms = list.next_element()?.unwrap_or(motif.period_ms);
        motif.width = list.next_element()?.unwrap_or(motif.width);
        motif.softness = list.next_element()?.unwrap_or(motif.softness);
        if let Some(word) = list.next_element::<EscapedStr<'de>>()? {
            motif.toward = Toward::parse(word.0).ok_or_else(|| serde::de::Error::custom("toward"))?;
        }
        motif.seed = list.next_element()?.unwrap_or(motif.seed);
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Moves(motif))
    }
}
