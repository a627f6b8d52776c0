//! The daemon's HTTP API as a command uses it: one request, one answer, problems told in words.

mod find;
mod problem;
mod time;

use std::time::Duration;

use serde_json::Value;

pub use self::find::find;
pub(crate) use self::find::{configured, data_folder};
pub use self::problem::Problem;
pub use self::time::{TimeError, read_time};
use crate::error::Failure;

/// How the commands call themselves.
const USER_AGENT: &str = concat!("sconced-cli/", env!("CARGO_PKG_VERSION"));
/// A backup of a large house takes a while; everything else answers at once.
const PATIENCE: Duration = Duration::from_secs(600);
/// How long it may take to reach the daemon.
const REACH: Duration = Duration::from_secs(5);
/// The largest answer that is read, in bytes.
const LARGEST: u64 = 64 * 1024 * 1024;

/// A daemon to talk to.
#[derive(Clone)]
pub struct Client {
    agent: ureq::Agent,
    url: String,
    token: Option<String>,
    /// How it was found, for the words when it does not answer.
    found: String,
}

/// The token stays out of logs.
impl std::fmt::Debug for Client {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Client").field("url", &self.url).finish_non_exhaustive()
    }
}

/// What a request carries.
#[derive(Debug, Clone, Copy)]
pub struct Body<'a> {
    /// Its media type.
    pub media_type: &'a str,
    /// Its text.
    pub text: &'a str,
}

/// What stands beside the address.
#[derive(Debug, Default)]
struct Asking<'a> {
    body: Option<Body<'a>>,
    /// The revision on which it depends.
    if_match: Option<u64>,
    /// The media type that the answer should have.
    accept: Option<&'a str>,
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    /// What was asked, for words about it.
    url: String,
    /// The body's text.
    pub text: String,
}

impl Answer {
    /// The body as JSON.
    ///
    /// # Errors
    /// [`Failure::Answer`].
    pub fn json(&self) -> Result<Value, Failure> {
        serde_json::from_str(&self.text)
            .map_err(|error| Failure::Answer { url: self.url.clone(), why: error.to_string() })
    }
}

impl Client {
    /// A client for the daemon at this address. `found` says how the address was come by.
    #[must_use]
    pub fn new(url: &str, token: Option<String>, found: String) -> Self {
        let config = ureq::Agent::config_builder()
            .user_agent(USER_AGENT)
            .http_status_as_error(false)
            .max_redirects(0)
            // a daemon of the own network is not behind a proxy
            .proxy(None)
            .timeout_connect(Some(REACH))
            .timeout_global(Some(PATIENCE))
            .build();
        Self { agent: config.into(), url: url.trim_end_matches('/').to_owned(), token, found }
    }

    /// Reads something.
    ///
    /// # Errors
    /// [`Failure::NoDaemon`], [`Failure::Refused`], [`Failure::Answer`].
    pub fn get(&self, path: &str, query: &[(&str, String)]) -> Result<Answer, Failure> {
        self.ask("GET", path, query, &Asking::default())
    }

