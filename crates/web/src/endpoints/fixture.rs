//! `/v1/fixtures/{id}`: one fixture with its record, editing the record, taking the fixture away.

use std::sync::Arc;

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{Response, StatusCode};
use axum::response::IntoResponse;
use service::{Asked, Edit, Paper};

use super::view;
use crate::answer::{edited, tagged};
use crate::app::{App, to_the_end};
use crate::body::{self, Patch};
use crate::caller::Caller;
use crate::entity_tag::{Current, of_fixture, precondition};
use crate::headers::Headers;
use crate::openapi::{EditProblems, ReadOneProblems};
use crate::path::Id;
use crate::query::Query;
use crate::refusal::Refusal;

/// Shows a fixture
///
/// Its record, and how it stands. The entity tag changes with everything that the answer holds.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}", tag = "fixtures", operation_id = "get_fixture",
    params(api::FixturePath, api::ReadHeaders),
    responses(
        (status = 200, description = "The fixture", body = api::Fixture, headers(("ETag" = String, description = "Its entity tag"))),
        (status = 304, description = "The caller holds it already"),
        ReadOneProblems,
    )
)]
pub(crate) async fn get(
    State(app): State<App>,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    tagged(&headers, &of_fixture(&fixture), || Json(view::fixture(&fixture)).into_response())
}

/// Changes a fixture's record
///
/// Title, kind, groups and the other members of the record; the id stays. What the light should do is in the desired
/// document. `If-Match` takes the revision of the record, `"3"`, or the whole entity tag of the fixture, which fits only
/// as long as nothing about the fixture has changed, what it reports included.
#[utoipa::path(
    patch, path = "/v1/fixtures/{id}", tag = "fixtures", operation_id = "edit_fixture",
    params(api::FixturePath, api::EditHeaders),
    request_body(description = "A merge patch (RFC 7396) or JSON Patch (RFC 6902) of the record", content(
        (Object = "application/merge-patch+json", example = json!({"title": "Reeds in the hall", "groups": ["indoors"]})),
        (Vec<Object> = "application/json-patch+json", example = json!([{"op": "replace", "path": "/title", "value": "Reeds in the hall"}])),
    )),
    responses(
        (status = 200, description = "The record as it is now, durably", body = api::EditAnswer, headers(("ETag" = String, description = "The fixture's entity tag"))),
        EditProblems,
    )
)]
pub(crate) async fn edit(
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
    let precondition = precondition(&headers, &Current::record(&fixture))?;
    let asked = Asked { precondition, ..Asked::by(caller.actor()) };
    edited(&app, Paper::Fixture, app.service.edit(id, Paper::Fixture, edit, asked).await?).await
}

/// Takes a fixture away
///
/// Its documents and its secret go, its open connection ends, its history stays.
#[utoipa::path(
    delete, path = "/v1/fixtures/{id}", tag = "fixtures", operation_id = "delete_fixture",
    params(api::FixturePath, api::EditHeaders),
    responses((status = 204, description = "It is gone, durably"), EditProblems)
)]
pub(crate) async fn delete(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let precondition = precondition(&headers, &Current::record(&fixture))?;
    let asked = Asked { precondition, ..Asked::by(caller.actor()) };
    let service = Arc::clone(&app.service);
    to_the_end(async move { service.delete(id, asked).await }).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}
