//! The headers of a request, for its handler.

use std::convert::Infallible;

use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::request::Parts;

/// The headers of a request, taken out of it in place of a copy. Whoever else reads headers stands before this.
pub(crate) struct Headers(pub(crate) HeaderMap);

impl<S: Sync> FromRequestParts<S> for Headers {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        Ok(Self(std::mem::take(&mut parts.headers)))
    }
}
