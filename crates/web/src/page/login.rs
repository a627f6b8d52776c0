//! The way in and out: a form that takes a token and sets a cookie which no script can read and no other site sends.

use askama::Template;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_TYPE, LOCATION, SET_COOKIE};
use axum::http::{HeaderValue, Response, StatusCode};
use axum::response::IntoResponse;
use percent_encoding::percent_decode;
use tokio::time::Instant;

use super::html;
use crate::app::App;
use crate::body;
use crate::caller::COOKIE_NAME;
use crate::doors::Peer;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

const FORM: &str = "application/x-www-form-urlencoded";
/// A year, in seconds.
const KEPT: u32 = 31_536_000;

#[derive(Template)]
#[template(path = "login.html")]
struct LoginPage<'a> {
    wrong: Option<&'a str>,
}

/// The page that says how to get in.
pub(super) fn page(status: StatusCode, wrong: Option<&str>) -> Response<Body> {
    html(status, &LoginPage { wrong })
}

/// Takes the form. A wrong token is answered late, and later each time.
pub(crate) async fn log_in(
    State(app): State<App>,
    Peer(address): Peer,
    request: Request,
) -> Result<Response<Body>, Refusal> {
    let (parts, body) = request.into_parts();
    let kind = parts.headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if kind.split(';').next().is_none_or(|kind| !kind.trim().eq_ignore_ascii_case(FORM)) {
        return Err(Refusal::new(ProblemType::MEDIA_TYPE, format!("the log-in form comes as {FORM}")));
    }
    let bytes = body::bytes(&parts.headers, body).await?;
    let text = String::from_utf8_lossy(&bytes);
    let token = text.split('&').find_map(|pair| pair.strip_prefix("token=")).unwrap_or_default();
    let token = percent_decode(token.as_bytes()).decode_utf8_lossy();
    let token = token.trim();
    if app.service.authenticate(token).is_none() {
        tokio::time::sleep(app.throttle.failed(address, Instant::now())).await;
        return Ok(page(StatusCode::UNAUTHORIZED, Some("That is not a token of this daemon.")));
    }
    app.throttle.succeeded(address);
    Ok(home(&format!("{COOKIE_NAME}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age={KEPT}")))
}

/// Forgets the cookie.
pub(crate) async fn log_out() -> Response<Body> {
    home(&format!("{COOKIE_NAME}=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0"))
}

fn home(cookie: &str) -> Response<Body> {
    let mut response = (StatusCode::SEE_OTHER, [(LOCATION, HeaderValue::from_static("/"))]).into_response();
    if let Ok(value) = HeaderValue::from_str(cookie) {
        response.headers_mut().insert(SET_COOKIE, value);
    }
    response
}
