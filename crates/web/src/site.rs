//! The front: what every request goes through before and after its handler, in one place and one order. Its address is
//! looked up, then who may ask is found out, then its handler runs, within its time and with its defects caught; plain
//! errors become problems, and headers that keep browsers safe are put on.
//!
//! Layers around a router would do the same, each with a service that is cloned and a future that is boxed for every
//! request: together they cost more than all the rest.

use std::any::Any;
use std::convert::Infallible;
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use axum::body::Body;
use axum::extract::{ConnectInfo, Request};
use axum::http::header::ALLOW;
use axum::http::{HeaderValue, Response, StatusCode};
use axum::response::IntoResponse;
use tokio::time::{Instant, Sleep, sleep};
use tower::Service;
use tracing::{Level, Span, debug, debug_span, enabled};

use crate::access::{Need, UNKNOWN};
use crate::app::App;
use crate::caller::{Admitted, Denied, admit};
use crate::doors::{Answering, Doors, Place, Visit};
use crate::outer::{Outward, late, long_address, no_route, panicked, shortened};
use crate::rest::Rest;

/// How long a request may take.
const PATIENCE: Duration = Duration::from_secs(30);
/// How long one may take that copies the database, or waits for simulated fixtures.
const LONG_PATIENCE: Duration = Duration::from_secs(600);
/// The longest address, query included.
const LONGEST_ADDRESS: usize = 8192;

/// Everything that is served, as one service. Cheap to clone.
///
/// Requests need their peer's address as [`axum::extract::ConnectInfo`] of a [`std::net::SocketAddr`]; without it
/// nothing counts as coming from the machine itself. [`crate::serve`] says it by itself.
#[derive(Debug, Clone)]
pub struct Site(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    app: App,
    places: matchit::Router<Place>,
}

impl Site {
    /// What is not among the doors is not there: nothing is reached around the table of who may do what.
    pub(crate) fn new(app: App, doors: Doors) -> Self {
        Self(Arc::new(Inner { app, places: doors.lookup() }))
    }

    /// Answers one request from that address.
    pub(crate) fn answer(&self, peer: IpAddr, request: Request) -> Answer {
        let told = enabled!(Level::DEBUG).then(|| {
            let path = shortened(request.uri().path());
            (debug_span!("request", method = %request.method(), path = %path), Instant::now())
        });
        let _entered = told.as_ref().map(|(span, _)| span.enter());
        let outward = Outward::of(&request);
        let (request, rest) = Rest::of(request);
        let (step, patience) = match catch_unwind(AssertUnwindSafe(|| self.0.begin(peer, request))) {
            Ok(begun) => begun,
            Err(reason) => (Step::done(panicked(reason)), PATIENCE),
        };
        drop(_entered);
        Answer { step, outward, rest: Some(rest), patience, over: None, told }
    }
}

impl Inner {
    /// Lets a request in to its handler when its caller may ask for this.
    fn begin(&self, peer: IpAddr, request: Request) -> (Step, Duration) {
        let (method, path) = (request.method(), request.uri().path());
        let length = request.uri().path_and_query().map_or(0, |whole| whole.as_str().len());
        if length > LONGEST_ADDRESS {
            return (Step::done(long_address(length, LONGEST_ADDRESS).into_response()), PATIENCE);
        }
        let place = self.places.at(path).ok().map(|found| found.value);
        let need = place.map_or(UNKNOWN, |place| place.need(method));
        // the page says how to get in to those who may not read, and looks for itself who asks
        let ask = need != Need::Nothing || path == "/";
        let Admitted { caller, after } = match admit(&self.app, peer, need, ask, &request) {
            Ok(admitted) => admitted,
            Err(Denied { refusal, after: None }) => return (Step::done(refusal.into_response()), PATIENCE),
            Err(Denied { refusal, after: Some(after) }) => {
                return (Step::Working(delayed(after, async { refusal.into_response() })), PATIENCE);
            }
        };
        let Some(place) = place else { return (Step::done(no_route(request.uri()).into_response()), PATIENCE) };
        let Some(door) = place.door(method) else { return (Step::done(no_method(place)), PATIENCE) };
        let long = place.address == "/v1/backups" || place.address.starts_with("/v1/demo/");
        let visit = Visit { app: self.app.clone(), peer, caller, parameter: place.parameter };
        let work = door(request, visit);
        let work = if let Some(after) = after { delayed(after, work) } else { work };
        (Step::Working(work), if long { LONG_PATIENCE } else { PATIENCE })
    }
}

