//! The doors: which address and method leads to which handler, and what is needed to be let in.

use std::borrow::Cow;
use std::convert::Infallible;
use std::net::IpAddr;
use std::pin::Pin;

use axum::Router;
use axum::extract::{FromRef, FromRequestParts, Request};
use axum::handler::Handler;
use axum::http::Method;
use axum::http::request::Parts;
use axum::response::Response;
use percent_encoding::percent_decode_str;
use tower::Service;

use crate::access::{Need, Needs};
use crate::app::App;
use crate::caller::Caller;

/// An answer that is being made.
pub(crate) type Answering = Pin<Box<dyn Future<Output = Response> + Send>>;
/// What carries out a request that was let in.
pub(crate) type Door = Box<dyn Fn(Request, Visit) -> Answering + Send + Sync>;

/// A request that was let in: what its handler knows of it beside what was sent.
#[derive(Debug, Clone)]
pub(crate) struct Visit {
    pub(crate) app: App,
    /// The address that it comes from.
    pub(crate) peer: IpAddr,
    /// Who asks, where that was found out.
    pub(crate) caller: Option<Caller>,
    /// Where in the path the address's parameter begins.
    pub(crate) parameter: Option<usize>,
}

impl Visit {
    /// The address's parameter, decoded; `None` when it is not UTF-8.
    pub(crate) fn parameter<'a>(&self, parts: &'a Parts) -> Option<Cow<'a, str>> {
        let rest = self.parameter.and_then(|at| parts.uri.path().get(at..)).unwrap_or_default();
        let raw = rest.split('/').next().unwrap_or_default();
        if raw.contains('%') { percent_decode_str(raw).decode_utf8().ok() } else { Some(raw.into()) }
    }
}

impl FromRef<Visit> for App {
    fn from_ref(visit: &Visit) -> Self {
        visit.app.clone()
    }
}

/// The address that a request comes from.
pub(crate) struct Peer(pub(crate) IpAddr);

impl FromRequestParts<Visit> for Peer {
    type Rejection = Infallible;

    async fn from_request_parts(_: &mut Parts, visit: &Visit) -> Result<Self, Infallible> {
        Ok(Self(visit.peer))
    }
}

/// A handler as a door.
pub(crate) fn door<H, T>(handler: H) -> Door
where
    H: Handler<T, Visit, Future = Answering>,
{
    Box::new(move |request, visit| handler.clone().call(request, visit))
}

/// A router of another make as a door; it finds its own way from the whole address.
pub(crate) fn router(router: Router) -> Door {
    Box::new(move |request, _| {
        let mut router = router.clone();
        Box::pin(async move {
            match router.call(request).await {
                Ok(response) => response,
                Err(never) => match never {},
            }
        })
    })
}

/// What there is at one address.
pub(crate) struct Place {
    /// The address, its parameter in braces.
    pub(crate) address: String,
    needs: Needs,
    /// Where in the path its parameter begins. An address has one at most.
    pub(crate) parameter: Option<usize>,
    doors: Vec<(Method, Door)>,
}

impl std::fmt::Debug for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.address, self.allowed())
    }
}

impl Place {
    /// What a method needs here.
    pub(crate) fn need(&self, method: &Method) -> Need {
        self.needs.of_method(method)
    }

    /// The door of a method. HEAD goes through that of GET.
    pub(crate) fn door(&self, method: &Method) -> Option<&Door> {
        let method = if *method == Method::HEAD { &Method::GET } else { method };
        self.doors.iter().find(|(of, _)| of == method).map(|(_, door)| door)
    }

    /// The methods that there are, as the Allow header lists them.
    pub(crate) fn allowed(&self) -> String {
        let words =
            self.doors.iter().map(|(method, _)| if *method == Method::GET { "GET,HEAD" } else { method.as_str() });
        words.collect::<Vec<_>>().join(",")
    }
}

/// All doors, while they are being put in.
#[derive(Debug, Default)]
pub(crate) struct Doors(Vec<Place>);

impl Doors {
    /// Puts in one more.
    pub(crate) fn put(&mut self, method: Method, address: &str, door: Door) {
        if let Some(place) = self.0.iter_mut().find(|place| place.address == address) {
            place.doors.push((method, door));
            return;
        }
        self.0.push(Place {
            address: address.to_owned(),
            needs: Needs::of(address),
            parameter: address.find('{'),
            doors: vec![(method, door)],
        });
    }

    /// How addresses are looked up from now on.
    pub(crate) fn lookup(self) -> matchit::Router<Place> {
        let mut lookup = matchit::Router::new();
        for place in self.0 {
            let address = place.address.clone();
            if let Err(error) = lookup.insert(&address, place) {
                // two addresses that cannot stand beside each other; the tests ask for each
                tracing::error!(address, %error, "an address cannot be served");
            }
        }
        lookup
    }
}
