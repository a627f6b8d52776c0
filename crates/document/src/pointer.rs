//! RFC 6901: a pointer to one place in a JSON document.

use alloc::borrow::Cow;
use alloc::string::{String, ToString};
use core::fmt::{self, Write as _};
use core::str::FromStr;

use serde::{Deserialize, Serialize};
use serde_json::Value;

/// A JSON Pointer (RFC 6901): the whole document (the default), or `/` and a token for each step.
///
/// The order of pointers is that of their text. As JSON a pointer is a string.
///
/// ```
/// use document::Pointer;
/// use serde_json::json;
///
/// let document = json!({"looks": {"a/b": {"colours": ["gold", "wheat"]}}});
/// let pointer: Pointer = "/looks/a~1b/colours/1".parse()?;
/// assert_eq!(pointer.resolve(&document), Some(&json!("wheat")));
///
/// let mut built = Pointer::default().child("looks").child("a/b");
/// assert!(built.is_prefix_of(&pointer));
/// built.push("colours");
/// built.push_index(1);
/// assert_eq!(built, pointer);
/// # Ok::<(), document::PointerFault>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Pointer(String);

/// Why a text is no JSON Pointer (RFC 6901 section 3).
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PointerFault {
    /// It is neither empty nor begins with a slash.
    #[error("a JSON pointer is empty or begins with a slash: write it like /looks/evening")]
    NoLeadingSlash,
    /// A tilde is followed by neither 0 nor 1.
    #[error(
        "the tilde at byte {at} of the JSON pointer stands alone: write ~0 for a tilde, ~1 for a \
         slash within a name"
    )]
    LoneTilde {
        /// The tilde's place in the text, in bytes from 0.
        at: usize,
    },
}

impl Pointer {
    /// The pointer as text, escaped as RFC 6901 section 3 asks.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether it points at the whole document.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.0.is_empty()
    }

    /// Goes one step further: to the member of this (unescaped) name, or the array element of
    /// this index.
    pub fn push(&mut self, token: &str) {
        self.0.push('/');
        if !token.contains(['~', '/']) {
            self.0.push_str(token);
            return;
        }
        for character in token.chars() {
            match character {
                '~' => self.0.push_str("~0"),
                '/' => self.0.push_str("~1"),
                other => self.0.push(other),
            }
        }
    }

    /// Goes one step further, to an array element.
    pub fn push_index(&mut self, index: usize) {
        // Writing into a `String` cannot fail.
        let _ = write!(self.0, "/{index}");
    }

    /// The place one step further; `token` is not escaped.
    #[must_use]
    pub fn child(&self, token: &str) -> Self {
        let mut child = self.clone();
        child.push(token);
        child
    }

    /// The place that `rest` points at, seen from this place.
    #[must_use]
    pub fn join(&self, rest: &Self) -> Self {
        let mut joined = self.clone();
        joined.0.push_str(&rest.0);
        joined
    }

    /// The place one step back; `None` for the whole document.
    #[must_use]
    pub fn parent(&self) -> Option<Self> {
        let (parent, _) = self.0.rsplit_once('/')?;
        Some(Self(parent.to_string()))
    }

    /// The steps, unescaped.
    pub fn tokens(&self) -> impl Iterator<Item = Cow<'_, str>> {
        // The text before the first slash is empty and no token.
        self.0.split('/').skip(1).map(unescape)
    }

    /// Whether `other` is this very place or lies under it.
    #[must_use]
    pub fn is_prefix_of(&self, other: &Self) -> bool {
        match other.0.strip_prefix(&self.0) {
            Some(rest) => rest.is_empty() || rest.starts_with('/'),
            None => false,
        }
    }

    /// The value at this place; `None` where there is none (RFC 6901 section 4: an array index
    /// has no leading zero and no sign, and `-` is the element after the last).
    #[must_use]
    pub fn resolve<'a>(&self, value: &'a Value) -> Option<&'a Value> {
        self.tokens().try_fold(value, |value, token| match value {
            Value::Object(members) => members.get(token.as_ref()),
            Value::Array(elements) => elements.get(array_index(&token)?),
            _ => None,
        })
    }

    /// The length of the text in bytes, to be given back to [`Self::cut`].
    pub(crate) fn mark(&self) -> usize {
        self.0.len()
    }

    /// Goes back to where [`Self::mark`] was taken.
    pub(crate) fn cut(&mut self, mark: usize) {
        self.0.truncate(mark);
    }
}

