//! `…/enrol`: a controller's secret, and everything else that its firmware is set up with.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::State;
use axum::http::{Method, Response, StatusCode, Uri};
use service::{Asked, Precondition, TakesEffect};

use crate::answer::secret;
use crate::app::{App, to_the_end};
use crate::body;
use crate::caller::Caller;
use crate::entity_tag::{Current, precondition};
use crate::headers::Headers;
use crate::once::once;
use crate::openapi::EnrolProblems;
use crate::options::BrokerFace;
use crate::origin;
use crate::path::Id;
use crate::query::Query;
use crate::refusal::Refusal;

/// The buffer for `showing`: a message with topic stays within 480 bytes, and its header needs some.
const SHOWING_BYTES: u32 = 512;
/// The buffer for `desired`: the document of 8,192 bytes, an agenda of 32 changes with the longest names as JSON may have
/// to write them (a time of 10 digits, a name of 64 bytes each of which may need a backslash, and punctuation: 144
/// bytes), and 512 bytes for topic, header and the other members.
const DESIRED_BYTES: u32 = 8192 + 32 * 144 + 512;

/// Enrols a fixture's controller
///
/// Makes a new secret, which is shown this once and kept as a hash only. The secret before it, and the connection open
/// under it, end when the broker knows of it, which `takes_effect` says; the documents stay. So a dead controller is
/// replaced. Of two enrolments under one `If-Match` one is refused.
#[utoipa::path(
    post, path = "/v1/fixtures/{id}/enrol", tag = "fixtures", operation_id = "enrol_fixture",
    params(api::FixturePath, api::EditHeaders, api::OnceHeader),
    responses((status = 201, description = "It is enrolled, durably; the secret is shown this once", body = api::Enrolment), EnrolProblems)
)]
#[expect(clippy::too_many_arguments, reason = "they are the parts of a request")]
pub(crate) async fn enrol(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id,
    query: Query,
    method: Method,
    uri: Uri,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let sent = body::optional_json(&headers, body).await?;
    let once = once(&headers, &caller, &method, &uri, &sent.bytes)?;
    sent.object(&[])?;
    let precondition = precondition(&headers, &Current::record(&fixture))?;
    // what the caller saw is no longer so when somebody else enrols it first, though the record stays as it is
    let enrolment_seen = matches!(precondition, Precondition::OneOf(_)).then_some(fixture.enrolled_at);
    let asked = Asked { precondition, once, enrolment_seen, ..Asked::by(caller.actor()) };
    let service = Arc::clone(&app.service);
    let made = to_the_end(async move { service.enrol(id, asked).await }).await?;
    let (id, face) = (made.fixture.to_string(), &app.options.broker);
    let answer = api::Enrolment {
        username: id.clone(),
        secret: made.secret,
        client_id: id.clone(),
        broker: broker(face, origin::host(&headers, &uri)),
        prefix: face.prefix.clone(),
        buffer_bytes: api::BufferBytes { showing: SHOWING_BYTES, desired: DESIRED_BYTES },
        topics: topics(&face.prefix, &id),
        takes_effect: words(made.takes_effect).to_owned(),
        fixture: id,
    };
    Ok(secret(StatusCode::CREATED, answer))
}

/// When an enrolment holds, in words.
fn words(takes_effect: TakesEffect) -> &'static str {
    match takes_effect {
        TakesEffect::AtOnce => "at once: the secret before it has ended, and so has the connection open under it",
        TakesEffect::ReadingAgain => {
            "now: the broker was told to read its files again; until it has, the secret before it holds, and a \
             connection open under it"
        }
        TakesEffect::WhenReadAgain => {
            "when the broker has read its password file again, which it has to be told (mosquitto: SIGHUP); until then \
             the secret before it holds, and a connection open under it"
        }
        TakesEffect::ByHand => {
            "when you have told the broker by hand, since the daemon writes no files for it; until then the secret \
             before it holds, and a connection open under it"
        }
    }
}

/// Where fixtures reach the broker. A broker that listens on all addresses is named as the caller named this daemon.
fn broker(face: &BrokerFace, called: Option<&str>) -> api::BrokerAddress {
    let everywhere = matches!(face.host.as_str(), "" | "0.0.0.0" | "::" | "[::]");
    let host = match called.filter(|_| everywhere).map(origin::name_of) {
        Some(name) if !name.is_empty() => name.to_owned(),
        _ if everywhere => "127.0.0.1".to_owned(),
        _ => face.host.clone(),
    };
    let in_url = if host.contains(':') && !host.starts_with('[') { format!("[{host}]") } else { host.clone() };
    api::BrokerAddress { url: format!("mqtt://{in_url}:{}", face.port), host, port: face.port }
}

fn topics(prefix: &str, id: &str) -> api::Topics {
    let topic = |last: &str| format!("{prefix}/{id}/{last}");
    api::Topics {
        boot: topic("boot"),
        ask: topic("ask"),
        reported: topic("reported"),
        event: topic("event"),
        wish: topic("wish"),
        alive: topic("alive"),
        desired: topic("desired"),
        patch: topic("patch"),
        showing: topic("showing"),
        problem: topic("problem"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(host: &str, called: Option<&str>) -> String {
        let face = BrokerFace { host: host.into(), port: 1883, prefix: "fixtures".into() };
        broker(&face, called).url
    }

    #[test]
    fn a_broker_on_all_addresses_is_named_as_the_caller_named_the_daemon() {
        assert_eq!(named("broker.example", Some("lights:8470")), "mqtt://broker.example:1883");
        assert_eq!(named("0.0.0.0", Some("192.168.1.10:8470")), "mqtt://192.168.1.10:1883");
        assert_eq!(named("::", Some("[fd00::5]:8470")), "mqtt://[fd00::5]:1883");
        assert_eq!(named("", None), "mqtt://127.0.0.1:1883");
        assert_eq!(named("::1", None), "mqtt://[::1]:1883");
    }
}
