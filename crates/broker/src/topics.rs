//! The names of topics: a prefix, a fixture, and what the message is.

use crate::BrokerError;
use std::fmt;
use std::str::FromStr;

/// The most bytes that a prefix may have. Every message carries it, and the smallest clients have buffers of a few
/// hundred bytes.
const MOST_PREFIX_BYTES: usize = 24;
/// The most bytes of a fixture's id.
const MOST_ID_BYTES: usize = 64;

/// The first levels of every topic: 1 to 24 bytes of `[A-Za-z0-9_-]`, in levels parted by `/`.
///
/// ```
/// use broker::{Down, Prefix, Up};
///
/// let prefix: Prefix = "house/lights".parse()?;
/// assert_eq!(prefix.down("stairs", Down::Desired), "house/lights/stairs/desired");
/// assert_eq!(prefix.read_up("house/lights/stairs/boot"), Some(("stairs", Up::Boot)));
/// # Ok::<(), broker::BrokerError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Prefix(String);

impl Default for Prefix {
    /// `fixtures`.
    fn default() -> Self {
        Self("fixtures".to_owned())
    }
}

impl fmt::Display for Prefix {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for Prefix {
    type Err = BrokerError;

    fn from_str(text: &str) -> Result<Self, BrokerError> {
        let refuse = |why| Err(BrokerError::Prefix { prefix: text.chars().take(64).collect(), why });
        if text.is_empty() {
            return refuse("it is empty");
        }
        if text.len() > MOST_PREFIX_BYTES {
            return refuse("it is longer than 24 bytes");
        }
        if text.starts_with('$') {
            return refuse("topics that begin with '$' belong to the broker");
        }
        if text.split('/').any(str::is_empty) {
            return refuse("it has an empty level");
        }
        let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'-' | b'/');
        if !text.bytes().all(plain) {
            return refuse("it has a character that is not allowed");
        }
        Ok(Self(text.to_owned()))
    }
}

impl Prefix {
    /// Reads a prefix.
    ///
    /// # Errors
    /// [`BrokerError::Prefix`] if it is empty, too long, or has an empty level, a wildcard or another character that
    /// is not allowed.
    pub fn parse(text: &str) -> Result<Self, BrokerError> {
        text.parse()
    }

    /// The prefix as text, without a slash at its end.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The topic on which the daemon sends `message` to `fixture`.
    #[must_use]
    pub fn down(&self, fixture: &str, message: Down) -> String {
        self.topic(fixture, message.as_str())
    }

    /// The topic on which `fixture` sends `message`.
    #[must_use]
    pub fn up(&self, fixture: &str, message: Up) -> String {
        self.topic(fixture, message.as_str())
    }

    /// Which fixture sent what, if `topic` is one on which a fixture sends. Borrows the fixture's id from the topic.
    #[must_use]
    pub fn read_up<'a>(&self, topic: &'a str) -> Option<(&'a str, Up)> {
        let (fixture, message) = self.split(topic)?;
        let message = message.parse().ok()?;
        is_fixture_id(fixture).then_some((fixture, message))
    }

    /// Which fixture is sent what, if `topic` is one on which the daemon sends.
    #[must_use]
    pub fn read_down<'a>(&self, topic: &'a str) -> Option<(&'a str, Down)> {
        let (fixture, message) = self.split(topic)?;
        let message = message.parse().ok()?;
        is_fixture_id(fixture).then_some((fixture, message))
    }

    /// The filters with which the daemon hears every fixture, one for each message: `fixtures/+/boot` and so on.
    #[must_use]
    pub fn up_filters(&self) -> Vec<String> {
        Up::ALL.iter().map(|&message| self.up("+", message)).collect()
    }

    /// What stands in place of the fixture and of the message, if the topic has exactly those two levels after the
    /// prefix.
    pub(crate) fn split<'a>(&self, topic: &'a str) -> Option<(&'a str, &'a str)> {
        let rest = topic.strip_prefix(self.0.as_str())?.strip_prefix('/')?;
        let (fixture, message) = rest.split_once('/')?;
        (!message.contains('/')).then_some((fixture, message))
    }

    fn topic(&self, fixture: &str, message: &str) -> String {
        format!("{}/{fixture}/{message}", self.0)
    }
}

/// What a fixture sends: the last level of its topic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Up {
    /// It has just started.
    Boot,
    /// It wants the whole document again.
    Ask,
    /// What it has applied.
    Reported,
    /// Something happened at it: motion, a contact.
    Event,
    /// A person asked for something at the fixture itself.
    Wish,
    /// Whether it is there; also its last will. Retained.
    Alive,
}

/// What the daemon sends to a fixture: the last level of its topic.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Down {
    /// The whole desired document and its agenda.
    Desired,
    /// A merge patch from one revision to the next.
    Patch,
    /// What to show now, everything resolved.
    Showing,
    /// What was wrong with the fixture's last message.
    Problem,
}

impl Up {
    /// Every message that a fixture may send.
    pub const ALL: [Self; 6] = [Self::Boot, Self::Ask, Self::Reported, Self::Event, Self::Wish, Self::Alive];

    /// The last level of the topic.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Boot => "boot",
            Self::Ask => "ask",
            Self::Reported => "reported",
            Self::Event => "event",
            Self::Wish => "wish",
            Self::Alive => "alive",
        }
    }
}

impl Down {
    /// Every message that the daemon may send.
    pub const ALL: [Self; 4] = [Self::Desired, Self::Patch, Self::Showing, Self::Problem];

