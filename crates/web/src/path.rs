//! Names in addresses: of the right form, or refused with the form that they must have.

use std::borrow::Cow;
use std::str::FromStr;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use service::{FixtureId, KindName};

use crate::doors::Visit;
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
fn only<'a>(parts: &'a Parts, visit: &Visit) -> Result<Cow<'a, str>, Refusal> {
    visit.parameter(parts).ok_or_else(|| {
        bad("a name in the address is not percent-encoded UTF-8", "write it in ASCII letters and digits")
    })
}

fn bad(text: impl Into<String>, advice: &str) -> Refusal {
    Refusal::new(ProblemType::BAD_PATH, text).advice(advice)
}

impl FromRequestParts<Visit> for Id {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, visit: &Visit) -> Result<Self, Refusal> {
        let text = only(parts, visit)?;
        FixtureId::from_str(&text)
            .map(Self)
            .map_err(|error| bad(error.to_string(), "GET /v1/fixtures lists the fixtures that there are"))
    }
}

impl FromRequestParts<Visit> for KindId {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, visit: &Visit) -> Result<Self, Refusal> {
        let text = only(parts, visit)?;
        KindName::from_str(&text)
            .map(Self)
            .map_err(|error| bad(error.to_string(), "GET /v1/kinds lists the kinds that there are"))
    }
}

impl FromRequestParts<Visit> for Name {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, visit: &Visit) -> Result<Self, Refusal> {
        only(parts, visit).map(|name| Self(name.into_owned()))
    }
}

impl FromRequestParts<Visit> for Number {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, visit: &Visit) -> Result<Self, Refusal> {
        let text = only(parts, visit)?;
        let shown: String = text.chars().take(80).collect();
        whole(&text)
            .and_then(|number| i64::try_from(number).ok())
            .map(Self)
            .ok_or_else(|| bad(format!("{shown:?} is not a number"), "write the number in digits"))
    }
}
