//! What fixtures say, read from the bytes that arrived. The forms are those of the messages page.

use std::sync::Arc;

use document::{Bounds, Pointer, Value};
use serde::{Deserialize, Serialize};
use serde_json::Map;

use crate::rejection::Finding;

/// Numbers that firmware counts with must fit a double exactly, since many JSON readers know no other number.
const LARGEST: u64 = 9_007_199_254_740_991;

/// Why a controller started.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BootReason {
    /// Power came on.
    PowerOn,
    /// The supply sagged below what the controller needs.
    Brownout,
    /// The controller hung and its watchdog started it anew.
    Watchdog,
    /// The firmware started itself anew.
    Software,
}

impl BootReason {
    const WORDS: [(&'static str, Self); 4] = [
        ("power-on", Self::PowerOn),
        ("brownout", Self::Brownout),
        ("watchdog", Self::Watchdog),
        ("software", Self::Software),
    ];

    /// The word used in messages.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::PowerOn => "power-on",
            Self::Brownout => "brownout",
            Self::Watchdog => "watchdog",
            Self::Software => "software",
        }
    }
}

/// What is wrong with a message. Nothing has changed.
pub type MessageFault = Finding;

/// A fixture's message.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// Its controller has started.
    Boot {
        /// Why.
        reason: BootReason,
        /// The revision that it holds.
        have: u64,
        /// Its firmware's version.
        firmware: Option<String>,
        /// How often it has started.
        boots: Option<u64>,
        /// Signal strength in dBm.
        rssi: Option<i64>,
    },
    /// It asks for the whole again.
    Ask {
        /// The revision that it holds.
        have: u64,
    },
    /// It has applied a revision.
    Report {
        /// Which.
        rev: u64,
        /// Merge patch of the reported document; `None`: it took the desired document as given.
        patch: Option<Value>,
    },
    /// A sensor of it has seen something.
    Event {
        /// The event's name.
        event: Arc<str>,
        /// Its number.
        n: u64,
    },
    /// Someone pressed its button.
    Wish {
        /// Its number.
        n: u64,
        /// Switch it on or off.
        lit: Option<bool>,
        /// Put an override in place (`Some(Some)`) or take it away (`Some(None)`).
        owners_override: Option<Option<Value>>,
    },
    /// It is there, or (as its will) it is not.
    Alive {
        /// Whether it is there.
        alive: bool,
    },
}

/// The object of a message while it is taken apart.
struct Reader(Map<String, Value>);

impl Reader {
    fn read(bytes: &[u8]) -> Result<Self, MessageFault> {
        match document::parse(bytes, &Bounds::BODY) {
            Ok(Value::Object(members)) => Ok(Self(members)),
            Ok(_) => Err(Finding::new(
                Pointer::default(),
                "the message is not a JSON object",
                "send an object, such as {\"have\":0}",
            )),
            Err(fault) => Err(Finding::new(fault.pointer.clone(), fault.problem.to_string(), fault.problem.advice())),
        }
    }

    fn fault(name: &str, text: impl Into<String>, advice: impl Into<String>) -> MessageFault {
        Finding::new(Pointer::default().child(name), text, advice)
    }

    /// A whole number; `None` when the member is absent.
    fn count(&mut self, name: &str) -> Result<Option<u64>, MessageFault> {
        match self.0.remove(name) {
            None => Ok(None),
            Some(value) => whole(&value).map(Some).ok_or_else(|| {
                Self::fault(
                    name,
                    format!("{name} is not a whole number from 0 to {LARGEST}"),
                    format!("send a number, such as {{\"{name}\":17}}"),
                )
            }),
        }
    }

    fn needed<T>(name: &str, found: Option<T>, example: &str) -> Result<T, MessageFault> {
        found.ok_or_else(|| Self::fault(name, format!("{name} is missing"), format!("send it, such as {example}")))
    }

    /// A short text without control characters.
    fn text(&mut self, name: &str) -> Result<Option<String>, MessageFault> {
        match self.0.remove(name) {
            None => Ok(None),
            Some(Value::String(text)) if (1..=64).contains(&text.len()) && !text.chars().any(char::is_control) => {
                Ok(Some(text))
            }
            Some(_) => Err(Self::fault(
                name,
                format!("{name} is not a text of 1 to 64 bytes without control characters"),
                format!("send a short text, such as {{\"{name}\":\"2.1.0\"}}"),
            )),
        }
    }

