//! Who calls: by token, by the page's cookie, or from the machine itself; and whether they may.

use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{FromRequestParts, Request};
use axum::http::header::{AUTHORIZATION, COOKIE, USER_AGENT, WWW_AUTHENTICATE};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Uri};
use service::{Actor, Scope, Way};
use tokio::time::Instant;

use crate::access::Need;
use crate::app::App;
use crate::doors::Visit;
use crate::origin;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

/// The cookie that the page holds.
pub(crate) const COOKIE_NAME: &str = "sconced_token";
/// The name of whoever calls from the machine itself.
pub(crate) const LOOPBACK: &str = "loopback";
/// How the User-Agent of the command line begins.
const CLI_AGENT: &str = "sconced-cli/";

/// By what somebody is known, whatever they are called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Account {
    /// Whoever calls from the machine itself.
    Loopback,
    /// The bearer of a token. Its number may be given again when it is gone, so the time when it was made counts too.
    Token { id: i64, created: i64 },
}

impl Account {
    pub(crate) fn name(&self) -> String {
        match self {
            Self::Loopback => LOOPBACK.to_owned(),
            Self::Token { id, created } => format!("token {id} {created}"),
        }
    }
}

/// Who calls, and what they may do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Caller {
    pub(crate) account: Account,
    pub(crate) by: Arc<str>,
    pub(crate) via: Way,
    pub(crate) scope: Scope,
}

impl Caller {
    pub(crate) fn actor(&self) -> Actor {
        Actor { by: Arc::clone(&self.by), via: self.via }
    }
}

/// A caller where one is needed; the front has put it there.
impl FromRequestParts<Visit> for Caller {
    type Rejection = Refusal;

    async fn from_request_parts(_: &mut Parts, visit: &Visit) -> Result<Self, Refusal> {
        visit.caller.clone().ok_or_else(no_token)
    }
}

/// A caller where none is needed.
#[derive(Debug)]
pub(crate) struct MaybeCaller(pub(crate) Option<Caller>);

impl FromRequestParts<Visit> for MaybeCaller {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(_: &mut Parts, visit: &Visit) -> Result<Self, Self::Rejection> {
        Ok(Self(visit.caller.clone()))
    }
}

/// What was presented.
enum Presented<'a> {
    Nothing,
    /// A token in the Authorization header.
    Bearer(&'a str),
    /// The page's cookie.
    Cookie(&'a str),
    /// Something that is no token.
    Unreadable,
}

fn presented(headers: &HeaderMap) -> Presented<'_> {
    if let Some(value) = headers.get(AUTHORIZATION) {
        let bearer = value.to_str().ok().and_then(|text| text.split_once(' '));
        return match bearer {
            Some((scheme, token)) if scheme.eq_ignore_ascii_case("bearer") => Presented::Bearer(token.trim()),
            _ => Presented::Unreadable,
        };
    }
    cookie(headers).map_or(Presented::Nothing, Presented::Cookie)
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE_NAME)
        .map(|(_, value)| value)
}

/// Somebody who is let in.
#[derive(Debug)]
pub(crate) struct Admitted {
    /// Who it is, where that was asked and is known.
    pub(crate) caller: Option<Caller>,
    /// How long they wait: a wrong token is slowed also where none is needed.
    pub(crate) after: Option<Duration>,
}

/// Why somebody is not let in.
#[derive(Debug)]
pub(crate) struct Denied {
    pub(crate) refusal: Refusal,
    /// How long they wait for it.
    pub(crate) after: Option<Duration>,
}

impl From<Refusal> for Denied {
    fn from(refusal: Refusal) -> Self {
        Self { refusal, after: None }
    }
}

/// Finds out who calls. A token that is presented counts even where none would be needed.
fn identify(app: &App, peer: IpAddr, headers: &HeaderMap, uri: &Uri) -> Result<Option<Caller>, Denied> {
    let by_agent = headers.get(USER_AGENT).is_some_and(|agent| agent.as_bytes().starts_with(CLI_AGENT.as_bytes()));
    let via = if by_agent { Way::Cli } else { Way::Http };
    let home = || {
        let at_home = app.options.open_on_loopback && origin::is_loopback(peer, headers, uri);
        let by = Arc::clone(&app.loopback);
        at_home.then_some(Caller { account: Account::Loopback, by, via, scope: Scope::Admin })
    };
    let (text, via) = match presented(headers) {
        Presented::Nothing => return Ok(home()),
        Presented::Bearer(text) => (text, via),
        Presented::Cookie(text) => (text, Way::Page),
        Presented::Unreadable => ("", via),
    };
    match app.service.authenticate(text) {
        Some(token) => {
            let account = Account::Token { id: token.id, created: token.created.as_millisecond() };
            Ok(Some(Caller { account, by: token.name.into(), via, scope: token.scope }))
        }
        // a cookie of a token that is gone is nothing that anybody typed
        None if via == Way::Page => Ok(home()),
        None => {
            let refusal =
                Refusal::new(ProblemType::NO_TOKEN, "the token is not one of this daemon's, or it was taken away")
                    .advice("send `Authorization: Bearer TOKEN` with a token that GET /v1/tokens lists")
                    .header(WWW_AUTHENTICATE, "Bearer realm=\"sconced\", error=\"invalid_token\"");
            Err(Denied { refusal, after: Some(app.throttle.failed(peer, Instant::now())) })
        }
    }
}

fn no_token() -> Refusal {
    Refusal::new(ProblemType::NO_TOKEN, "the request came without a token")
        .advice("send `Authorization: Bearer TOKEN`; the first start of the daemon printed an admin token")
        .header(WWW_AUTHENTICATE, "Bearer realm=\"sconced\"")
}

fn permit(need: Need, caller: Option<&Caller>) -> Result<(), Refusal> {
    match (need, caller) {
        (Need::Nothing, _) => Ok(()),
        (Need::Scope(_), None) => Err(no_token()),
        (Need::Scope(least), Some(caller)) if caller.scope >= least => Ok(()),
        (Need::Scope(least), Some(caller)) => Err(Refusal::new(
            ProblemType::SCOPE,
            format!(
                "this needs the scope {}, and the token {:?} has {}",
                least.as_str(),
                caller.by,
                caller.scope.as_str()
            ),
        )),
    }
}

/// Finds out who calls and whether they may, before anything else of the request is looked at. Where nothing is needed
/// nobody is asked who they are unless `ask` says so.
pub(crate) fn admit(app: &App, peer: IpAddr, need: Need, ask: bool, request: &Request) -> Result<Admitted, Denied> {
    let (headers, uri) = (request.headers(), request.uri());
    origin::check(request.method(), headers, uri)?;
    let (caller, after) = match (need, ask) {
        (Need::Nothing, false) => (None, None),
        (Need::Nothing, true) => match identify(app, peer, headers, uri) {
            Ok(caller) => (caller, None),
            Err(denied) => (None, denied.after),
        },
        (Need::Scope(_), _) => (identify(app, peer, headers, uri)?, None),
    };
    permit(need, caller.as_ref())?;
    Ok(Admitted { caller, after })
}
