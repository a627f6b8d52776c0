//! Who calls: by token, by the page's cookie, or from the machine itself; and whether they may.

use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{ConnectInfo, FromRequestParts, MatchedPath, Request, State};
use axum::http::header::{AUTHORIZATION, COOKIE, USER_AGENT, WWW_AUTHENTICATE};
use axum::http::request::Parts;
use axum::http::{HeaderMap, Response};
use axum::middleware::Next;
use axum::response::IntoResponse;
use service::{Actor, Scope, Way};
use tokio::time::Instant;

use crate::access::{Need, need};
use crate::app::App;
use crate::origin;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

/// The cookie that the page holds.
pub(crate) const COOKIE_NAME: &str = "sconced_token";
/// The name of whoever calls from the machine itself.
const LOOPBACK: &str = "loopback";
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

/// A caller where one is needed; the middleware has put it there.
impl<S: Sync> FromRequestParts<S> for Caller {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Refusal> {
        parts.extensions.get::<Self>().cloned().ok_or_else(no_token)
    }
}

/// A caller where none is needed.
#[derive(Debug)]
pub(crate) struct MaybeCaller(pub(crate) Option<Caller>);

impl<S: Sync> FromRequestParts<S> for MaybeCaller {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Self::Rejection> {
        Ok(Self(parts.extensions.get::<Caller>().cloned()))
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

/// The address that a request comes from. Where the server did not say, it is one that is never the loopback.
pub(crate) fn peer(parts: &Parts) -> IpAddr {
    parts
        .extensions
        .get::<ConnectInfo<SocketAddr>>()
        .map_or(IpAddr::V6(Ipv6Addr::UNSPECIFIED), |ConnectInfo(address)| address.ip())
}

/// Finds out who calls. A token that is presented counts even where none would be needed.
async fn identify(app: &App, parts: &Parts) -> Result<Option<Caller>, Refusal> {
    let headers = &parts.headers;
    let peer = peer(parts);
    let by_agent = headers.get(USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let via = if by_agent.starts_with(CLI_AGENT) { Way::Cli } else { Way::Http };
    let at_home = app.options.open_on_loopback && origin::is_loopback(peer, headers, &parts.uri);
    let home = at_home.then(|| Caller { account: Account::Loopback, by: LOOPBACK.into(), via, scope: Scope::Admin });
    let (text, via) = match presented(headers) {
        Presented::Nothing => return Ok(home),
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
        None if via == Way::Page => Ok(home),
        None => {
            tokio::time::sleep(app.throttle.failed(peer, Instant::now())).await;
            Err(Refusal::new(ProblemType::NO_TOKEN, "the token is not one of this daemon's, or it was taken away")
                .advice("send `Authorization: Bearer TOKEN` with a token that GET /v1/tokens lists")
                .header(WWW_AUTHENTICATE, "Bearer realm=\"sconced\", error=\"invalid_token\""))
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

/// Middleware: finds out who calls and whether they may, before anything else of the request is looked at.
pub(crate) async fn admit(State(app): State<App>, request: Request, next: Next) -> Response<Body> {
    let (mut parts, body) = request.into_parts();
    let route = parts.extensions.get::<MatchedPath>().map(|path| path.as_str().to_owned());
    let need = need(&parts.method, route.as_deref());
    let admitted = async {
        origin::check(&parts.method, &parts.headers, &parts.uri)?;
        let caller = match need {
            // where nothing is needed nobody is asked who they are; the page alone looks for itself
            Need::Nothing if parts.uri.path() != "/" => None,
            Need::Nothing => identify(&app, &parts).await.unwrap_or(None),
            Need::Scope(_) => identify(&app, &parts).await?,
        };
        permit(need, caller.as_ref())?;
        Ok::<_, Refusal>(caller)
    }
    .await;
    match admitted {
        Ok(caller) => {
            if let Some(caller) = caller {
                parts.extensions.insert(caller);
            }
            next.run(Request::from_parts(parts, body)).await
        }
        Err(refusal) => refusal.into_response(),
    }
}
