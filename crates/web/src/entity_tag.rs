//! Entity tags and conditional requests (RFC 9110, sections 8.8.3 and 13).

use axum::http::header::{HeaderName, IF_MATCH, IF_NONE_MATCH};
use axum::http::{HeaderMap, HeaderValue};
use jiff::Timestamp;
use service::{Fixture, Precondition, Standing};

use crate::problem_type::ProblemType;
use crate::query::whole;
use crate::refusal::Refusal;

/// An entity tag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct EntityTag {
    weak: bool,
    opaque: String,
}

impl EntityTag {
    /// A strong tag.
    pub(crate) fn strong(opaque: impl ToString) -> Self {
        Self { weak: false, opaque: opaque.to_string() }
    }

    /// Strong comparison (section 8.8.3.2): both are strong and the same.
    #[cfg(test)]
    fn is_strongly(&self, other: &Self) -> bool {
        !self.weak && !other.weak && self.opaque == other.opaque
    }

    /// Weak comparison (section 8.8.3.2): the same text, weak or not.
    fn is_weakly(&self, other: &Self) -> bool {
        self.opaque == other.opaque
    }

    /// The tag as a header's value.
    pub(crate) fn header(&self) -> HeaderValue {
        let prefix = if self.weak { "W/" } else { "" };
        let mut text = String::with_capacity(prefix.len() + self.opaque.len() + 2);
        for part in [prefix, "\"", &self.opaque, "\""] {
            text.push_str(part);
        }
        // tags made here are ASCII, those of others are never sent back
        HeaderValue::try_from(text).unwrap_or(HeaderValue::from_static("\"\""))
    }
}

/// What If-Match or If-None-Match names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Tags {
    /// `*`.
    Any,
    /// A list.
    List(Vec<EntityTag>),
}

/// Reads If-Match or If-None-Match; several lines make one list.
pub(crate) fn tags(headers: &HeaderMap, name: &HeaderName) -> Result<Option<Tags>, Refusal> {
    let mut lines = headers.get_all(name).iter().peekable();
    if lines.peek().is_none() {
        return Ok(None);
    }
    let mut text = Vec::new();
    for line in lines {
        if !text.is_empty() {
            text.push(b',');
        }
        text.extend_from_slice(line.as_bytes());
    }
    parse(&text).map(Some).ok_or_else(|| {
        Refusal::new(ProblemType::BAD_HEADER, format!("the header {name} is neither * nor a list of entity tags"))
            .advice("write entity tags in double quotes, as the ETag header gave them, such as \"42\"")
    })
}

/// `"*" / #entity-tag` (section 13.1.1); `entity-tag = [ "W/" ] DQUOTE *etagc DQUOTE`.
fn parse(text: &[u8]) -> Option<Tags> {
    let text = text.trim_ascii();
    if text == b"*" {
        return Some(Tags::Any);
    }
    let mut list = Vec::new();
    let mut rest = text;
    loop {
        rest = rest.trim_ascii_start();
        // empty elements of a list are passed over (section 5.6.1.2)
        if let Some(after) = rest.strip_prefix(b",") {
            rest = after;
            continue;
        }
        if rest.is_empty() {
            break;
        }
        let weak = rest.starts_with(b"W/");
        let quoted = if weak { rest.get(2..)? } else { rest };
        let inner = quoted.strip_prefix(b"\"")?;
        let end = inner.iter().position(|byte| *byte == b'"')?;
        let (opaque, after) = inner.split_at_checked(end)?;
        // etagc = %x21 / %x23-7E / obs-text: no space
        if !opaque.iter().all(|byte| matches!(byte, 0x21 | 0x23..=0x7e | 0x80..)) {
            return None;
        }
        list.push(EntityTag { weak, opaque: String::from_utf8_lossy(opaque).into_owned() });
        rest = after.get(1..)?.trim_ascii_start();
        if !rest.is_empty() && !rest.starts_with(b",") {
            return None;
        }
    }
    (!list.is_empty()).then_some(Tags::List(list))
}

/// Whether a reader holds the current state already (section 13.1.2), so that 304 is the answer.
pub(crate) fn is_known(headers: &HeaderMap, current: &EntityTag) -> Result<bool, Refusal> {
    Ok(match tags(headers, &IF_NONE_MATCH)? {
        None => false,
        Some(Tags::Any) => true,
        Some(Tags::List(list)) => list.iter().any(|tag| tag.is_weakly(current)),
    })
}

/// What an edit's condition is held against, as it is now.
#[derive(Debug)]
pub(crate) struct Current {
    revision: u64,
    /// The tag of the whole that the document is a part of, where that is what is read.
    tag: Option<EntityTag>,
}

impl Current {
    /// The desired document: its tag is its revision.
    pub(crate) fn desired(fixture: &Fixture) -> Self {
        Self { revision: fixture.desired.revision.get(), tag: None }
    }

    /// The record: its revision alone, or the tag of the whole fixture.
    pub(crate) fn record(fixture: &Fixture) -> Self {
        Self { revision: fixture.record_held.revision.get(), tag: Some(of_fixture(fixture)) }
    }

    /// The revision that a tag stands for: one that is a revision and nothing else, and the current one for the whole
    /// tag. A tag that begins like it and goes on otherwise is of a state that has passed.
    fn revision_of(&self, tag: &EntityTag) -> Option<u64> {
        if self.tag.as_ref().is_some_and(|whole| whole.opaque == tag.opaque) {
            return Some(self.revision);
        }
        whole(&tag.opaque).filter(|revision| revision.to_string() == tag.opaque)
    }
}

