//! The rest of a body that nobody read. A client that is still sending when its answer comes would see a broken
//! connection instead of the answer, or lose the connection for its next request, so what is left of a body is taken in
//! and thrown away, within a bound.

use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::Request;
use axum::http::header::EXPECT;
use http_body_util::BodyExt;
use hyper::body::{Body as HttpBody, Frame, SizeHint};

/// What is thrown away at most; whoever sends more sees the connection end.
const MOST: usize = 8 * 1024 * 1024;
/// How long it may take.
const PATIENCE: Duration = Duration::from_secs(5);

/// A body that can be read on after whoever got it has let go of it.
#[derive(Clone)]
struct Lent(Arc<Mutex<Body>>);

impl HttpBody for Lent {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        Pin::new(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner)).poll_frame(cx)
    }

    fn is_end_stream(&self) -> bool {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).size_hint()
    }
}

/// What may be left of a request's body once it is answered.
pub(crate) struct Rest(Option<Lent>);

impl Rest {
    /// The request, and what may be left of its body. Requests without a body are left as they are, and so are those
    /// that wait for a word before they send it (RFC 9110, section 10.1.1).
    pub(crate) fn of(request: Request) -> (Request, Self) {
        if request.body().is_end_stream() || request.headers().contains_key(EXPECT) {
            return (request, Self(None));
        }
        let (parts, body) = request.into_parts();
        let lent = Lent(Arc::new(Mutex::new(body)));
        (Request::from_parts(parts, Body::new(lent.clone())), Self(Some(lent)))
    }

    /// Throws away what is left, if there is anything.
    pub(crate) fn discard(self) -> Option<Pin<Box<dyn Future<Output = ()> + Send>>> {
        let mut body = self.0.filter(|body| !body.is_end_stream())?;
        let discard = async move {
            let mut left = MOST;
            while let Some(Ok(frame)) = body.frame().await {
                let bytes = frame.data_ref().map_or(0, Bytes::len);
                match left.checked_sub(bytes) {
                    Some(rest) => left = rest,
                    None => return,
                }
            }
        };
        Some(Box::pin(async {
            let _ = tokio::time::timeout(PATIENCE, discard).await;
        }))
    }
}
