//! A bare axum handler that answers the very bytes that the daemon answers. Before it answers a PATCH it may wait for
//! plain SQLite: no JSON is read, no rule asked, nothing published.

use std::net::Ipv4Addr;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path as Place, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Response, StatusCode};
use axum::routing::get;
use axum::serve::ListenerExt as _;
use tokio::net::TcpListener;

use super::{tell, until_closed};
use crate::error::BenchError;
use crate::plain::{FIRST_REVISION, Plain, Queue, Rows, Unit};

/// Headers that the server sets by itself.
const OWN: [&str; 3] = ["content-length", "date", "connection"];

#[derive(Debug)]
struct Fixed {
    headers: HeaderMap,
    body: Bytes,
    plain: Option<Written>,
}

/// Where a PATCH is written.
#[derive(Debug)]
struct Written {
    unit: Unit,
    queue: Queue,
    revision: AtomicI64,
}

/// Takes head and body of an answer apart.
fn fixed(answer: &[u8]) -> Option<Fixed> {
    let end = answer.windows(4).position(|four| four == b"\r\n\r\n")?;
    let (head, body) = answer.split_at(end + 4);
    let mut headers = HeaderMap::new();
    for line in std::str::from_utf8(head).ok()?.lines().skip(1).filter(|line| !line.is_empty()) {
        let (name, value) = line.split_once(':')?;
        let name: HeaderName = name.parse().ok()?;
        if !OWN.contains(&name.as_str()) {
            headers.append(name, HeaderValue::from_str(value.trim()).ok()?);
        }
    }
    Some(Fixed { headers, body: Bytes::copy_from_slice(body), plain: None })
}

pub(super) async fn run(answer: &Path, data: Option<&Path>) -> Result<(), BenchError> {
    let bytes = std::fs::read(answer).map_err(BenchError::io("reading the answer"))?;
    let mut fixed = fixed(&bytes).ok_or_else(|| BenchError::unexpected("reading the answer", "it is none"))?;
    if let Some(data) = data {
        let plain = Plain::new(data)?;
        let queue = plain.begin(Rows::Edit)?.queue;
        fixed.plain = Some(Written { unit: plain.unit(), queue, revision: AtomicI64::new(FIRST_REVISION) });
    }
    let router =
        Router::new().route("/v1/fixtures/{id}/desired", get(handle).patch(handle_edit)).with_state(Arc::new(fixed));
    let doing = || BenchError::io("serving HTTP");
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.map_err(doing())?;
    let address = listener.local_addr().map_err(doing())?;
    let listener = listener.tap_io(|stream| {
        let _ = stream.set_nodelay(true); // slower without, and never wrong
    });
    tokio::spawn(async move { axum::serve(listener, router).await });
    tell(&format!("ready http={address}"))?;
    until_closed(|_| String::new()).await
}

async fn handle(State(fixed): State<Arc<Fixed>>, Place(_): Place<String>) -> Response<Body> {
    let mut response = Response::new(Body::from(fixed.body.clone()));
    *response.headers_mut() = fixed.headers.clone();
    response
}

/// Takes the body in, writes, answers.
async fn handle_edit(state: State<Arc<Fixed>>, place: Place<String>, _body: Bytes) -> Response<Body> {
    let fixture = place.0.trim_start_matches(|letter: char| !letter.is_ascii_digit()).parse().unwrap_or(1_i64);
    if let Some(plain) = &state.0.plain {
        let revision = plain.revision.fetch_add(1, Ordering::Relaxed) + 1;
        if plain.unit.written(&plain.queue, fixture * 8 + 1, revision).await.is_err() {
            let mut response = Response::new(Body::empty());
            *response.status_mut() = StatusCode::INSUFFICIENT_STORAGE;
            return response;
        }
    }
    handle(state, place).await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_is_taken_apart_without_what_the_server_sets() {
        let answer = b"HTTP/1.1 200 OK\r\netag: \"7\"\r\ncontent-length: 2\r\n\r\n{}";
        let fixed = fixed(answer).unwrap();
        assert_eq!((fixed.headers.len(), fixed.headers["etag"].to_str().unwrap()), (1, "\"7\""));
        assert_eq!(&fixed.body[..], b"{}");
    }
}