/// The condition of an edit.
///
/// If-Match goes by strong comparison: weak tags never match (section 13.1.1). If-None-Match goes by weak comparison,
/// and `*` asks that nothing was ever written (section 13.1.2); it is turned into the revision at which the edit may be
/// made, so that an edit in between is seen.
pub(crate) fn precondition(headers: &HeaderMap, current: &Current) -> Result<Precondition, Refusal> {
    let matching = match tags(headers, &IF_MATCH)? {
        None => None,
        Some(Tags::Any) => Some(Precondition::Exists),
        Some(Tags::List(list)) => {
            let strong = list.iter().filter(|tag| !tag.weak);
            Some(Precondition::OneOf(strong.filter_map(|tag| current.revision_of(tag)).collect()))
        }
    };
    let none_matching = match tags(headers, &IF_NONE_MATCH)? {
        None => return Ok(matching.unwrap_or_default()),
        Some(Tags::Any) => 0,
        Some(Tags::List(list)) if list.iter().any(|tag| current.revision_of(tag) == Some(current.revision)) => {
            return Ok(Precondition::OneOf(Vec::new()));
        }
        Some(Tags::List(_)) => current.revision,
    };
    let both = match matching {
        Some(Precondition::OneOf(list)) if !list.contains(&none_matching) => Vec::new(),
        _ => vec![none_matching],
    };
    Ok(Precondition::OneOf(both))
}

/// The tag of a fixture: whatever its answer holds is in it.
pub(crate) fn of_fixture(fixture: &Fixture) -> EntityTag {
    EntityTag::strong(format!(
        "{}-{}-{}.{}-{}-{}-{}",
        fixture.record_held.revision,
        fixture.desired.revision,
        fixture.reported.revision,
        fixture.reported.drift,
        fixture.life.count,
        fixture.enrolled_at.map_or(0, Timestamp::as_millisecond),
        Standing::of(fixture).as_str()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(name: HeaderName, text: &str) -> HeaderMap {
        HeaderMap::from_iter([(name, HeaderValue::from_bytes(text.as_bytes()).unwrap())])
    }

    /// RFC 9110, section 8.8.3.2, table 3, and further rows by the same rule.
    #[test]
    fn tags_compare_as_rfc_9110_says() {
        let table = include_str!("../../../tests/check-values/etag-compare.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
        let mut seen = 0;
        for row in rows.records() {
            let row = row.unwrap();
            let one = |text: &str| match parse(text.as_bytes()) {
                Some(Tags::List(list)) if list.len() == 1 => list.into_iter().next(),
                _ => None,
            };
            let pair = one(&row[0]).zip(one(&row[1]));
            match pair {
                None => assert!(row[2].starts_with("not a valid pair"), "{row:?}"),
                Some((a, b)) => {
                    assert_eq!(a.is_strongly(&b), &row[2] == "yes", "{row:?}");
                    assert_eq!(a.is_weakly(&b), &row[3] == "yes", "{row:?}");
                }
            }
            seen += 1;
        }
        assert!(seen >= 7);
    }

    #[test]
    fn lists_are_read_and_what_is_no_list_is_refused() {
        for good in ["\"1\"", "\"1\", \"2\"", " W/\"1\" ,\"2\",", "\"a,b\"", "\"\"", ", \"1\""] {
            assert!(parse(good.as_bytes()).is_some(), "{good}");
        }
        for bad in ["", "1", "\"1", "w/\"1\"", "\"1\" \"2\"", "*, \"1\"", "\"a b\"", ",", "\"1\"x"] {
            assert_eq!(parse(bad.as_bytes()), None, "{bad}");
        }
    }

    #[test]
    fn if_match_goes_by_strong_comparison() {
        let current = Current { revision: 5, tag: Some(EntityTag::strong("5-1-0.0-3-0-behind")) };
        let of = |text: &str| precondition(&header(IF_MATCH, text), &current).unwrap();
        assert_eq!(of("*"), Precondition::Exists);
        assert_eq!(of("\"5\", W/\"6\", \"7\", \"x\""), Precondition::OneOf(vec![5, 7]));
        assert_eq!(of("W/\"5\""), Precondition::OneOf(vec![]));
        assert_eq!(of("\"5-1-0.0-3-0-behind\""), Precondition::OneOf(vec![5]));
        // of another state, or no tag of ours at all
        for tag in ["5-999-x", "5-1-0.0-3-0-in-step", "5-1-0.0-3-0-behind-", "5-", "7-1-0.0-3-0-behind", "05", "+5"] {
            assert_eq!(of(&format!("\"{tag}\"")), Precondition::OneOf(vec![]), "{tag}");
        }
    }

    #[test]
    fn if_none_match_becomes_the_revision_at_which_the_edit_may_be_made() {
        let current = Current { revision: 5, tag: Some(EntityTag::strong("5-x")) };
        let of = |text: &str| precondition(&header(IF_NONE_MATCH, text), &current).unwrap();
        assert_eq!(of("W/\"5-x\""), Precondition::OneOf(vec![]));
        assert_eq!(of("\"5-y\""), Precondition::OneOf(vec![5]));
        assert_eq!(of("*"), Precondition::OneOf(vec![0]));
        assert_eq!(of("W/\"5\""), Precondition::OneOf(vec![]));
        assert_eq!(of("\"4\""), Precondition::OneOf(vec![5]));
        let mut both = header(IF_NONE_MATCH, "\"4\"");
        both.insert(IF_MATCH, HeaderValue::from_static("\"6\""));
        assert_eq!(precondition(&both, &current).unwrap(), Precondition::OneOf(vec![]));
    }
}
