//! `/v1/kinds`: the kinds of fixtures that this house knows.

use axum::Json;
use axum::extract::State;
use service::Kind;

use crate::app::App;
use crate::openapi::{ReadOneProblems, ReadProblems};
use crate::path::KindId;
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;

/// Lists the kinds
///
/// The built-in ones, and those that the owner describes.
#[utoipa::path(
    get, path = "/v1/kinds", tag = "kinds", operation_id = "list_kinds",
    responses((status = 200, description = "The kinds by name", body = api::Kinds), ReadProblems)
)]
pub(crate) async fn list(State(app): State<App>, query: Query) -> Result<Json<api::Kinds>, Refusal> {
    query.finish(&[])?;
    let kinds = app.service.kinds();
    let kinds = kinds
        .names()
        .map(|name| api::KindName {
            name: name.to_string(),
            built_in: !matches!(kinds.get(name), Some(Kind::Owner { .. })),
        })
        .collect();
    Ok(Json(api::Kinds { kinds }))
}

/// Shows a kind
///
/// What a desired document of this kind has to be; for a kind of the owner's, its JSON Schema.
#[utoipa::path(
    get, path = "/v1/kinds/{name}", tag = "kinds", operation_id = "get_kind",
    params(("name" = String, Path, description = "The kind's name.", example = "strip")),
    responses((status = 200, description = "The kind", body = api::Kind), ReadOneProblems)
)]
pub(crate) async fn get(
    State(app): State<App>,
    KindId(name): KindId,
    query: Query,
) -> Result<Json<api::Kind>, Refusal> {
    query.finish(&[])?;
    let (text, schema) = match app.service.kinds().get(&name) {
        None => {
            let detail = format!("there is no kind {name}; GET /v1/kinds lists those there are");
            return Err(Refusal::new(ProblemType::NOT_THERE, detail));
        }
        Some(Kind::Strip) => (
            "addressable strips: lit, default, fade, floor, looks, timetable and override, as StripDocument at /openapi.json describes them",
            None,
        ),
        Some(Kind::Free) => (
            "anything within the bounds of a document: at most 8,192 bytes as compact JSON, 16 levels, 512 members; it has no looks",
            None,
        ),
        Some(Kind::Owner { schema, .. }) => {
            ("what the owner's JSON Schema allows, within the bounds of a document", Some(schema.clone()))
        }
    };
    Ok(Json(api::Kind { name: name.to_string(), built_in: schema.is_none(), text: text.to_owned(), schema }))
}
