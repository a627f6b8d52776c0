//! `/healthz` and `/readyz`: whether the daemon is up, and whether it can do all of its work.

use axum::Json;
use axum::extract::State;
use axum::http::header::RETRY_AFTER;
use service::LinkState;

use crate::app::App;
use crate::openapi::ReadyProblems;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

/// Says that the daemon answers
///
/// Needs no token.
#[utoipa::path(
    get, path = "/healthz", tag = "health", operation_id = "health", security(()),
    responses((status = 200, description = "It answers", body = api::Health))
)]
pub(crate) async fn health() -> Json<api::Health> {
    Json(api::Health { serving: true })
}

/// Says whether the daemon can do all of its work
///
/// The database takes edits, and there is a link to the broker. Needs no token.
#[utoipa::path(
    get, path = "/readyz", tag = "health", operation_id = "readiness", security(()),
    responses((status = 200, description = "It can", body = api::Readiness), ReadyProblems)
)]
pub(crate) async fn readiness(State(app): State<App>) -> Result<Json<api::Readiness>, Refusal> {
    let health = app.service.check_health().await;
    let broker = health.broker == LinkState::Up;
    let what = match (health.database, broker) {
        (true, true) => return Ok(Json(api::Readiness { database: true, broker })),
        (false, true) => "the database takes no edits",
        (true, false) => "there is no link to the broker; edits are taken and go out when it is back",
        (false, false) => "the database takes no edits, and there is no link to the broker",
    };
    Err(Refusal::new(ProblemType::NOT_READY, what).header(RETRY_AFTER, "5"))
}
