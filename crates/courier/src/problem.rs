//! What was wrong with a fixture's last message, as an RFC 9457 problem object small enough for its buffer.

use serde_json::json;
use service::{Finding, Rejection};

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
