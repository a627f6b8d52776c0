//! `…/reported` and `…/delta`: what the fixture says it has, and what is missing from what is desired.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::Response;
use axum::response::IntoResponse;
use service::Paper;

use super::desired::past;
use crate::answer::{held, tagged};
use crate::app::App;
use crate::entity_tag::EntityTag;
use crate::headers::Headers;
use crate::openapi::{PastProblems, ReadOneProblems};
use crate::path::Id;
use crate::query::Query;
use crate::refusal::Refusal;

/// Reads the reported document
///
/// What the fixture says it has. With `at` or `rev` as it was, then without the members that the owner named as
/// volatile, since they make no history.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/reported", tag = "documents", operation_id = "get_reported",
    params(api::FixturePath, api::PastQuery, api::ReadHeaders),
    responses(
        (status = 200, description = "The document", body = Object,
            headers(("ETag" = String, description = "Its revision, and how often volatile members changed since: `\"39.4\"`; of the past, the revision alone"))),
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
    if let Some(past) = past(&app, &fixture, Paper::Reported, &mut query).await? {
        return tagged(&headers, &EntityTag::strong(past.revision), || Json(past.document).into_response());
    }
    let reported = &fixture.reported;
    let tag = EntityTag::strong(format!("{}.{}", reported.revision, reported.drift));
    tagged(&headers, &tag, || held(&reported.text))
}

/// Shows what is not applied yet
///
/// The merge patch that would bring the reported document to the desired one; `{}` when they agree. Volatile members do
/// not count.
#[utoipa::path(
    get, path = "/v1/fixtures/{id}/delta", tag = "documents", operation_id = "get_delta",
    params(api::FixturePath, api::ReadHeaders),
    responses(
        (status = 200, description = "The merge patch (RFC 7396) alone", body = Object,
            headers(("ETag" = String, description = "An entity tag that changes with record, desired and reported"))),
        (status = 304, description = "The caller holds it already"),
        ReadOneProblems,
    )
)]
pub(crate) async fn delta(
    State(app): State<App>,
    Id(id): Id,
    query: Query,
    Headers(headers): Headers,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let fixture = app.fixture(&id)?;
    let tag = EntityTag::strong(format!(
        "{}-{}-{}.{}",
        fixture.record_held.revision, fixture.desired.revision, fixture.reported.revision, fixture.reported.drift
    ));
    tagged(&headers, &tag, || Json(app.service.delta(&fixture)).into_response())
}