    fn flag(&mut self, name: &str) -> Result<Option<bool>, MessageFault> {
        match self.0.remove(name) {
            None => Ok(None),
            Some(Value::Bool(flag)) => Ok(Some(flag)),
            Some(_) => Err(Self::fault(
                name,
                format!("{name} is neither true nor false"),
                format!("send {{\"{name}\":true}} or {{\"{name}\":false}}"),
            )),
        }
    }
}

/// The value of a whole number that a double holds exactly, in whatever spelling (1, 1.0, 1e0).
fn whole(value: &Value) -> Option<u64> {
    if let Some(n) = value.as_u64() {
        return (n <= LARGEST).then_some(n);
    }
    let f = value.as_f64()?;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be whole and in range")]
    (f.fract() == 0.0 && (0.0..=LARGEST as f64).contains(&f)).then_some(f as u64)
}

/// A signal strength in whole dBm that a radio can have.
fn decibels(value: &Value) -> Option<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "checked to be whole and in range")]
    let dbm = |n: f64| (n.fract() == 0.0 && (-200.0..=50.0).contains(&n)).then_some(n as i64);
    value.as_f64().and_then(dbm)
}

impl Message {
    /// Reads a `boot` message.
    ///
    /// # Errors
    /// A finding with the pointer of the offending member; so for all the readers below.
    pub fn boot(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        let reason = match reader.0.remove("reason") {
            None => BootReason::PowerOn,
            Some(word) => word
                .as_str()
                .and_then(|word| BootReason::WORDS.iter().find(|(name, _)| *name == word))
                .map(|(_, reason)| *reason)
                .ok_or_else(|| {
                    Reader::fault(
                        "reason",
                        "reason is none of those that there are",
                        "send one of power-on, brownout, watchdog, software",
                    )
                })?,
        };
        let rssi = match reader.0.remove("rssi") {
            None => None,
            Some(value) => Some(decibels(&value).ok_or_else(|| {
                Reader::fault(
                    "rssi",
                    "rssi is not a whole number of dBm from -200 to 50",
                    "send such as {\"rssi\":-61}",
                )
            })?),
        };
        Ok(Self::Boot {
            reason,
            have: reader.count("have")?.unwrap_or(0),
            firmware: reader.text("firmware")?,
            boots: reader.count("boots")?,
            rssi,
        })
    }

    /// Reads an `ask` message.
    ///
    /// # Errors
    /// As [`Message::boot`].
    pub fn ask(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        Ok(Self::Ask { have: reader.count("have")?.unwrap_or(0) })
    }

    /// Reads a `reported` message.
    ///
    /// # Errors
    /// As [`Message::boot`].
    pub fn reported(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        let rev = reader.count("rev")?;
        let rev = Reader::needed("rev", rev, "{\"rev\":42,\"patch\":{}}")?;
        let patch = match reader.0.remove("patch") {
            None => None,
            Some(patch @ Value::Object(_)) => Some(patch),
            Some(_) => {
                return Err(Reader::fault(
                    "patch",
                    "patch is not an object",
                    "send a merge patch of what changed, or leave it out when the desired document was taken as given",
                ));
            }
        };
        Ok(Self::Report { rev, patch })
    }

    /// Reads an `event` message.
    ///
    /// # Errors
    /// As [`Message::boot`].
    pub fn event(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        let example = "{\"event\":\"motion\",\"n\":12}";
        let event = reader.text("event")?;
        let event = Reader::needed("event", event, example)?;
        let n = reader.count("n")?;
        let n = Reader::needed("n", n, example)?;
        Ok(Self::Event { event: event.into(), n })
    }

