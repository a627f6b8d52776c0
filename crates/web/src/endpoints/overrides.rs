//! `…/override`: the owner's look in place of the timetable.

use axum::body::Body;
use axum::extract::State;
use axum::http::Response;
use document::Value;
use service::{Asked, Paper};

use crate::answer::edited;
use crate::app::App;
use crate::body;
use crate::caller::Caller;
use crate::entity_tag::{Current, precondition};
use crate::headers::Headers;
use crate::openapi::EditProblems;
use crate::path::Id;
use crate::query::Query;
use crate::refusal::Refusal;

/// Puts an override in place
///
/// A look by name or of its own, until a time, until the next change of the timetable, or until it is released. It is
/// the member `override` of the desired document, so the condition and the answer are those of an edit of that.
#[utoipa::path(
    put, path = "/v1/fixtures/{id}/override", tag = "light", operation_id = "put_override",
    params(api::FixturePath, api::EditHeaders),
    request_body(content = api::OverrideRequest, description = "The look, and until when"),
    responses(
        (status = 200, description = "The desired document as it is now, durably", body = api::EditAnswer,
            headers(("ETag" = String, description = "Its revision in double quotes"))),
        EditProblems,
    )
)]
pub(crate) async fn put(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let members = body::json(&headers, body).await?.object(&["look", "until"])?;
    let precondition = precondition(&headers, &Current::desired(&fixture))?;
    let asked = Asked { precondition, ..Asked::by(caller.actor()) };
    let outcome = app.service.put_override(id, Some(Value::Object(members)), asked).await;
    // the body is the member `override` of the document that is checked
    let outcome = outcome.map_err(|error| Refusal::from(error).within("/override"))?;
    edited(&app, Paper::Desired, outcome).await
}

/// Releases an override
///
/// The timetable holds again. Where there is no override nothing changes.
#[utoipa::path(
    delete, path = "/v1/fixtures/{id}/override", tag = "light", operation_id = "release_override",
    params(api::FixturePath, api::EditHeaders),
    responses(
        (status = 200, description = "The desired document as it is now, durably", body = api::EditAnswer,
            headers(("ETag" = String, description = "Its revision in double quotes"))),
        EditProblems,
    )
)]
pub(crate) async fn release(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let precondition = precondition(&headers, &Current::desired(&fixture))?;
    let outcome = app.service.put_override(id, None, Asked { precondition, ..Asked::by(caller.actor()) }).await?;
    edited(&app, Paper::Desired, outcome).await
}
