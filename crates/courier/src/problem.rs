//! What was wrong with a fixture's last message, as an RFC 9457 problem object small enough for its buffer.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use serde_json::json;
use service::{Finding, Rejection};
use tokio::time::Instant;

use crate::options::Refused;

/// Texts are cut to this many characters.
const TEXT: usize = 160;

fn cut(text: &str) -> String {
    text.chars().take(TEXT).collect()
}

fn object(name: &str, title: &str, detail: &str, pointer: Option<&str>, advice: Option<&str>, topic: &str) -> String {
    let mut problem =
        json!({"type": format!("/problems/{name}"), "title": title, "detail": cut(detail), "topic": topic});
    if let Some(members) = problem.as_object_mut() {
        if let Some(pointer) = pointer {
            members.insert("pointer".into(), cut(pointer).into());
        }
        if let Some(advice) = advice {
            members.insert("advice".into(), cut(advice).into());
        }
    }
    problem.to_string()
}

fn of_finding(name: &str, title: &str, finding: &Finding, topic: &str) -> String {
    object(name, title, &finding.text, Some(finding.pointer.as_str()), Some(&finding.advice), topic)
}

/// A message that could not be read.
pub(crate) fn unreadable(finding: &Finding, topic: &str) -> String {
    of_finding("message", "The message could not be read", finding, topic)
}

/// A message that was read and refused.
pub(crate) fn rejected(rejection: &Rejection, topic: &str) -> String {
    let title = "The message was refused";
    match rejection {
        Rejection::Invalid(findings) => match findings.first() {
            Some(finding) => of_finding("invalid", title, finding, topic),
            None => object("invalid", title, &rejection.to_string(), None, None, topic),
        },
        Rejection::Message(finding) => of_finding("message", title, finding, topic),
        Rejection::NeverGiven { .. } => object(
            "never-given",
            title,
            &rejection.to_string(),
            Some("/rev"),
            Some("send {\"have\":0} to the topic ask and take what comes"),
            topic,
        ),
        other => object("refused", title, &other.to_string(), None, None, topic),
    }
}

/// Something that the broker refused.
pub(crate) fn refused(refused: &Refused) -> String {
    object(
        "topic",
        "The broker refused it",
        &format!("a fixture may not {} {}", refused.action, cut(&refused.topic)),
        None,
        Some("use the topics of this fixture's own id only, as its enrolment lists them"),
        &cut(&refused.topic),
    )
}

/// Problems said to one fixture within [`SPAN`] at most: bad firmware must not fill the house with echoes.
const MOST: u32 = 10;
const SPAN: Duration = Duration::from_secs(10);
/// Fixtures that are remembered; when there are more, those whose span is over are forgotten.
const REMEMBERED: usize = 4096;

/// Counts what was said to whom.
#[derive(Debug, Default)]
pub(crate) struct Restraint(Mutex<HashMap<String, (Instant, u32)>>);

impl Restraint {
    /// Whether one more problem may be said to this fixture now.
    pub(crate) fn allows(&self, id: &str) -> bool {
        let now = Instant::now();
        let mut said = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if said.len() >= REMEMBERED {
            said.retain(|_, (since, _)| now.duration_since(*since) <= SPAN);
        }
        let (since, count) = said.entry(id.to_owned()).or_insert((now, 0));
        if now.duration_since(*since) > SPAN {
            (*since, *count) = (now, 0);
        }
        *count += 1;
        *count <= MOST
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn a_fixture_is_told_ten_times_in_ten_seconds_and_no_more() {
        let restraint = Restraint::default();
        assert_eq!((0..40).filter(|_| restraint.allows("hall")).count(), 10);
        assert!(restraint.allows("stairs"));
        tokio::time::advance(Duration::from_secs(11)).await;
        assert!(restraint.allows("hall"));
    }
}
