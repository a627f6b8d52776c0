//! Bodies: their media type, their size, their JSON.

use axum::body::{Body, Bytes};
use axum::http::header::{ACCEPT, ACCEPT_ENCODING, CONTENT_ENCODING, CONTENT_LENGTH, CONTENT_TYPE, HeaderName};
use axum::http::{HeaderMap, HeaderValue};
use document::{Bounds, Pointer, Value};
use http_body_util::{BodyExt, LengthLimitError, Limited};
use serde::de::DeserializeOwned;

use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

pub(crate) const ACCEPT_PATCH: HeaderName = HeaderName::from_static("accept-patch");
pub(crate) const JSON: &str = "application/json";
pub(crate) const MERGE_PATCH: &str = "application/merge-patch+json";
pub(crate) const JSON_PATCH: &str = "application/json-patch+json";
/// What the Accept-Patch header names (RFC 5789, section 3.1).
pub(crate) const PATCHES: &str = "application/merge-patch+json, application/json-patch+json";

/// A patch, by its media type.
pub(crate) enum Patch {
    Merge(Value),
    Operations(Value),
}

/// Reads a patch in one of the two media types.
pub(crate) async fn patch(headers: &HeaderMap, body: Body) -> Result<Patch, Refusal> {
    match media_type(headers)?.as_deref() {
        Some(MERGE_PATCH) => Ok(Patch::Merge(parse(&bytes(headers, body).await?)?)),
        Some(JSON_PATCH) => Ok(Patch::Operations(parse(&bytes(headers, body).await?)?)),
        found => Err(wrong_type(found, "a patch", PATCHES).header(ACCEPT_PATCH, PATCHES)),
    }
}

/// Reads a JSON body.
pub(crate) async fn json(headers: &HeaderMap, body: Body) -> Result<Sent, Refusal> {
    match media_type(headers)?.as_deref() {
        Some(JSON) => {
            let bytes = bytes(headers, body).await?;
            Ok(Sent { value: parse(&bytes)?, bytes })
        }
        found => Err(wrong_type(found, "this", JSON).header(ACCEPT, JSON)),
    }
}

/// Reads a JSON body that may be left out, which stands for `{}`.
pub(crate) async fn optional_json(headers: &HeaderMap, body: Body) -> Result<Sent, Refusal> {
    let bytes = bytes(headers, body).await?;
    if bytes.is_empty() {
        return Ok(Sent { value: Value::Object(serde_json::Map::new()), bytes });
    }
    match media_type(headers)?.as_deref() {
        Some(JSON) => Ok(Sent { value: parse(&bytes)?, bytes }),
        found => Err(wrong_type(found, "this", JSON).header(ACCEPT, JSON)),
    }
}

/// A JSON body as it was sent.
pub(crate) struct Sent {
    pub(crate) value: Value,
    pub(crate) bytes: Bytes,
}

impl Sent {
    /// The body as members of an object with these names and no others.
    pub(crate) fn object(self, names: &[&str]) -> Result<serde_json::Map<String, Value>, Refusal> {
        let allowed = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        let Value::Object(members) = self.value else {
            return Err(invalid("", "the body is not an object", &format!("send an object; its members: {allowed}")));
        };
        match members.keys().find(|key| !names.contains(&key.as_str())) {
            None => Ok(members),
            Some(key) => Err(invalid(
                Pointer::default().child(key).as_str(),
                &format!("{key:?} is not known here"),
                &format!("leave it out; the members are: {allowed}"),
            )),
        }
    }

    /// One member, read as a type.
    pub(crate) fn member<T: DeserializeOwned>(
        members: &mut serde_json::Map<String, Value>,
        name: &str,
        advice: &str,
    ) -> Result<Option<T>, Refusal> {
        let Some(value) = members.remove(name) else { return Ok(None) };
        serde_json::from_value(value)
            .map(Some)
            .map_err(|_| invalid(&format!("/{name}"), &format!("{name} cannot be this"), advice))
    }
}

/// A fault of a body's rules.
pub(crate) fn invalid(pointer: &str, text: &str, advice: &str) -> Refusal {
    Refusal::at(ProblemType::INVALID, pointer, text, advice)
}

fn wrong_type(found: Option<&str>, what: &str, wanted: &str) -> Refusal {
    let found = found.map_or_else(|| "no Content-Type".to_owned(), |found| format!("the Content-Type {found:?}"));
    Refusal::new(ProblemType::MEDIA_TYPE, format!("the request has {found}, and {what} comes as {wanted}"))
        .advice(format!("send it with Content-Type: {wanted}"))
}

/// The media type without its parameters, in small letters. A body with a content coding is refused.
fn media_type(headers: &HeaderMap) -> Result<Option<String>, Refusal> {
    let coded = headers.get_all(CONTENT_ENCODING).iter().any(|coding| coding != HeaderValue::from_static("identity"));
    if coded {
        return Err(Refusal::new(ProblemType::MEDIA_TYPE, "the body has a Content-Encoding")
            .advice("send it as it is")
            .header(ACCEPT_ENCODING, "identity"));
    }
    let text = headers.get(CONTENT_TYPE).map(|value| String::from_utf8_lossy(value.as_bytes()).into_owned());
    Ok(text.map(|text| text.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()))
}

/// Reads at most as many bytes as a body may have, whatever Content-Length says.
pub(crate) async fn bytes(headers: &HeaderMap, body: Body) -> Result<Bytes, Refusal> {
    let limit = Bounds::BODY.bytes;
    let too_large = || {
        Refusal::new(ProblemType::TOO_LARGE, format!("the body has more than {limit} bytes"))
            .advice(format!("send at most {limit} bytes"))
    };
    let said = headers.get(CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse::<u64>().ok());
    if said.is_some_and(|said| said > limit as u64) {
        return Err(too_large());
    }
    match Limited::new(body, limit).collect().await {
        Ok(collected) => Ok(collected.to_bytes()),
        Err(error) if error.downcast_ref::<LengthLimitError>().is_some() => Err(too_large()),
        Err(error) => Err(Refusal::new(ProblemType::MALFORMED, format!("the body could not be read: {error}"))
            .advice("send the whole body, as long as Content-Length says")),
    }
}

fn parse(bytes: &[u8]) -> Result<Value, Refusal> {
    Ok(document::parse(bytes, &Bounds::BODY)?)
}
