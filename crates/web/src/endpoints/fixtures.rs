//! `/v1/fixtures`: the list, and making a fixture.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::LOCATION;
use axum::http::{HeaderValue, Method, Response, StatusCode, Uri};
use axum::response::IntoResponse;
use document::Value;
use service::GroupName;
use service::{Asked, FixtureId, KindName, Standing};

use super::view;
use crate::answer::{link_next, set_tag};
use crate::app::App;
use crate::body::{self, invalid};
use crate::caller::Caller;
use crate::entity_tag;
use crate::headers::Headers;
use crate::once::{self, once};
use crate::openapi::{CreateProblems, ReadProblems};
use crate::problem_type::ProblemType;
use crate::query::Query;
use crate::refusal::Refusal;

/// Lists fixtures
///
/// By id, page by page. A page has at most `limit` fixtures; the `Link` header and `next` lead to the next one.
#[utoipa::path(
    get, path = "/v1/fixtures", tag = "fixtures", operation_id = "list_fixtures",
    params(
        ("group" = Option<String>, Query, description = "Only those in this group.", example = "way-to-bed"),
        ("kind" = Option<String>, Query, description = "Only those of this kind.", example = "strip"),
        ("standing" = Option<api::Standing>, Query, description = "Only those that stand so now.", example = "silent"),
        ("limit" = Option<u32>, Query, description = "How many fixtures a page has at most, 1 to 1000; 100 when left out.", minimum = 1, maximum = 1000, example = 100),
        ("cursor" = Option<String>, Query, description = "Where the page begins: the `next` of the page before, with the same other parameters.", example = "ahall"),
    ),
    responses(
        (status = 200, description = "A page of fixtures", body = api::Fixtures,
            headers(("Link" = String, description = "The next page, `rel=\"next\"` (RFC 8288); not on the last one"))),
        ReadProblems,
    )
)]
pub(crate) async fn list(State(app): State<App>, mut query: Query, uri: Uri) -> Result<Response<Body>, Refusal> {
    let form = "write 1 to 64 of a-z, 0-9 and '-', beginning and ending with a letter or digit";
    let group = query.take("group", form, |text| text.parse::<GroupName>().ok())?;
    let kind = query.take("kind", form, |text| text.parse::<KindName>().ok())?;
    let standing = query.take("standing", "write in-step, behind, silent or never-heard", Standing::read)?;
    let limit = query.limit()?;
    let after = match query.text("cursor") {
        None => None,
        Some(text) => Some(text.strip_prefix('a').and_then(|id| id.parse::<FixtureId>().ok()).ok_or_else(|| {
            Refusal::new(ProblemType::CURSOR, "the cursor is not one that was given out; begin again without it")
        })?),
    };
    query.finish(&["group", "kind", "standing", "limit", "cursor"])?;
    let mut fixtures = app.service.house().after(after.as_ref().map(FixtureId::as_str), limit + 1, |fixture| {
        group.as_ref().is_none_or(|group| fixture.record.groups.contains(group))
            && kind.as_ref().is_none_or(|kind| fixture.record.kind == *kind)
            && standing.is_none_or(|standing| Standing::of(fixture) == standing)
    });
    let more = fixtures.len() > limit;
    fixtures.truncate(limit);
    let next = fixtures.last().filter(|_| more).map(|last| format!("a{}", last.id));
    let page = api::Fixtures { fixtures: fixtures.iter().map(|f| view::fixture(f)).collect(), next: next.clone() };
    let mut response = Json(page).into_response();
    link_next(&mut response, &uri, next.as_deref());
    Ok(response)
}

/// Makes a fixture
///
/// Its record is what the body says; what is left out is filled in. It has no secret yet: enrol it next.
#[utoipa::path(
    post, path = "/v1/fixtures", tag = "fixtures", operation_id = "create_fixture",
    params(api::OnceHeader),
    request_body(content = api::NewFixture, description = "Its id, and members of its record"),
    responses(
        (status = 201, description = "It is made, durably", body = api::Fixture, headers(
            ("Location" = String, description = "Its address"),
            ("ETag" = String, description = "Its entity tag"),
            ("Idempotency-Replayed" = String, description = "`true` when the request was carried out before"),
        )),
        CreateProblems,
    )
)]
pub(crate) async fn create(
    State(app): State<App>,
    caller: Caller,
    query: Query,
    method: Method,
    uri: Uri,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    let sent = body::json(&headers, body).await?;
    let once = once(&headers, &caller, &method, &uri, &sent.bytes)?;
    let Value::Object(mut record) = sent.value else {
        return Err(invalid(
            "",
            "the body is not an object",
            "send an object, such as {\"id\":\"hall\",\"title\":\"Reeds in the hall\"}",
        ));
    };
    let id = match record.remove("id") {
        Some(Value::String(text)) => text
            .parse::<FixtureId>()
            .map_err(|error| invalid("/id", &error.to_string(), "choose an id of that form, such as \"hall\""))?,
        Some(_) => return Err(invalid("/id", "the id is not a text", "choose an id, such as \"hall\"")),
        None => return Err(invalid("/id", "the id is missing", "choose an id, such as \"hall\"")),
    };
    let asked = Asked { once, ..Asked::by(caller.actor()) };
    let outcome = app.service.create(id, Value::Object(record), asked).await?;
    let Some(fixture) = outcome.fixture else {
        return Err(Refusal::new(
            ProblemType::NOT_THERE,
            "this was done already, and the fixture was taken away since",
        ));
    };
    let mut response = (StatusCode::CREATED, Json(view::fixture(&fixture))).into_response();
    if let Ok(location) = HeaderValue::from_str(&format!("/v1/fixtures/{}", fixture.id)) {
        response.headers_mut().insert(LOCATION, location);
    }
    set_tag(&mut response, &entity_tag::of_fixture(&fixture));
    once::mark(response.headers_mut(), outcome.replayed);
    Ok(response)
}
