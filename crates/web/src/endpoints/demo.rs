//! `/v1/demo/power`: the switch that cuts the power of the demo's fixtures. A daemon at work does not have it.

use axum::Json;
use axum::body::Body;
use axum::extract::State;

use crate::app::App;
use crate::body::{self, Sent, invalid};
use crate::headers::Headers;
use crate::once;
use crate::openapi::PostProblems;
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;

/// The longest power cut, in seconds.
const LONGEST: f64 = 300.0;

/// Cuts the power of the demo's fixtures
///
/// All simulated controllers stop at once, as when the house loses its power, and start again when it is back. The
/// demo alone has this.
#[utoipa::path(
    post, path = "/v1/demo/power", tag = "demo", operation_id = "cut_power",
    request_body(content = api::PowerCut, description = "How long"),
    responses((status = 200, description = "The power is cut", body = api::PowerCutDone), PostProblems)
)]
pub(crate) async fn cut(
    State(app): State<App>,
    query: Query,
    Headers(headers): Headers,
    body: Body,
) -> Result<Json<api::PowerCutDone>, Refusal> {
    query.finish(&[])?;
    once::refuse(&headers)?;
    let advice = "write seconds: more than 0, at most 300, such as {\"cut_seconds\":5}";
    let mut members = body::json(&headers, body).await?.object(&["cut_seconds"])?;
    let seconds: Option<f64> = Sent::member(&mut members, "cut_seconds", advice)?;
    let seconds = seconds
        .filter(|seconds| *seconds > 0.0 && *seconds <= LONGEST)
        .ok_or_else(|| invalid("/cut_seconds", "cut_seconds is missing or out of bounds", advice))?;
    let Some(switch) = &app.options.power_switch else {
        return Err(Refusal::new(ProblemType::NO_ROUTE, "there is no power switch here; the demo has one"));
    };
    let cut = switch.cut(seconds).await;
    tracing::info!(cut, seconds, "the power of the demo was cut");
    Ok(Json(api::PowerCutDone { cut, cut_seconds: seconds }))
}
