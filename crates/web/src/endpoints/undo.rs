//! `…/undo`: a desired document as it was before.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{Method, Response, Uri};
use axum::response::IntoResponse;
use service::{Asked, Paper};

use crate::answer::{advice, document_after, pointers, set_tag};
use crate::app::App;
use crate::body::{self, Sent};
use crate::caller::Caller;
use crate::entity_tag::{Current, precondition};
use crate::headers::Headers;
use crate::once::{self, once};
use crate::openapi::UndoProblems;
use crate::path::Id;
use crate::query::Query;
use crate::refusal::Refusal;

/// Puts the desired document back
///
/// As it was one revision before, or at revision `to`, as a new revision. So an undo can be undone.
#[utoipa::path(
    post, path = "/v1/fixtures/{id}/undo", tag = "documents", operation_id = "undo",
    params(api::FixturePath, api::EditHeaders, api::OnceHeader),
    request_body(content = Option<api::UndoRequest>, description = "To which revision; may be left out"),
    responses(
        (status = 200, description = "The document as it is now, durably", body = api::UndoAnswer, headers(
            ("ETag" = String, description = "Its revision in double quotes"),
            ("Idempotency-Replayed" = String, description = "`true` when the request was carried out before"),
        )),
        UndoProblems,
    )
)]
#[expect(clippy::too_many_arguments, reason = "they are the parts of a request")]
pub(crate) async fn undo(
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
    let mut members = sent.object(&["to"])?;
    let to: Option<u64> = Sent::member(&mut members, "to", "write a revision, such as {\"to\":17}, or leave it out")?;
    let precondition = precondition(&headers, &Current::desired(&fixture))?;
    let undone = app.service.undo(id, to, Asked { precondition, once, ..Asked::by(caller.actor()) }).await?;
    let outcome = undone.outcome;
    let rev = outcome.answer.revision.get();
    let to = match to {
        // what "one before" was is reckoned from the answer of then, not from the document of now
        None if outcome.replayed => rev.saturating_sub(if outcome.answer.changed.is_empty() { 1 } else { 2 }),
        _ => undone.to,
    };
    let (document, tag) = document_after(&app, Paper::Desired, &outcome).await?;
    let answer =
        api::UndoAnswer { rev, to, changed: pointers(&outcome), advice: advice(&outcome.answer.advice), document };
    let mut response = Json(answer).into_response();
    set_tag(&mut response, &tag);
    once::mark(response.headers_mut(), outcome.replayed);
    Ok(response)
}