    /// The last level of the topic.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Desired => "desired",
            Self::Patch => "patch",
            Self::Showing => "showing",
            Self::Problem => "problem",
        }
    }
}

impl fmt::Display for Up {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl fmt::Display for Down {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl FromStr for Up {
    type Err = BrokerError;

    fn from_str(text: &str) -> Result<Self, BrokerError> {
        Self::ALL
            .into_iter()
            .find(|message| message.as_str() == text)
            .ok_or_else(|| BrokerError::UnknownMessage(text.chars().take(64).collect()))
    }
}

impl FromStr for Down {
    type Err = BrokerError;

    fn from_str(text: &str) -> Result<Self, BrokerError> {
        Self::ALL
            .into_iter()
            .find(|message| message.as_str() == text)
            .ok_or_else(|| BrokerError::UnknownMessage(text.chars().take(64).collect()))
    }
}

/// Whether the text could be a fixture's id: `[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?`. No wildcard and no slash can pass.
#[must_use]
pub fn is_fixture_id(text: &str) -> bool {
    let bytes = text.as_bytes();
    let end = |b: &u8| b.is_ascii_lowercase() || b.is_ascii_digit();
    bytes.len() <= MOST_ID_BYTES
        && bytes.first().is_some_and(end)
        && bytes.last().is_some_and(end)
        && bytes.iter().all(|b| end(b) || *b == b'-')
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_prefix_is_fixtures_unless_told() {
        assert_eq!(Prefix::default().as_str(), "fixtures");
        assert_eq!(Prefix::default(), Prefix::parse("fixtures").unwrap());
    }

    #[test]
    fn prefixes_that_could_reach_other_topics_are_refused() {
        for bad in [
            "",
            "/",
            "a/",
            "/a",
            "a//b",
            "+",
            "#",
            "a/+",
            "a/#",
            "$SYS",
            "$share/g",
            "a b",
            "a\0",
            "ü",
            "a.b",
            "1234567890123456789012345",
        ] {
            assert!(Prefix::parse(bad).is_err(), "{bad:?} was taken");
        }
        for good in ["a", "house/lights", "A_b-9", "123456789012345678901234"] {
            assert_eq!(Prefix::parse(good).unwrap().to_string(), good);
        }
    }

    #[test]
    fn a_refused_prefix_says_what_to_do() {
        let said = Prefix::parse("a/+").unwrap_err().to_string();
        assert!(said.contains("\"a/+\"") && said.contains("1 to 24"), "{said}");
    }

    #[test]
    fn the_daemon_hears_each_message_with_its_own_filter() {
        assert_eq!(
            Prefix::default().up_filters(),
            [
                "fixtures/+/boot",
                "fixtures/+/ask",
                "fixtures/+/reported",
                "fixtures/+/event",
                "fixtures/+/wish",
                "fixtures/+/alive"
            ]
        );
    }

    #[test]
    fn topics_with_other_shapes_are_nobodys() {
        let prefix = Prefix::parse("a/b").unwrap();
        for topic in [
            "a/b/x",
            "a/b/x/boot/more",
            "a/b//boot",
            "a/b/+/boot",
            "a/bb/x/boot",
            "a/x/boot",
            "x/a/b/x/boot",
            "a/b/x/Boot",
            "a/b/x/desired",
            "a/b/X/boot",
            "a/b/-x/boot",
            "a/b",
            "",
        ] {
            assert_eq!(prefix.read_up(topic), None, "{topic:?}");
        }
        assert_eq!(prefix.read_up("a/b/x/boot"), Some(("x", Up::Boot)));
        assert_eq!(prefix.read_down("a/b/x/desired"), Some(("x", Down::Desired)));
        assert_eq!(prefix.read_down("a/b/x/boot"), None);
    }

    #[test]
    fn ids_are_lower_case_letters_digits_and_inner_hyphens() {
        let long = "a".repeat(64);
        for good in ["a", "0", "a-b", "reed-01", long.as_str()] {
            assert!(is_fixture_id(good), "{good}");
        }
        let too_long = "a".repeat(65);
        for bad in ["", "-", "a-", "-a", "A", "a_b", "a/b", "+", "#", "@sconced", "ä", too_long.as_str()] {
            assert!(!is_fixture_id(bad), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn what_is_named_is_read_back(fixture in "[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?", prefix in "[A-Za-z0-9_-]{1,8}(/[A-Za-z0-9_-]{1,6}){0,2}") {
            let prefix = Prefix::parse(&prefix).unwrap();
            for message in Up::ALL {
                let topic = prefix.up(&fixture, message);
                prop_assert_eq!(prefix.read_up(&topic), Some((fixture.as_str(), message)));
                prop_assert_eq!(prefix.read_down(&topic), None);
            }
            for message in Down::ALL {
                let topic = prefix.down(&fixture, message);
                prop_assert_eq!(prefix.read_down(&topic), Some((fixture.as_str(), message)));
                prop_assert_eq!(prefix.read_up(&topic), None);
            }
        }

        #[test]
        fn whatever_is_read_is_named_the_same(topic in "\\PC{0,40}|fixtures/[a-z+#/$-]{0,12}/(boot|alive|wish|desired)") {
            let prefix = Prefix::default();
            if let Some((fixture, message)) = prefix.read_up(&topic) {
                prop_assert_eq!(prefix.up(fixture, message), topic.clone());
                prop_assert!(is_fixture_id(fixture));
            }
        }
    }
}
