//! Reading JSON strictly, and writing it.
//!
//! What is read here is exactly what was sent: no member is lost to a second one of its name, no
//! number turns infinite, and nothing larger or deeper than the bounds is built.

use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt;

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

use crate::{Bounds, Fault, Pointer, Problem};

/// Reads one JSON text (RFC 8259) within the bounds.
///
/// An integer beyond 64 bits, and any number with a fraction or an exponent, is read as the
/// nearest binary64 (IEEE 754), as RFC 8259 section 6 expects.
///
/// # Errors
/// The first fault: too many bytes, bytes that are not UTF-8, text that is not JSON, a member that
/// occurs twice, a number that is not finite, or a broken bound. Its pointer says where.
///
/// ```
/// use document::{Bounds, Problem, parse};
///
/// let value = parse(br#"{"lit": true}"#, &Bounds::DOCUMENT)?;
/// assert_eq!(value["lit"], true);
///
/// let fault = parse(br#"{"looks": {"late": {"kelvin": 1e999}}}"#, &Bounds::DOCUMENT).unwrap_err();
/// assert_eq!(fault.pointer.as_str(), "/looks/late/kelvin");
/// assert_eq!(fault.problem, Problem::NotFinite);
/// # Ok::<(), document::Fault>(())
/// ```
pub fn parse(bytes: &[u8], bounds: &Bounds) -> Result<Value, Fault> {
    bounds.size(bytes.len()).map_err(|problem| Fault::new(Pointer::default(), problem))?;
    let text = match core::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => return Err(not_utf8(bytes, error.valid_up_to(), bounds)),
    };
    if text.starts_with('\u{feff}') {
        // RFC 8259 section 8.1 forbids to send it; read as JSON it is only "expected value".
        let message = "it begins with a byte order mark".to_string();
        return Err(Fault::new(Pointer::default(), Problem::Syntax { line: 1, column: 1, message }));
    }
    read(text, bounds).map_err(|stop| Fault::new(stop.pointer, stop.problem))
}

/// Writes a value compactly: no space between its parts.
///
/// ```
/// assert_eq!(document::write(&serde_json::json!({"span": [0.0, 0.2]})), r#"{"span":[0.0,0.2]}"#);
/// ```
#[must_use]
pub fn write(value: &Value) -> String {
    // A value has text for names alone, so writing it cannot fail.
    serde_json::to_string(value).unwrap_or_default()
}

/// Why and where reading stopped.
struct Stop {
    pointer: Pointer,
    problem: Problem,
    /// The text came to its end too early.
    at_end: bool,
}

/// The place is where the good part of the text stops.
fn not_utf8(bytes: &[u8], at: usize, bounds: &Bounds) -> Fault {
    let good = bytes.get(..at).and_then(|good| core::str::from_utf8(good).ok()).unwrap_or_default();
    let pointer = match read(good, bounds) {
        Err(stop) if stop.at_end => stop.pointer,
        _ => Pointer::default(),
    };
    Fault::new(pointer, Problem::NotUtf8 { at })
}

fn read(text: &str, bounds: &Bounds) -> Result<Value, Stop> {
    let mut reading = Reading { bounds, members: 0, pointer: Pointer::default(), problem: None };
    let mut deserializer = serde_json::Deserializer::from_str(text);
    let result = Place { reading: &mut reading, depth: 0 }
        .deserialize(&mut deserializer)
        .and_then(|value| deserializer.end().map(|()| value));
    result.map_err(|error| Stop {
        at_end: reading.problem.is_none() && error.is_eof(),
        pointer: reading.pointer,
        problem: reading.problem.unwrap_or_else(|| problem_of(&error)),
    })
}

fn problem_of(error: &serde_json::Error) -> Problem {
    let (line, column) = (error.line(), error.column());
    let text = error.to_string();
    let place = alloc::format!(" at line {line} column {column}");
    let message = text.strip_suffix(place.as_str()).unwrap_or(&text);
    // The library keeps its kinds of error to itself; a test holds this text.
    if message == "number out of range" {
        return Problem::NotFinite;
    }
    Problem::Syntax { line: line.max(1), column: column.max(1), message: message.to_string() }
}

/// The state of one reading.
struct Reading<'a> {
    bounds: &'a Bounds,
    members: usize,
    /// The place being read; after an error it stays there.
    pointer: Pointer,
    /// The fault that we found ourselves; the error handed to the library only stops it.
    problem: Option<Problem>,
}

impl Reading<'_> {
    fn refuse<E: serde::de::Error>(&mut self, problem: Problem) -> E {
        let error = E::custom(&problem);
        self.problem = Some(problem);
        error
    }
}

/// A value to be read, inside `depth` objects and arrays.
struct Place<'r, 'a> {
    reading: &'r mut Reading<'a>,
    depth: usize,
}

impl<'de> DeserializeSeed<'de> for Place<'_, '_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Place<'_, '_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(Value::Number(value.into()))
    }

    fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Value, E> {
        match Number::from_f64(value) {
            Some(number) => Ok(Value::Number(number)),
            None => Err(self.reading.refuse(Problem::NotFinite)),
        }
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_string()))
    }

    fn visit_string<E>(self, value: String) -> Result<Value, E> {
        Ok(Value::String(value))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let Self { reading, depth } = self;
        let depth = reading.bounds.enter(depth).map_err(|problem| reading.refuse(problem))?;
        let mut elements = Vec::new();
        loop {
            let mark = reading.pointer.mark();
            reading.pointer.push_index(elements.len());
            let element = access.next_element_seed(Place { reading: &mut *reading, depth })?;
            reading.pointer.cut(mark);
            match element {
                Some(element) => elements.push(element),
                None => return Ok(Value::Array(elements)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Value, A::Error> {
        let Self { reading, depth } = self;
        let depth = reading.bounds.enter(depth).map_err(|problem| reading.refuse(problem))?;
        let mut members = Map::new();
        while let Some(name) = access.next_key::<String>()? {
            let mark = reading.pointer.mark();
            reading.pointer.push(&name);
            reading.bounds.member(&name, &mut reading.members).map_err(|problem| reading.refuse(problem))?;
            if members.contains_key(&name) {
                return Err(reading.refuse(Problem::Duplicate));
            }
            let member = access.next_value_seed(Place { reading: &mut *reading, depth })?;
            reading.pointer.cut(mark);
            members.insert(name, member);
        }
        Ok(Value::Object(members))
    }
}
