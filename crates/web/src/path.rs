//! Names in addresses: of the right form, or refused with the form that they must have.

use std::str::FromStr;

use axum::extract::{FromRequestParts, RawPathParams};
use axum::http::request::Parts;
use service::{FixtureId, KindName};

use crate::problem_type::ProblemType;
use crate::query::whole;
use crate::refusal::Refusal;

/// The `{id}` of a fixture.
pub(crate) struct Id(pub(crate) FixtureId);

/// The `{name}` of something, as text.
pub(crate) struct Name(pub(crate) String);

/// The `{name}` of a kind.
pub(crate) struct KindId(pub(crate) KindName);

/// The `{id}` of something that is numbered.
pub(crate) struct Number(pub(crate) i64);

/// The one parameter of the address, decoded.
async fn only<S: Send + Sync>(parts: &mut Parts, state: &S) -> Result<String, Refusal> {
    let parameters = RawPathParams::from_request_parts(parts, state).await.map_err(|_| {
        bad("a name in the address is not percent-encoded UTF-8", "write it in ASCII letters and digits")
    })?;
    Ok(parameters.iter().next().map(|(_, value)| value.to_owned()).unwrap_or_default())
}

fn bad(text: impl Into<String>, advice: &str) -> Refusal {
    Refusal::new(ProblemType::BAD_PATH, text).advice(advice)
}

impl<S: Send + Sync> FromRequestParts<S> for Id {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let text = only(parts, state).await?;
        FixtureId::from_str(&text)
            .map(Self)
            .map_err(|error| bad(error.to_string(), "GET /v1/fixtures lists the fixtures that there are"))
    }
}

impl<S: Send + Sync> FromRequestParts<S> for KindId {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let text = only(parts, state).await?;
        KindName::from_str(&text)
            .map(Self)
            .map_err(|error| bad(error.to_string(), "GET /v1/kinds lists the kinds that there are"))
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Name {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        only(parts, state).await.map(Self)
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Number {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let text = only(parts, state).await?;
        let shown: String = text.chars().take(80).collect();
        whole(&text)
            .and_then(|number| i64::try_from(number).ok())
            .map(Self)
            .ok_or_else(|| bad(format!("{shown:?} is not a number"), "write the number in digits"))
    }
}
