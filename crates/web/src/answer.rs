//! Answers: JSON with its entity tag, documents as they are held, pages with their link.

use std::sync::Arc;

use axum::Json;
use axum::body::{Body, Bytes};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, LINK};
use axum::http::{HeaderMap, HeaderValue, Response, StatusCode, Uri};
use axum::response::IntoResponse;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::Serialize;
use serde_json::value::RawValue;
use service::{Advice, Outcome, Paper};

use crate::app::App;
use crate::body::JSON;
use crate::entity_tag::{self, EntityTag};
use crate::outer::NO_CACHE;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

/// How many headers an answer has room for from the start: those of a document with its entity tag, its length and what
/// keeps browsers safe.
const HEADERS: usize = 8;

/// The text of a held document, shared with the answer instead of copied.
struct HeldText(Arc<str>);

impl AsRef<[u8]> for HeldText {
    fn as_ref(&self) -> &[u8] {
        self.0.as_bytes()
    }
}

/// An answer with an entity tag: 304 without a body when the reader holds it already.
pub(crate) fn tagged(
    headers: &HeaderMap,
    tag: &EntityTag,
    body: impl FnOnce() -> Response<Body>,
) -> Result<Response<Body>, Refusal> {
    let mut response =
        if entity_tag::is_known(headers, tag)? { StatusCode::NOT_MODIFIED.into_response() } else { body() };
    set_tag(&mut response, tag);
    Ok(response)
}

/// Puts an entity tag on an answer: it may be kept, but is asked about each time.
pub(crate) fn set_tag(response: &mut Response<Body>, tag: &EntityTag) {
    response.headers_mut().insert(ETAG, tag.header());
    response.headers_mut().insert(CACHE_CONTROL, NO_CACHE.clone());
}

/// A held document, byte for byte.
pub(crate) fn held(text: &Arc<str>) -> Response<Body> {
    typed(JSON, Bytes::from_owner(HeldText(Arc::clone(text))))
}

/// A body of a media type.
pub(crate) fn typed(media_type: &'static str, body: impl Into<Body>) -> Response<Body> {
    let mut response = Response::new(body.into());
    let mut headers = HeaderMap::with_capacity(HEADERS);
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(media_type));
    *response.headers_mut() = headers;
    response
}

/// An answer that holds a secret and is kept by nobody.
pub(crate) fn secret(status: StatusCode, body: impl Serialize) -> Response<Body> {
    (status, [(CACHE_CONTROL, HeaderValue::from_static("no-store"))], Json(body)).into_response()
}

/// What came of an edit of the record or of the desired document.
pub(crate) async fn edited(app: &App, paper: Paper, outcome: Outcome) -> Result<Response<Body>, Refusal> {
    let (document, tag) = document_after(app, paper, &outcome).await?;
    let answer = api::EditAnswer {
        rev: outcome.answer.revision.get(),
        changed: pointers(&outcome),
        advice: advice(&outcome.answer.advice),
        document,
    };
    let mut response = Json(answer).into_response();
    set_tag(&mut response, &tag);
    Ok(response)
}

/// The document that an outcome speaks of, and its entity tag. That of a replayed request is read from history when
/// the document has moved on since.
pub(crate) async fn document_after(
    app: &App,
    paper: Paper,
    outcome: &Outcome,
) -> Result<(Box<RawValue>, EntityTag), Refusal> {
    let Some(fixture) = &outcome.fixture else {
        return Err(Refusal::new(
            ProblemType::NOT_THERE,
            "this was done already, and the fixture was taken away since",
        ));
    };
    let (held, rev) = (fixture.held(paper), outcome.answer.revision);
    let text = if outcome.replayed && held.revision != rev {
        document::write(&app.service.at_revision(fixture, paper, rev.get()).await?.document)
    } else {
        held.text.to_string()
    };
    let document = RawValue::from_string(text)
        .map_err(|error| Refusal::new(ProblemType::DAMAGED, format!("the document is not JSON any more: {error}")))?;
    let tag = match paper {
        Paper::Fixture => entity_tag::of_fixture(fixture),
        Paper::Desired | Paper::Reported => EntityTag::strong(rev),
    };
    Ok((document, tag))
}

pub(crate) fn pointers(outcome: &Outcome) -> Vec<String> {
    outcome.answer.changed.iter().map(ToString::to_string).collect()
}

pub(crate) fn advice(advice: &[Advice]) -> Vec<api::Advice> {
    advice.iter().map(|one| api::Advice { pointer: one.pointer.to_string(), text: one.text.clone() }).collect()
}

/// What may stand in a query's value as it is (RFC 3986, section 2.3).
const PLAIN: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~');

/// The `Link` to the next page (RFC 8288): the same address with another cursor.
pub(crate) fn link_next(response: &mut Response<Body>, uri: &Uri, next: Option<&str>) {
    let Some(next) = next else { return };
    let mut query: Vec<String> = uri
        .query()
        .unwrap_or_default()
        .split('&')
        .filter(|pair| !pair.is_empty() && !pair.starts_with("cursor=") && *pair != "cursor")
        .map(str::to_owned)
        .collect();
    query.push(format!("cursor={}", utf8_percent_encode(next, PLAIN)));
    let target = format!("<{}?{}>; rel=\"next\"", uri.path(), query.join("&"));
    if let Ok(value) = HeaderValue::from_str(&target) {
        response.headers_mut().insert(LINK, value);
    }
}
