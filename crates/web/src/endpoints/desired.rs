//! `…/desired`: what the owner wants of a fixture, now and in the past.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::Response;
use axum::response::IntoResponse;
use service::{Asked, Edit, Fixture, Paper, Past};

use crate::answer::{edited, held, tagged};
use crate::app::App;
use crate::body::{self, Patch};
use crate::caller::Caller;
use crate::entity_tag::{Current, EntityTag, precondition};
use crate::headers::Headers;
use crate::openapi::{EditProblems, PastProblems};
use crate::path::Id;
use crate::query::{Query, bad};
use crate::refusal::Refusal;

/// Reads the desired document
///
/// The document alone, as it is kept. With `at` or `rev` as it was.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/desired", tag = "documents", operation_id = "get_desired",
    params(api::FixturePath, api::PastQuery, api::ReadHeaders),
    responses(
        (status = 200, description = "The document; of a strip it is a StripDocument", body = Object,
            headers(("ETag" = String, description = "Its revision in double quotes"))),
        (status = 304, description = "The caller holds it already"),
        PastProblems,
    )
)]
pub(crate) async fn get(
    State(app): State<App>,
    Id(id): Id,
    mut query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    let fixture = app.fixture(&id)?;
    if let Some(past) = past(&app, &fixture, Paper::Desired, &mut query).await? {
        return tagged(&headers, &EntityTag::strong(past.revision), || Json(past.document).into_response());
    }
    let desired = &fixture.desired;
    tagged(&headers, &EntityTag::strong(desired.revision.get()), || held(&desired.text))
}

/// The document of the past that `at` or `rev` names; `None` when they name none.
pub(crate) async fn past(
    app: &App,
    fixture: &Fixture,
    paper: Paper,
    query: &mut Query,
) -> Result<Option<Past>, Refusal> {
    let (at, rev) = (query.time("at")?, query.revision("rev")?);
    std::mem::take(query).finish(&["at", "rev"])?;
    Ok(match (at, rev) {
        (None, None) => None,
        (Some(at), None) => Some(app.service.at_time(fixture, paper, at).await?),
        (None, Some(rev)) => Some(app.service.at_revision(fixture, paper, rev).await?),
        (Some(_), Some(_)) => return Err(bad("rev", "cannot stand beside \"at\"", "send one of the two")),
    })
}

/// Replaces the desired document
///
/// By a whole new one. With `If-None-Match: *` only when none was ever written.
#[utoipa::path(
    put, path = "/v1/fixtures/{id}/desired", tag = "documents", operation_id = "replace_desired",
    params(api::FixturePath, api::EditHeaders),
    request_body(content = api::StripDocument, description = "The whole document; for a fixture of another kind, what that kind takes"),
    responses(
        (status = 200, description = "The document as it is now, durably", body = api::EditAnswer,
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
    let edit = Edit::Replace(body::json(&headers, body).await?.value);
    let precondition = precondition(&headers, &Current::desired(&fixture))?;
    let asked = Asked { precondition, ..Asked::by(caller.actor()) };
    edited(&app, Paper::Desired, app.service.edit(id, Paper::Desired, edit, asked).await?).await
}

/// Edits the desired document
///
/// By a merge patch or a JSON Patch. An edit that changes nothing makes no new revision. What breaks a bound or a rule
/// is refused whole, with the place of the fault.
#[utoipa::path(
    patch, path = "/v1/fixtures/{id}/desired", tag = "documents", operation_id = "edit_desired",
    params(api::FixturePath, api::EditHeaders),
    request_body(description = "A merge patch (RFC 7396) or JSON Patch (RFC 6902) of the document", content(
        (Object = "application/merge-patch+json", example = json!({"looks": {"evening": {"kelvin": 2400, "intensity": 60}}, "default": "evening"})),
        (Vec<Object> = "application/json-patch+json", example = json!([{"op": "replace", "path": "/default", "value": "evening"}])),
    )),
    responses(
        (status = 200, description = "The document as it is now, durably", body = api::EditAnswer,
            headers(("ETag" = String, description = "Its revision in double quotes"))),
        EditProblems,
    )
)]
pub(crate) async fn patch(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let edit = match body::patch(&headers, body).await? {
        Patch::Merge(patch) => Edit::Merge(patch),
        Patch::Operations(operations) => Edit::Operations(operations),
    };
    let precondition = precondition(&headers, &Current::desired(&fixture))?;
    let asked = Asked { precondition, ..Asked::by(caller.actor()) };
    edited(&app, Paper::Desired, app.service.edit(id, Paper::Desired, edit, asked).await?).await
}