/// An array index by RFC 6901 section 4: `0`, or digits without a leading zero.
fn array_index(token: &str) -> Option<usize> {
    let canonical = token == "0" || !token.starts_with(['0', '+']);
    if canonical { token.parse().ok() } else { None }
}

/// `~1` first and then `~0`, so that `~01` is `~1` (RFC 6901 section 4).
fn unescape(token: &str) -> Cow<'_, str> {
    if token.contains('~') { Cow::Owned(token.replace("~1", "/").replace("~0", "~")) } else { Cow::Borrowed(token) }
}

fn validate(text: &str) -> Result<(), PointerFault> {
    if !text.is_empty() && !text.starts_with('/') {
        return Err(PointerFault::NoLeadingSlash);
    }
    let mut bytes = text.bytes().enumerate().peekable();
    while let Some((at, byte)) = bytes.next() {
        if byte == b'~' && bytes.next_if(|(_, next)| matches!(next, b'0' | b'1')).is_none() {
            return Err(PointerFault::LoneTilde { at });
        }
    }
    Ok(())
}

impl FromStr for Pointer {
    type Err = PointerFault;

    fn from_str(text: &str) -> Result<Self, PointerFault> {
        Self::try_from(text)
    }
}

impl TryFrom<&str> for Pointer {
    type Error = PointerFault;

    fn try_from(text: &str) -> Result<Self, PointerFault> {
        validate(text)?;
        Ok(Self(text.to_string()))
    }
}

impl TryFrom<String> for Pointer {
    type Error = PointerFault;

    fn try_from(text: String) -> Result<Self, PointerFault> {
        validate(&text)?;
        Ok(Self(text))
    }
}

impl From<Pointer> for String {
    fn from(pointer: Pointer) -> Self {
        pointer.0
    }
}

impl fmt::Display for Pointer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;
    use serde_json::json;

    fn pointer(text: &str) -> Pointer {
        text.parse().unwrap()
    }

    #[test]
    fn a_prefix_ends_at_a_whole_token() {
        assert!(Pointer::default().is_prefix_of(&pointer("/a")));
        assert!(pointer("/a").is_prefix_of(&pointer("/a")));
        assert!(pointer("/a").is_prefix_of(&pointer("/a/b")));
        assert!(!pointer("/a").is_prefix_of(&pointer("/ab")));
        assert!(!pointer("/a/b").is_prefix_of(&pointer("/a")));
    }

    #[test]
    fn the_parent_is_one_step_back() {
        assert_eq!(pointer("/a/b").parent(), Some(pointer("/a")));
        assert_eq!(pointer("/a").parent(), Some(Pointer::default()));
        assert_eq!(pointer("/").parent(), Some(Pointer::default()));
        assert_eq!(Pointer::default().parent(), None);
    }

    #[test]
    fn a_joined_pointer_has_the_steps_of_both() {
        assert_eq!(pointer("/a").join(&pointer("/b/0")), pointer("/a/b/0"));
        assert_eq!(pointer("/a").join(&Pointer::default()), pointer("/a"));
    }

    #[test]
    fn the_whole_document_has_no_token_and_a_slash_has_an_empty_one() {
        assert_eq!(Pointer::default().tokens().count(), 0);
        assert_eq!(pointer("/").tokens().collect::<Vec<_>>(), [""]);
    }

    #[test]
    fn faults_name_the_place_of_the_lone_tilde() {
        assert_eq!("/ok~0/m~2".parse::<Pointer>(), Err(PointerFault::LoneTilde { at: 7 }));
        assert_eq!("~".parse::<Pointer>(), Err(PointerFault::NoLeadingSlash));
        assert_eq!("/~".parse::<Pointer>(), Err(PointerFault::LoneTilde { at: 1 }));
    }

    #[test]
    fn an_index_too_large_for_the_machine_is_simply_not_there() {
        let huge = pointer("/99999999999999999999999999999999");
        assert_eq!(huge.resolve(&json!([1, 2])), None);
    }

    #[test]
    fn a_pointer_is_a_string_in_json_and_is_checked_when_read() {
        assert_eq!(serde_json::to_value(pointer("/a~1b")).unwrap(), json!("/a~1b"));
        assert_eq!(serde_json::from_value::<Pointer>(json!("/a~1b")).unwrap(), pointer("/a~1b"));
        assert!(serde_json::from_value::<Pointer>(json!("a")).is_err());
    }
}
