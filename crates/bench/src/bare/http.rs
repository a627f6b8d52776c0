//! A bare axum handler that answers the very bytes that the daemon answers.

use std::net::Ipv4Addr;
use std::path::Path;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Path as Place, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Response};
use axum::routing::get;
use axum::serve::ListenerExt as _;
use tokio::net::TcpListener;

use super::{tell, until_closed};
use crate::error::BenchError;

/// Headers that the server sets by itself.
const OWN: [&str; 3] = ["content-length", "date", "connection"];

#[derive(Debug)]
struct Fixed {
    headers: HeaderMap,
    body: Bytes,
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
    Some(Fixed { headers, body: Bytes::copy_from_slice(body) })
}

pub(super) async fn run(answer: &Path) -> Result<(), BenchError> {
    let bytes = std::fs::read(answer).map_err(BenchError::io("reading the answer"))?;
    let fixed = fixed(&bytes).ok_or_else(|| BenchError::unexpected("reading the answer", "it is none"))?;
    let router = Router::new().route("/v1/fixtures/{id}/desired", get(handle)).with_state(Arc::new(fixed));
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
