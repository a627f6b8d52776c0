//! What happens to every answer on its way out: plain errors become problems, and headers that keep browsers safe are
//! put on.

use std::any::Any;
use std::time::Duration;

use axum::body::{Body, HttpBody};
use axum::extract::Request;
use axum::http::header::{
    ALLOW, CACHE_CONTROL, CONTENT_LENGTH, CONTENT_SECURITY_POLICY, CONTENT_TYPE, ETAG, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::uri::PathAndQuery;
use axum::http::{HeaderValue, Method, Response, StatusCode, Uri};
use axum::response::IntoResponse;

use crate::body::{ACCEPT_PATCH, PATCHES};
use crate::problem_type::ProblemType;
use crate::refusal::{PROBLEM_JSON, Refusal};

static NOSNIFF: HeaderValue = HeaderValue::from_static("nosniff");
static NO_REFERRER: HeaderValue = HeaderValue::from_static("no-referrer");
/// It may be kept, but is asked about each time.
pub(crate) static NO_CACHE: HeaderValue = HeaderValue::from_static("no-cache");
static NO_STORE: HeaderValue = HeaderValue::from_static("no-store");
static OWN_PAGES: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; form-action 'self'; \
     frame-ancestors 'none'; base-uri 'none'",
);
/// The reader of the OpenAPI document puts styles into its elements and images into its styles.
static DOCS: HeaderValue = HeaderValue::from_static(
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; connect-src 'self'; \
     img-src 'self' data:; font-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
);

/// What is kept of a request for its answer's way out.
#[derive(Debug)]
pub(crate) struct Outward {
    method: Method,
    address: Option<PathAndQuery>,
}

impl Outward {
    pub(crate) fn of(request: &Request) -> Self {
        Self { method: request.method().clone(), address: request.uri().path_and_query().cloned() }
    }

    /// Makes an answer fit to leave.
    pub(crate) fn finish(&self, response: Response<Body>) -> Response<Body> {
        let path = self.address.as_ref().map_or("", PathAndQuery::path);
        let mut response = as_problem(&self.method, path, response);
        protect(path, &mut response);
        if self.method == Method::HEAD {
            let length = response.body().size_hint().exact();
            if let Some(length) = length
                && !response.headers().contains_key(CONTENT_LENGTH)
            {
                response.headers_mut().insert(CONTENT_LENGTH, length.into());
            }
            *response.body_mut() = Body::empty();
        }
        response
    }
}

/// The answer to an address that is too long.
pub(crate) fn long_address(bytes: usize, most: usize) -> Refusal {
    Refusal::new(ProblemType::LONG_ADDRESS, format!("the address has {bytes} bytes, at most {most} are taken"))
}

/// The answer to an address at which there is nothing.
pub(crate) fn no_route(uri: &Uri) -> Refusal {
    let path: String = uri.path().chars().take(200).collect();
    Refusal::new(ProblemType::NO_ROUTE, format!("there is nothing at {path}"))
        .advice("GET /openapi.json lists what there is")
}

/// The answer when a handler panicked: it is a defect, and nothing about it goes to the caller.
pub(crate) fn panicked(reason: Box<dyn Any + Send>) -> Response<Body> {
    let words = reason.downcast_ref::<String>().map(String::as_str).or_else(|| reason.downcast_ref::<&str>().copied());
    tracing::error!(reason = words.unwrap_or("unknown"), "a request met a defect");
    Refusal::new(ProblemType::DEFECT, "the request met a defect of the daemon; its log says more").into_response()
}

/// The answer to a request that took too long.
pub(crate) fn late(patience: Duration) -> Refusal {
    Refusal::new(ProblemType::TIMEOUT, format!("the request was not finished within {} seconds", patience.as_secs()))
        .advice("if it was an edit, read the document before you repeat it")
}

/// A path for the log: short, and without anything that could forge a line.
pub(crate) fn shortened(path: &str) -> String {
    path.chars().take(200).filter(|c| !c.is_control()).collect()
}

