//! `/v1/tokens`: who may do what.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::header::LOCATION;
use axum::http::{HeaderValue, Response, StatusCode};
use axum::response::IntoResponse;
use service::{Scope, Token};

use crate::answer::secret;
use crate::app::App;
use crate::body::{self, Sent, invalid};
use crate::headers::Headers;
use crate::once;
use crate::openapi::{CreateProblems, ReadOneProblems, ReadProblems};
use crate::path::Number;
use crate::query::Query;
use crate::refusal::Refusal;
use crate::time;

/// Names that history gives a meaning of its own.
const TAKEN: [&str; 3] = ["loopback", "sconced", "cli"];

/// Lists tokens
///
/// Names and scopes; the texts are kept by nobody here.
#[utoipa::path(
    get, path = "/v1/tokens", tag = "tokens", operation_id = "list_tokens",
    responses((status = 200, description = "The tokens", body = api::Tokens), ReadProblems)
)]
pub(crate) async fn list(State(app): State<App>, query: Query) -> Result<Json<api::Tokens>, Refusal> {
    query.finish(&[])?;
    let tokens = app.service.store().tokens().into_iter().map(view).collect();
    Ok(Json(api::Tokens { tokens }))
}

/// Makes a token
///
/// The answer holds its text, this once.
#[utoipa::path(
    post, path = "/v1/tokens", tag = "tokens", operation_id = "create_token",
    request_body(content = api::NewToken, description = "Its name and scope"),
    responses(
        (status = 201, description = "It is made, durably; its text is shown this once", body = api::TokenMade,
            headers(("Location" = String, description = "Its address, for taking it away"))),
        CreateProblems,
    )
)]
pub(crate) async fn create(
    State(app): State<App>,
    query: Query,
    Headers(headers): Headers,
    body: Body,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    once::refuse(&headers)?;
    let mut members = body::json(&headers, body).await?.object(&["name", "scope"])?;
    let words = "choose a name of 1 to 64 bytes without control characters, such as \"kitchen tablet\"";
    let name: Option<String> = Sent::member(&mut members, "name", words)?;
    let name = name
        .filter(|name| (1..=64).contains(&name.len()) && !name.chars().any(char::is_control) && name.trim() == name)
        .ok_or_else(|| {
            invalid("/name", "the name is missing, too long, or has characters or spaces that it cannot have", words)
        })?;
    if TAKEN.contains(&name.as_str()) || name.starts_with("fixture:") {
        return Err(invalid(
            "/name",
            &format!("the name {name:?} has a meaning of its own in history"),
            "choose another name",
        ));
    }
    let scopes = "write \"read\", \"edit\" or \"admin\"";
    let scope: Option<String> = Sent::member(&mut members, "scope", scopes)?;
    let scope = scope
        .and_then(|scope| Scope::read(&scope))
        .ok_or_else(|| invalid("/scope", "the scope is missing or none of those that there are", scopes))?;
    let (token, text) = app.service.add_token(name, scope).await?;
    let api::Token { id, name, scope, created } = view(token);
    let mut response = secret(StatusCode::CREATED, api::TokenMade { id, name, scope, created, token: text });
    if let Ok(location) = HeaderValue::from_str(&format!("/v1/tokens/{id}")) {
        response.headers_mut().insert(LOCATION, location);
    }
    Ok(response)
}

/// Takes a token away
///
/// Whoever holds it is refused from now on.
#[utoipa::path(
    delete, path = "/v1/tokens/{id}", tag = "tokens", operation_id = "delete_token",
    params(api::TokenPath),
    responses((status = 204, description = "It is gone, durably"), ReadOneProblems)
)]
pub(crate) async fn delete(
    State(app): State<App>,
    Number(id): Number,
    query: Query,
) -> Result<Response<Body>, Refusal> {
    query.finish(&[])?;
    app.service.remove_token(id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

fn view(token: Token) -> api::Token {
    let scope = match token.scope {
        Scope::Read => api::Scope::Read,
        Scope::Edit => api::Scope::Edit,
        Scope::Admin => api::Scope::Admin,
    };
    api::Token { id: token.id, name: token.name, scope, created: time::write(token.created) }
}