    /// Reads something in the form of a media type.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn get_as(&self, media_type: &str, path: &str, query: &[(&str, String)]) -> Result<Answer, Failure> {
        self.ask("GET", path, query, &Asking { accept: Some(media_type), ..Asking::default() })
    }

    /// Asks for something to be done. `if_match` is the revision on which it depends.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn send(&self, method: &str, path: &str, body: Body<'_>, if_match: Option<u64>) -> Result<Answer, Failure> {
        self.ask(method, path, &[], &Asking { body: Some(body), if_match, ..Asking::default() })
    }

    /// Posts JSON.
    ///
    /// # Errors
    /// As [`Client::get`].
    pub fn post(&self, path: &str, body: &Value) -> Result<Answer, Failure> {
        let text = body.to_string();
        self.send("POST", path, Body { media_type: "application/json", text: &text }, None)
    }

    fn ask(&self, method: &str, path: &str, query: &[(&str, String)], asking: &Asking<'_>) -> Result<Answer, Failure> {
        let url = format!("{}{path}", self.url);
        let unusable = |error: &dyn std::fmt::Display| {
            Failure::Usage(format!("{url} cannot be asked: {error}; give --url as http://HOST:PORT"))
        };
        if !self.url.starts_with("http://") {
            return Err(unusable(&"it does not begin with http://"));
        }
        let mut request = ureq::http::Request::builder().method(method);
        let mut query_text = String::new();
        for (name, value) in query {
            query_text.push(if query_text.is_empty() { '?' } else { '&' });
            query_text.push_str(&format!("{name}={}", percent_encoded(value)));
        }
        request = request.uri(format!("{url}{query_text}"));
        if let Some(token) = &self.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        if let Some(media_type) = asking.accept {
            request = request.header("accept", media_type);
        }
        if let Some(revision) = asking.if_match {
            request = request.header("if-match", format!("\"{revision}\""));
        }
        if let Some(body) = &asking.body {
            request = request.header("content-type", body.media_type);
        }
        let text = asking.body.map_or("", |body| body.text).to_owned();
        let request = request.body(text).map_err(|error| unusable(&error))?;
        let mut response = self.agent.run(request).map_err(|error| self.no_daemon(&error))?;
        let status = response.status().as_u16();
        let text = response.body_mut().with_config().limit(LARGEST).read_to_string();
        let text = text.map_err(|error| Failure::Answer { url: url.clone(), why: error.to_string() })?;
        if !(200..300).contains(&status) {
            return Err(Failure::Refused(Box::new(Problem::read(status, &text))));
        }
        Ok(Answer { url, text })
    }

    fn no_daemon(&self, error: &ureq::Error) -> Failure {
        let why = match error {
            ureq::Error::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
                "nothing listens there".to_owned()
            }
            ureq::Error::HostNotFound => "there is no such host".to_owned(),
            ureq::Error::Timeout(_) => "it does not answer in time".to_owned(),
            other => other.to_string(),
        };
        Failure::NoDaemon(format!("no daemon answers at {}: {why}. {}", self.url, self.found))
    }
}

/// A query value with everything but the unreserved characters of RFC 3986 (section 2.3) percent-encoded.
fn percent_encoded(value: &str) -> String {
    let mut text = String::with_capacity(value.len());
    for byte in value.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: RFC 3986, sections 2.1 and 2.3.
    #[test]
    fn a_query_value_is_percent_encoded() {
        assert_eq!(percent_encoded("/looks/a b&c=d+é~"), "%2Flooks%2Fa%20b%26c%3Dd%2B%C3%A9~");
    }

    proptest::proptest! {
        #[test]
        fn an_encoded_value_decodes_to_itself_and_holds_no_reserved_character(value in "\\PC{0,40}") {
            let encoded = percent_encoded(&value);
            proptest::prop_assert!(encoded.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-._~%".contains(&byte)));
            let mut bytes = Vec::new();
            let mut rest = encoded.bytes();
            while let Some(byte) = rest.next() {
                bytes.push(match byte {
                    b'%' => {
                        let digits = [rest.next().unwrap(), rest.next().unwrap()];
                        u8::from_str_radix(std::str::from_utf8(&digits).unwrap(), 16).unwrap()
                    }
                    plain => plain,
                });
            }
            proptest::prop_assert_eq!(String::from_utf8(bytes).unwrap(), value);
        }
    }

    #[test]
    fn the_token_is_not_shown_in_debug_output() {
        let client = Client::new("http://127.0.0.1:1", Some("pinewood".into()), String::new());
        assert!(!format!("{client:?}").contains("pinewood"));
    }

    #[test]
    fn an_address_without_http_is_refused_with_words() {
        for url in ["127.0.0.1:8470", "https://a", "http://a b"] {
            let failure = Client::new(url, None, String::new()).get("/healthz", &[]).unwrap_err();
            assert_eq!(failure.code(), 2, "{failure}");
            assert!(failure.to_string().contains("--url"), "{failure}");
        }
    }
}
