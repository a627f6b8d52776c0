//! A refused request on its way out: problem details (RFC 9457) with their status and headers.

use axum::Json;
use axum::body::Body;
use axum::http::header::{CONTENT_TYPE, HeaderName};
use axum::http::{HeaderMap, HeaderValue, Response};
use axum::response::IntoResponse;

use crate::problem_type::ProblemType;

/// The media type of problem details (RFC 9457, section 6.1).
pub(crate) const PROBLEM_JSON: &str = "application/problem+json";

/// Why a request is refused.
#[derive(Debug, Clone)]
pub(crate) struct Refusal(Box<Inner>);

#[derive(Debug, Clone)]
struct Inner {
    problem: ProblemType,
    detail: String,
    pointer: Option<String>,
    advice: Option<String>,
    errors: Vec<api::Fault>,
    headers: HeaderMap,
}

impl Refusal {
    pub(crate) fn new(problem: ProblemType, detail: impl Into<String>) -> Self {
        Self(Box::new(Inner {
            problem,
            detail: detail.into(),
            pointer: None,
            advice: None,
            errors: Vec::new(),
            headers: HeaderMap::new(),
        }))
    }

    /// One fault of the body, at a place.
    pub(crate) fn at(problem: ProblemType, pointer: &str, text: &str, advice: &str) -> Self {
        let fault = api::Fault { pointer: pointer.to_owned(), text: text.to_owned(), advice: advice.to_owned() };
        Self::new(problem, text).faults(vec![fault])
    }

    /// Faults of the body; the first also goes into `pointer` and `advice`.
    pub(crate) fn faults(mut self, faults: Vec<api::Fault>) -> Self {
        if let Some(first) = faults.first() {
            self.0.pointer = Some(first.pointer.clone());
            self.0.advice = Some(first.advice.clone());
        }
        self.0.errors = faults;
        self
    }

    pub(crate) fn pointer(mut self, pointer: impl Into<String>) -> Self {
        self.0.pointer = Some(pointer.into());
        self
    }

    pub(crate) fn advice(mut self, advice: impl Into<String>) -> Self {
        self.0.advice = Some(advice.into());
        self
    }

    pub(crate) fn header(mut self, name: HeaderName, value: &'static str) -> Self {
        self.0.headers.insert(name, HeaderValue::from_static(value));
        self
    }

    #[cfg(test)]
    pub(crate) fn problem(&self) -> ProblemType {
        self.0.problem
    }

    #[cfg(test)]
    pub(crate) fn detail(&self) -> &str {
        &self.0.detail
    }

    /// Takes a prefix off every pointer: the body of the request was a part of the document.
    pub(crate) fn within(mut self, prefix: &str) -> Self {
        let shorten = |pointer: &mut String| {
            if let Some(rest) = pointer.strip_prefix(prefix)
                && (rest.is_empty() || rest.starts_with('/'))
            {
                *pointer = rest.to_owned();
            }
        };
        if let Some(pointer) = &mut self.0.pointer {
            shorten(pointer);
        }
        for fault in &mut self.0.errors {
            shorten(&mut fault.pointer);
        }
        self
    }

    /// The body of the answer.
    pub(crate) fn body(&self) -> api::Problem {
        let inner = &self.0;
        api::Problem {
            kind: inner.problem.address(),
            title: inner.problem.title.to_owned(),
            status: inner.problem.status.as_u16(),
            detail: inner.detail.clone(),
            pointer: inner.pointer.clone(),
            advice: inner.advice.clone(),
            errors: inner.errors.clone(),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response<Body> {
        let body = self.body();
        let mut response = (self.0.problem.status, Json(body)).into_response();
        let headers = response.headers_mut();
        headers.extend(self.0.headers);
        headers.insert(CONTENT_TYPE, HeaderValue::from_static(PROBLEM_JSON));
        response
    }
}
