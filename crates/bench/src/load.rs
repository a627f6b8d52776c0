//! Callers that ask over HTTP one after the other, each on its own connection, for a given time.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::sync::Barrier;
use tokio::task::JoinSet;

use crate::error::BenchError;
use crate::http::Http;
use crate::machine::nanoseconds;

/// What came of a load.
#[derive(Debug, Default)]
pub(crate) struct Load {
    /// Nanoseconds that each answer took.
    pub(crate) taken: Vec<u64>,
    /// From the first request to the last answer.
    pub(crate) length: Duration,
}

impl Load {
    /// Answers a second.
    pub(crate) fn rate(&self) -> f64 {
        self.taken.len() as f64 / self.length.as_secs_f64().max(1e-9)
    }
}

/// What one caller sends: its bytes, changed in place before each request by its number.
pub(crate) trait Requests: Send + 'static {
    /// The next request.
    fn next(&mut self) -> &[u8];
}

/// The same request again and again.
pub(crate) struct Same(pub(crate) Vec<u8>);

impl Requests for Same {
    fn next(&mut self) -> &[u8] {
        &self.0
    }
}

/// Edits that each change one number of two digits in the body.
pub(crate) struct Edits {
    bytes: Vec<u8>,
    at: usize,
    n: u32,
}

impl Edits {
    /// Edits of one fixture's desired document. Each differs from the one before, so that each makes a revision.
    pub(crate) fn new(address: SocketAddr, fixture: &str) -> Self {
        let body = r#"{"looks":{"evening":{"intensity":10}}}"#;
        let path = format!("/v1/fixtures/{fixture}/desired");
        let bytes = crate::http::request(address, "PATCH", &path, Some(("application/merge-patch+json", body)));
        let at = bytes.len() - 5;
        Self { bytes, at, n: 0 }
    }
}

impl Requests for Edits {
    fn next(&mut self) -> &[u8] {
        self.n += 1;
        let value = 10 + self.n % 90;
        let digits = [b'0' + (value / 10) as u8, b'0' + (value % 10) as u8];
        if let Some(place) = self.bytes.get_mut(self.at..self.at + 2) {
            place.copy_from_slice(&digits);
        }
        &self.bytes
    }
}

/// Lets all callers ask for `length`. The connections are open before the first request.
pub(crate) async fn run<R: Requests>(
    address: SocketAddr,
    callers: Vec<R>,
    length: Duration,
) -> Result<Load, BenchError> {
    let ready = Arc::new(Barrier::new(callers.len() + 1));
    let mut tasks = JoinSet::new();
    for mut requests in callers {
        let mut http = Http::open(address).await?;
        let ready = Arc::clone(&ready);
        tasks.spawn(async move {
            let mut taken = Vec::with_capacity(4096);
            ready.wait().await;
            let first = Instant::now();
            loop {
                let began = Instant::now();
                if began.duration_since(first) >= length {
                    return Ok::<_, BenchError>(taken);
                }
                let answer = http.ask(requests.next()).await?;
                if answer.status != 200 {
                    answer.good()?;
                }
                taken.push(nanoseconds(began));
            }
        });
    }
    ready.wait().await;
    let began = Instant::now();
    let mut load = Load::default();
    while let Some(ended) = tasks.join_next().await {
        load.taken.extend(ended.map_err(|error| BenchError::unexpected("a caller", error.to_string()))??);
    }
    load.length = began.elapsed();
    Ok(load)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_edit_differs_from_the_one_before_and_is_whole_json() {
        let mut edits = Edits::new(SocketAddr::from(([127, 0, 0, 1], 1)), "hall");
        let mut before = Vec::new();
        for _ in 0..200 {
            let bytes = edits.next().to_vec();
            let text = String::from_utf8(bytes.clone()).unwrap();
            let (_, body) = text.split_once("\r\n\r\n").unwrap();
            let value: serde_json::Value = serde_json::from_str(body).unwrap();
            assert!((10..100).contains(&value["looks"]["evening"]["intensity"].as_u64().unwrap()));
            assert_ne!(bytes, before);
            before = bytes;
        }
    }
}
