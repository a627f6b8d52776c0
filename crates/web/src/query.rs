//! Query parameters: each is known, comes once and has a value that it can have.

use std::collections::BTreeMap;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use document::Pointer;
use jiff::Timestamp;
use percent_encoding::percent_decode;

use crate::problem_type::ProblemType;
use crate::refusal::Refusal;
use crate::time;

/// The parameters of a request, to be taken one by one.
#[derive(Debug, Default)]
pub(crate) struct Query(BTreeMap<String, String>);

impl<S: Sync> FromRequestParts<S> for Query {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Refusal> {
        Self::read(parts.uri.query().unwrap_or_default())
    }
}

/// The refusal of a parameter.
pub(crate) fn bad(name: &str, text: &str, advice: &str) -> Refusal {
    Refusal::new(ProblemType::BAD_QUERY, format!("the query parameter {name:?} {text}")).advice(advice)
}

impl Query {
    fn read(text: &str) -> Result<Self, Refusal> {
        let mut parameters = BTreeMap::new();
        for pair in text.split('&').filter(|pair| !pair.is_empty()) {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            let (name, value) = (decoded(name)?, decoded(value)?);
            if parameters.insert(name.clone(), value).is_some() {
                return Err(bad(&name, "comes twice", "send it once"));
            }
        }
        Ok(Self(parameters))
    }

    /// A parameter's text.
    pub(crate) fn text(&mut self, name: &str) -> Option<String> {
        self.0.remove(name)
    }

    /// A parameter that is read by a function.
    pub(crate) fn take<T>(
        &mut self,
        name: &str,
        advice: &str,
        read: impl FnOnce(&str) -> Option<T>,
    ) -> Result<Option<T>, Refusal> {
        match self.0.remove(name) {
            None => Ok(None),
            Some(text) => {
                let shown: String = text.chars().take(80).collect();
                read(&text).map(Some).ok_or_else(|| bad(name, &format!("cannot be {shown:?}"), advice))
            }
        }
    }

    /// A time.
    pub(crate) fn time(&mut self, name: &str) -> Result<Option<Timestamp>, Refusal> {
        let Some(text) = self.0.remove(name) else { return Ok(None) };
        time::read(&text).map(Some).map_err(|unread| {
            let shown: String = text.chars().take(80).collect();
            match unread {
                time::Unread::Form => {
                    bad(name, &format!("cannot be {shown:?}"), "write an RFC 3339 time, such as 2026-11-25T20:00:00Z")
                }
                time::Unread::Range => bad(
                    name,
                    &format!("is {shown:?}, which is after {}, the last time that there is here", time::LAST),
                    "write an earlier time",
                ),
            }
        })
    }

    /// A revision.
    pub(crate) fn revision(&mut self, name: &str) -> Result<Option<u64>, Refusal> {
        self.take(name, "write a revision as a whole number, such as 17", whole)
    }

    /// How many there are on a page.
    pub(crate) fn limit(&mut self) -> Result<usize, Refusal> {
        let read = |text: &str| whole(text).and_then(|n| usize::try_from(n).ok()).filter(|n| (1..=1000).contains(n));
        Ok(self.take("limit", "write a whole number from 1 to 1000", read)?.unwrap_or(100))
    }

    /// A JSON Pointer.
    pub(crate) fn pointer(&mut self, name: &str) -> Result<Option<Pointer>, Refusal> {
        self.take(name, "write a JSON Pointer (RFC 6901), such as /looks/evening", |text| text.parse().ok())
    }

    /// Refuses what was not taken. `known` are the names that there are.
    pub(crate) fn finish(self, known: &[&str]) -> Result<(), Refusal> {
        match self.0.keys().next() {
            None => Ok(()),
            Some(name) => {
                let name: String = name.chars().take(80).collect();
                let advice = match known {
                    [] => "leave it out; there are no parameters here".to_owned(),
                    known => format!("leave it out; the parameters here are: {}", known.join(", ")),
                };
                Err(bad(&name, "is not known here", &advice))
            }
        }
    }
}

/// Digits and nothing else, as a number.
pub(crate) fn whole(text: &str) -> Option<u64> {
    text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

fn decoded(text: &str) -> Result<String, Refusal> {
    let spaced = text.replace('+', " ");
    let bytes: Vec<u8> = percent_decode(spaced.as_bytes()).collect();
    String::from_utf8(bytes).ok().filter(|text| !text.contains('\0')).ok_or_else(|| {
        let shown: String = text.chars().take(80).collect();
        Refusal::new(ProblemType::BAD_QUERY, format!("{shown:?} in the query is not percent-encoded UTF-8"))
            .advice("encode what is no ASCII letter or digit as UTF-8, percent-encoded")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parameters_are_decoded_and_each_comes_once() {
        let mut query = Query::read("by=a+b%26&path=%2Flooks~1x&flag").unwrap();
        assert_eq!(query.text("by").as_deref(), Some("a b&"));
        assert_eq!(query.pointer("path").unwrap().unwrap().to_string(), "/looks~1x");
        assert!(query.finish(&["by"]).unwrap_err().detail().contains("\"flag\""));
        for bad in ["a=1&a=2", "a=%ff", "%ff=1", "a=%00"] {
            assert_eq!(Query::read(bad).unwrap_err().problem(), ProblemType::BAD_QUERY, "{bad}");
        }
    }

    #[test]
    fn numbers_are_digits_within_their_bounds() {
        for bad in ["0", "1001", "-1", "+5", "1e2", "1.0", "", " 5", "99999999999999999999999", "٣"] {
            let mut query = Query(BTreeMap::from([("limit".into(), bad.into())]));
            assert!(query.limit().is_err(), "{bad}");
        }
        assert_eq!(Query::read("limit=1000").unwrap().limit().unwrap(), 1000);
        assert_eq!(Query::read("").unwrap().limit().unwrap(), 100);
    }
}
