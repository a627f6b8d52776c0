//! Names that cannot be wrong: once made, they are safe in a topic, a path and a file name.

use std::fmt;
use std::str::FromStr;
use std::sync::{Arc, LazyLock};

use serde::{Serialize, Serializer};
use thiserror::Error;

/// Why a name was refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NameError {
    /// Not of the form of a fixture id.
    #[error(
        "{0:?} is not a fixture id: write 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit, such as \"hall\" or \"jetty-2\""
    )]
    Fixture(String),
    /// Not of the form of a group's name.
    #[error(
        "{0:?} is not a group name: write 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit, such as \"way-to-bed\""
    )]
    Group(String),
    /// Not of the form of a kind's name.
    #[error(
        "{0:?} is not a kind's name: write 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit, such as \"strip\""
    )]
    Kind(String),
}

/// The form that all three names share: `[a-z0-9]([a-z0-9-]{0,62}[a-z0-9])?`.
fn well_formed(text: &str) -> bool {
    let inner = |b: &u8| b.is_ascii_lowercase() || b.is_ascii_digit() || *b == b'-';
    (1..=64).contains(&text.len()) && text.bytes().all(|b| inner(&b)) && !text.starts_with('-') && !text.ends_with('-')
}

/// Quotes at most the first 80 characters of a refused name, so that a message stays short.
fn shortened(text: &str) -> String {
    text.chars().take(80).collect()
}

macro_rules! name {
    ($(#[$doc:meta])* $name:ident, $variant:ident) => {
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Arc<str>);

        impl $name {
            /// The name as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $name {
            type Err = NameError;

            fn from_str(text: &str) -> Result<Self, NameError> {
                if well_formed(text) { Ok(Self(text.into())) } else { Err(NameError::$variant(shortened(text))) }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:?}", &*self.0)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
    };
}

name! {
    /// A fixture's id; also its MQTT user name and the level of its topics.
    FixtureId, Fixture
}
name! {
    /// The name of a group of fixtures.
    GroupName, Group
}
name! {
    /// The name of a kind: `strip`, `free`, or the stem of a JSON Schema file of the owner's.
    KindName, Kind
}

impl KindName {
    /// The built-in kind of addressable strips.
    #[must_use]
    pub fn strip() -> Self {
        STRIP.clone()
    }

    /// The built-in kind of which only the bounds are checked.
    #[must_use]
    pub fn free() -> Self {
        FREE.clone()
    }

    /// The same name, whose text is that of all fixtures of a built-in kind.
    pub(crate) fn shared(self) -> Self {
        if self == *STRIP {
            Self::strip()
        } else if self == *FREE {
            Self::free()
        } else {
            self
        }
    }
}

static STRIP: LazyLock<KindName> = LazyLock::new(|| KindName("strip".into()));
static FREE: LazyLock<KindName> = LazyLock::new(|| KindName("free".into()));

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_of_an_id_is_that_of_the_contract() {
        for good in ["a", "0", "hall", "jetty-2", "a-b-c", &"x".repeat(64)] {
            assert!(good.parse::<FixtureId>().is_ok(), "{good}");
        }
        for bad in ["", "-a", "a-", "A", "a b", "a/b", "..", "+", "#", "a\0b", "ä", "@x", "$SYS", &"x".repeat(65)] {
            assert!(bad.parse::<FixtureId>().is_err(), "{bad}");
        }
    }
}
