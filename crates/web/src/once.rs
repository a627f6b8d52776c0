//! Idempotency-Key: a POST that is carried out once, however often it is sent.

use axum::http::header::HeaderName;
use axum::http::{HeaderMap, HeaderValue, Method, Uri};
use service::Once;

use crate::caller::Caller;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

const KEY: HeaderName = HeaderName::from_static("idempotency-key");
const REPLAYED: HeaderName = HeaderName::from_static("idempotency-replayed");

fn key(headers: &HeaderMap) -> Result<Option<&str>, Refusal> {
    let mut lines = headers.get_all(KEY).iter();
    let Some(value) = lines.next() else { return Ok(None) };
    value
        .to_str()
        .ok()
        .filter(|text| (1..=255).contains(&text.len()) && text.bytes().all(|byte| matches!(byte, 0x20..=0x7e)))
        .filter(|_| lines.next().is_none())
        .map(Some)
        .ok_or_else(|| {
            Refusal::new(
                ProblemType::BAD_HEADER,
                "the Idempotency-Key is not one text of 1 to 255 printable ASCII characters",
            )
            .advice("choose a new random key for every new request, such as a UUID")
        })
}

/// The key of a request, with the fingerprint of what it asks.
pub(crate) fn once(
    headers: &HeaderMap,
    caller: &Caller,
    method: &Method,
    uri: &Uri,
    body: &[u8],
) -> Result<Option<Once>, Refusal> {
    let Some(key) = key(headers)? else { return Ok(None) };
    let mut hash = blake3::Hasher::new();
    // neither a method nor a path can hold a line feed, so that the parts cannot run into each other
    hash.update(method.as_str().as_bytes()).update(b"\n").update(uri.path().as_bytes()).update(b"\n").update(body);
    Ok(Some(Once { key: format!("{}:{key}", caller.by), fingerprint: hash.finalize().into() }))
}

/// Refuses a key where a request cannot be remembered.
pub(crate) fn refuse(headers: &HeaderMap) -> Result<(), Refusal> {
    match key(headers)? {
        None => Ok(()),
        Some(_) => Err(Refusal::new(ProblemType::BAD_HEADER, "an Idempotency-Key is not supported here")
            .advice("leave it out; list what there is before you repeat the request")),
    }
}

/// Says that an answer is that of an earlier request.
pub(crate) fn mark(headers: &mut HeaderMap, replayed: bool) {
    if replayed {
        headers.insert(REPLAYED, HeaderValue::from_static("true"));
    }
}