/// An answer that comes later.
fn delayed(after: Duration, answer: impl Future<Output = Response<Body>> + Send + 'static) -> Answering {
    Box::pin(async move {
        sleep(after).await;
        answer.await
    })
}

/// The bare answer to a method that an address does not have; it becomes a problem on its way out.
fn no_method(place: &Place) -> Response<Body> {
    let mut response = StatusCode::METHOD_NOT_ALLOWED.into_response();
    if let Ok(allowed) = HeaderValue::try_from(place.allowed()) {
        response.headers_mut().insert(ALLOW, allowed);
    }
    response
}

/// A request on its way to its answer.
pub(crate) struct Answer {
    step: Step,
    outward: Outward,
    rest: Option<Rest>,
    patience: Duration,
    /// When its time is over; looked at only once the handler has had to wait for something.
    over: Option<Pin<Box<Sleep>>>,
    /// Its span in the log, and when it came; where the log wants to know.
    told: Option<(Span, Instant)>,
}

enum Step {
    /// The handler works.
    Working(Answering),
    /// It has answered, and what is left of the body is thrown away.
    Answered(Option<Response<Body>>, Option<Pin<Box<dyn Future<Output = ()> + Send>>>),
}

impl Step {
    fn done(response: Response<Body>) -> Self {
        Self::Answered(Some(response), None)
    }
}

impl Answer {
    /// What the handler comes to: its answer, its panic, or that it took too long.
    fn work(
        work: &mut Answering,
        over: &mut Option<Pin<Box<Sleep>>>,
        patience: Duration,
        context: &mut Context<'_>,
    ) -> Poll<Response<Body>> {
        let polled: Result<_, Box<dyn Any + Send>> = catch_unwind(AssertUnwindSafe(|| work.as_mut().poll(context)));
        match polled {
            Ok(Poll::Ready(response)) => return Poll::Ready(response),
            Ok(Poll::Pending) => {}
            Err(reason) => return Poll::Ready(panicked(reason)),
        }
        ready!(over.get_or_insert_with(|| Box::pin(sleep(patience))).as_mut().poll(context));
        Poll::Ready(late(patience).into_response())
    }
}

impl Future for Answer {
    type Output = Response<Body>;

    fn poll(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Response<Body>> {
        let this = self.get_mut();
        let _entered = this.told.as_ref().map(|(span, _)| span.enter());
        loop {
            match &mut this.step {
                Step::Working(work) => {
                    let response = ready!(Self::work(work, &mut this.over, this.patience, context));
                    this.step = Step::Answered(Some(response), None);
                }
                Step::Answered(response, discarding) => {
                    if let Some(rest) = this.rest.take() {
                        *discarding = rest.discard();
                    }
                    if let Some(discarding) = discarding {
                        ready!(discarding.as_mut().poll(context));
                    }
                    // asked again after its end it would say that it has none
                    let Some(response) = response.take() else { return Poll::Pending };
                    let response = this.outward.finish(response);
                    if let Some((_, began)) = &this.told {
                        debug!(status = response.status().as_u16(), ms = began.elapsed().as_millis(), "answered");
                    }
                    return Poll::Ready(response);
                }
            }
        }
    }
}

impl Service<Request> for Site {
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: Request) -> Self::Future {
        let peer = request
            .extensions()
            .get::<ConnectInfo<SocketAddr>>()
            .map_or(IpAddr::V6(Ipv6Addr::UNSPECIFIED), |ConnectInfo(address)| address.ip());
        let answer = self.answer(peer, request);
        Box::pin(async move { Ok(answer.await) })
    }
}

#[cfg(test)]
mod tests;