    /// Reads a `wish` message.
    ///
    /// # Errors
    /// As [`Message::boot`].
    pub fn wish(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        let n = reader.count("n")?;
        let n = Reader::needed("n", n, "{\"n\":3,\"lit\":false}")?;
        let lit = reader.flag("lit")?;
        let owners_override = match reader.0.remove("override") {
            None => None,
            Some(Value::Null) => Some(None),
            Some(wished @ Value::Object(_)) => Some(Some(wished)),
            Some(_) => {
                return Err(Reader::fault(
                    "override",
                    "override is neither an object nor null",
                    "send {\"n\":4,\"override\":{\"look\":\"greet\"}}, or null to release it",
                ));
            }
        };
        if let Some(name) = reader.0.keys().next() {
            return Err(Reader::fault(
                name,
                format!("a wish cannot change {name}"),
                "a wish may hold n, lit and override; everything else is for the owner to edit",
            ));
        }
        if lit.is_none() && owners_override.is_none() {
            return Err(Finding::new(
                Pointer::default(),
                "the wish wishes for nothing",
                "send lit or override beside n",
            ));
        }
        Ok(Self::Wish { n, lit, owners_override })
    }

    /// Reads an `alive` message.
    ///
    /// # Errors
    /// As [`Message::boot`].
    pub fn alive(bytes: &[u8]) -> Result<Self, MessageFault> {
        let mut reader = Reader::read(bytes)?;
        let alive = reader.flag("alive")?;
        Ok(Self::Alive { alive: Reader::needed("alive", alive, "{\"alive\":true}")? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_the_messages_page_are_read() {
        assert!(matches!(
            Message::boot(br#"{"reason":"power-on","have":17,"firmware":"2.1.0","boots":40,"rssi":-61}"#),
            Ok(Message::Boot { reason: BootReason::PowerOn, have: 17, boots: Some(40), rssi: Some(-61), .. })
        ));
        assert_eq!(Message::ask(br#"{"have":17}"#), Ok(Message::Ask { have: 17 }));
        assert!(matches!(Message::reported(br#"{"rev":42,"patch":{"a":null}}"#), Ok(Message::Report { rev: 42, .. })));
        assert_eq!(
            Message::event(br#"{"event":"motion","n":12}"#),
            Ok(Message::Event { event: "motion".into(), n: 12 })
        );
        assert_eq!(
            Message::wish(br#"{"n":5,"override":null}"#),
            Ok(Message::Wish { n: 5, lit: None, owners_override: Some(None) })
        );
        assert_eq!(Message::alive(br#"{"alive":false}"#), Ok(Message::Alive { alive: false }));
    }

    #[test]
    fn whole_numbers_are_read_in_any_spelling_and_nothing_else_is() {
        for good in ["17", "17.0", "1.7e1"] {
            assert_eq!(Message::ask(format!("{{\"have\":{good}}}").as_bytes()), Ok(Message::Ask { have: 17 }));
        }
        for bad in ["-1", "1.5", "9007199254740993", "1e300", "\"17\"", "null", "true", "[17]"] {
            let fault = Message::ask(format!("{{\"have\":{bad}}}").as_bytes()).unwrap_err();
            assert_eq!(fault.pointer.to_string(), "/have", "{bad}");
        }
    }

    #[test]
    fn a_bad_message_names_its_place() {
        for (read, bytes, place) in [
            (Message::boot as fn(&[u8]) -> _, &br#"{"reason":"bored"}"#[..], "/reason"),
            (Message::boot, br#"{"firmware":7}"#, "/firmware"),
            (Message::boot, br#"{"rssi":-1e9}"#, "/rssi"),
            (Message::reported, br#"{"patch":{}}"#, "/rev"),
            (Message::reported, br#"{"rev":1,"patch":[]}"#, "/patch"),
            (Message::event, br#"{"event":"motion"}"#, "/n"),
            (Message::event, br#"{"event":"a\u0000b","n":1}"#, "/event"),
            (Message::wish, br#"{"n":1}"#, ""),
            (Message::wish, br#"{"n":1,"looks":{}}"#, "/looks"),
            (Message::wish, br#"{"n":1,"lit":"yes"}"#, "/lit"),
            (Message::alive, br#"{"alive":1}"#, "/alive"),
            (Message::alive, b"", ""),
            (Message::alive, b"\xff\xfe", ""),
            (Message::alive, b"[]", ""),
        ] {
            let fault = read(bytes).unwrap_err();
            assert_eq!(fault.pointer.to_string(), place, "{}", String::from_utf8_lossy(bytes));
            assert!(!fault.advice.is_empty());
        }
    }
}