/// Turns the plain errors of the framework into problems, and a refused OPTIONS into an answered one.
fn as_problem(method: &Method, path: &str, response: Response<Body>) -> Response<Body> {
    let status = response.status();
    let allow = response.headers().get(ALLOW).cloned();
    if status == StatusCode::METHOD_NOT_ALLOWED
        && *method == Method::OPTIONS
        && let Some(allow) = allow
    {
        return options(&allow);
    }
    let kind = response.headers().get(CONTENT_TYPE).map(HeaderValue::as_bytes).unwrap_or_default();
    if !(status.is_client_error() || status.is_server_error())
        || kind.starts_with(PROBLEM_JSON.as_bytes())
        || kind.starts_with(b"text/html")
    {
        return response;
    }
    let refusal = match status {
        StatusCode::METHOD_NOT_ALLOWED => {
            let methods = allow.as_ref().and_then(|allow| allow.to_str().ok()).unwrap_or("none").replace(',', ", ");
            Refusal::new(
                ProblemType::METHOD,
                format!("{} is not allowed at {}", shortened(method.as_str()), shortened(path)),
            )
            .advice(format!("the methods here are: {methods}"))
        }
        StatusCode::NOT_FOUND => {
            Refusal::new(ProblemType::NO_ROUTE, format!("there is nothing at {}", shortened(path)))
        }
        StatusCode::REQUEST_TIMEOUT => Refusal::new(ProblemType::TIMEOUT, "the request was not finished in time"),
        StatusCode::PAYLOAD_TOO_LARGE => Refusal::new(ProblemType::TOO_LARGE, "the body is too large"),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            Refusal::new(ProblemType::MEDIA_TYPE, "the media type of the body is not taken here")
        }
        _ if status.is_client_error() => Refusal::new(ProblemType::BAD_PATH, "the request could not be read"),
        _ => Refusal::new(ProblemType::DEFECT, "the request met a defect of the daemon; its log says more"),
    };
    let mut problem = refusal.into_response();
    if let Some(allow) = allow {
        problem.headers_mut().insert(ALLOW, allow);
    }
    problem
}

fn options(allow: &HeaderValue) -> Response<Body> {
    let methods = allow.to_str().unwrap_or_default();
    let mut response = StatusCode::NO_CONTENT.into_response();
    if methods.split(',').any(|method| method.trim() == "PATCH") {
        response.headers_mut().insert(ACCEPT_PATCH, HeaderValue::from_static(PATCHES));
    }
    if let Ok(value) = HeaderValue::from_str(&format!("{methods},OPTIONS")) {
        response.headers_mut().insert(ALLOW, value);
    }
    response
}

fn protect(path: &str, response: &mut Response<Body>) {
    let docs = path == "/docs" || path.starts_with("/docs/");
    let headers = response.headers_mut();
    headers.insert(X_CONTENT_TYPE_OPTIONS, NOSNIFF.clone());
    headers.insert(CONTENT_SECURITY_POLICY, if docs { DOCS.clone() } else { OWN_PAGES.clone() });
    // the pages with forms have a policy of their own
    if !headers.contains_key(REFERRER_POLICY) {
        headers.insert(REFERRER_POLICY, NO_REFERRER.clone());
    }
    if !headers.contains_key(CACHE_CONTROL) {
        headers.insert(CACHE_CONTROL, if headers.contains_key(ETAG) { NO_CACHE.clone() } else { NO_STORE.clone() });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_a_problem_that_tells_nothing() {
        let response = panicked(Box::new("a secret".to_owned()));
        assert_eq!(response.status(), StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(response.headers()[CONTENT_TYPE], PROBLEM_JSON);
    }

    #[test]
    fn plain_errors_of_the_framework_become_problems() {
        for status in [400_u16, 404, 405, 408, 411, 413, 415, 417, 500, 501] {
            let plain = Response::builder().status(status).body(Body::from("bare")).unwrap();
            let response = as_problem(&Method::GET, "/v1/fixtures", plain);
            assert_eq!(response.headers()[CONTENT_TYPE], PROBLEM_JSON, "{status}");
            assert_eq!(response.status().is_server_error(), status >= 500, "{status}");
        }
    }
}
