//! A small HTTP/1.1 client (RFC 9112) that costs little: requests are bytes made before, answers are hardly read.

use std::net::SocketAddr;
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

use crate::error::BenchError;

/// How long one answer may take.
const PATIENCE: Duration = Duration::from_secs(60);
/// Larger answers are refused.
const LARGEST: usize = 8 << 20;

/// A connection that is kept.
#[derive(Debug)]
pub(crate) struct Http {
    stream: TcpStream,
    buffer: Vec<u8>,
    /// Bytes of the answer before, to be dropped with the next.
    used: usize,
}

/// An answer; it lies in the connection's buffer.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Answer<'a> {
    /// The status code.
    pub(crate) status: u16,
    /// Status line and headers, the empty line included.
    pub(crate) head: &'a [u8],
    /// The body.
    pub(crate) body: &'a [u8],
}

impl Answer<'_> {
    /// A header's value, the name in lower case.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        header(self.head, name)
    }

    /// The revision in the entity tag.
    pub(crate) fn revision(&self) -> Result<u64, BenchError> {
        self.header("etag")
            // what is reported counts changes of volatile members behind a point
            .and_then(|tag| tag.trim_matches('"').split('.').next()?.parse().ok())
            .ok_or_else(|| BenchError::unexpected("reading an entity tag", String::from_utf8_lossy(self.head)))
    }

    /// The answer, if it is a good one.
    pub(crate) fn good(self) -> Result<Self, BenchError> {
        if (200..300).contains(&self.status) {
            return Ok(self);
        }
        let body: String = String::from_utf8_lossy(self.body).chars().take(500).collect();
        Err(BenchError::unexpected("asking over HTTP", format!("{} {body}", self.status)))
    }
}

fn header<'a>(head: &'a [u8], name: &str) -> Option<&'a str> {
    head.split(|byte| *byte == b'\n').skip(1).find_map(|line| {
        let (before, after) = line.split_at_checked(name.len())?;
        let value = after.strip_prefix(b":")?;
        before.eq_ignore_ascii_case(name.as_bytes()).then(|| std::str::from_utf8(value).ok().map(str::trim))?
    })
}

/// The bytes of a request.
pub(crate) fn request(address: SocketAddr, method: &str, path: &str, body: Option<(&str, &str)>) -> Vec<u8> {
    let mut bytes = format!("{method} {path} HTTP/1.1\r\nhost: {address}\r\n");
    if let Some((kind, body)) = body {
        bytes.push_str(&format!("content-type: {kind}\r\ncontent-length: {}\r\n\r\n{body}", body.len()));
    } else {
        bytes.push_str("\r\n");
    }
    bytes.into_bytes()
}

impl Http {
    /// Connects.
    pub(crate) async fn open(address: SocketAddr) -> Result<Self, BenchError> {
        let connecting = tokio::time::timeout(PATIENCE, TcpStream::connect(address)).await;
        let stream = connecting
            .map_err(|_| BenchError::TooLong("connecting to HTTP"))?
            .map_err(BenchError::io("connecting to HTTP"))?;
        stream.set_nodelay(true).map_err(BenchError::io("setting TCP_NODELAY"))?;
        Ok(Self { stream, buffer: Vec::with_capacity(8192), used: 0 })
    }

    /// Sends a request without waiting for its answer.
    pub(crate) async fn send(&mut self, request: &[u8]) -> Result<(), BenchError> {
        self.stream.write_all(request).await.map_err(BenchError::io("sending a request"))
    }

    /// Sends a request and reads its answer, whatever its status.
    pub(crate) async fn ask(&mut self, request: &[u8]) -> Result<Answer<'_>, BenchError> {
        self.send(request).await?;
        self.answer().await
    }

    /// Reads the next answer.
    pub(crate) async fn answer(&mut self) -> Result<Answer<'_>, BenchError> {
        let read = tokio::time::timeout(PATIENCE, self.read()).await;
        let (status, head, end) = read.map_err(|_| BenchError::TooLong("an answer over HTTP"))??;
        self.used = end;
        let (head_bytes, rest) = self.buffer.split_at(head);
        Ok(Answer { status, head: head_bytes, body: rest.get(..end - head).unwrap_or_default() })
    }

    /// Reads until one answer is whole: its status, where its head ends, where it ends.
    async fn read(&mut self) -> Result<(u16, usize, usize), BenchError> {
        self.buffer.drain(..self.used.min(self.buffer.len()));
        self.used = 0;
        loop {
            if let Some(found) = whole(&self.buffer)? {
                return Ok(found);
            }
            let read = self.stream.read_buf(&mut self.buffer).await.map_err(BenchError::io("reading an answer"))?;
            if read == 0 || self.buffer.len() > LARGEST {
                return Err(BenchError::unexpected("reading an answer", "the connection ended or sent too much"));
            }
        }
    }
}

/// Status, end of the head, end of the answer; `None` while it is not whole.
fn whole(buffer: &[u8]) -> Result<Option<(u16, usize, usize)>, BenchError> {
    let Some(end) = buffer.windows(4).position(|four| four == b"\r\n\r\n") else { return Ok(None) };
    let bad = || {
        BenchError::unexpected(
            "reading an answer",
            String::from_utf8_lossy(buffer).chars().take(200).collect::<String>(),
        )
    };
    let (head, _) = buffer.split_at(end + 4);
    let status = head.get(9..12).and_then(|digits| std::str::from_utf8(digits).ok()?.parse().ok()).ok_or_else(bad)?;
    let length: usize = match header(head, "content-length") {
        Some(digits) => digits.parse().map_err(|_| bad())?,
        None if status == 204 || status == 304 => 0,
        None => return Err(bad()),
    };
    Ok((buffer.len() >= head.len() + length).then_some((status, head.len(), head.len() + length)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANSWER: &[u8] = b"HTTP/1.1 200 OK\r\nETag: \"42\"\r\nContent-Length: 2\r\n\r\n{}";

    #[test]
    fn an_answer_is_whole_only_with_its_body() {
        for cut in 0..ANSWER.len() {
            assert!(whole(&ANSWER[..cut]).unwrap().is_none(), "{cut}");
        }
        let (status, head, end) = whole(ANSWER).unwrap().unwrap();
        assert_eq!((status, end), (200, ANSWER.len()));
        let answer = Answer { status, head: &ANSWER[..head], body: &ANSWER[head..end] };
        assert_eq!((answer.revision().unwrap(), answer.body), (42, &b"{}"[..]));
    }

    #[test]
    fn two_answers_in_one_piece_are_told_apart() {
        let two = [ANSWER, ANSWER].concat();
        assert_eq!(whole(&two).unwrap().unwrap().2, ANSWER.len());
    }

    #[test]
    fn what_is_no_answer_is_refused() {
        assert!(whole(b"nonsense\r\n\r\n").is_err());
        assert!(whole(b"HTTP/1.1 200 OK\r\nContent-Length: many\r\n\r\n").is_err());
    }
}
