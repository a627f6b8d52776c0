//! An owner as an HTTP client.

use std::time::Duration;

use serde_json::Value;
use ureq::Agent;
use ureq::http::Request;

/// An answer, whatever its status.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The status code.
    pub status: u16,
    /// The headers, names in lower case.
    pub headers: Vec<(String, String)>,
    /// The body as it came.
    pub body: Vec<u8>,
    /// The body as JSON; null when it is none.
    pub json: Value,
}

impl Answer {
    /// Whether the status is a 2xx.
    #[must_use]
    pub fn is_ok(&self) -> bool {
        (200..300).contains(&self.status)
    }

    /// A header.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The revision in the entity tag.
    ///
    /// # Panics
    /// When there is none.
    #[must_use]
    pub fn revision(&self) -> u64 {
        let tag = self.header("etag").expect("an ETag");
        tag.trim_matches('"').parse().expect("a revision")
    }
}

/// A client of the HTTP API.
#[derive(Debug, Clone)]
pub struct Http {
    agent: Agent,
    url: String,
    token: Option<String>,
}

impl Http {
    /// A client of a daemon, with a token if one is needed.
    #[must_use]
    pub fn new(url: &str, token: Option<&str>) -> Self {
        let config = Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(Duration::from_secs(60)))
            .max_idle_connections_per_host(64)
            .build();
        Self { agent: config.into(), url: url.to_owned(), token: token.map(str::to_owned) }
    }

    /// Sends a request; `Err` when no answer came (the daemon was killed).
    ///
    /// # Errors
    /// What the client says.
    pub fn try_send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Result<Answer, String> {
        let mut request = Request::builder().method(method).uri(format!("{}{path}", self.url));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(token) = &self.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        let sent = if body.is_empty() && matches!(method, "GET" | "HEAD" | "DELETE") {
            self.agent.run(request.body(()).map_err(|error| error.to_string())?)
        } else {
            self.agent.run(request.body(body.to_vec()).map_err(|error| error.to_string())?)
        };
        let mut response = sent.map_err(|error| error.to_string())?;
        let headers = response
            .headers()
            .iter()
            .map(|(name, value)| (name.as_str().to_owned(), String::from_utf8_lossy(value.as_bytes()).into_owned()))
            .collect();
        let status = response.status().as_u16();
        let body =
            response.body_mut().with_config().limit(64 << 20).read_to_vec().map_err(|error| error.to_string())?;
        let json = serde_json::from_slice(&body).unwrap_or(Value::Null);
        Ok(Answer { status, headers, body, json })
    }

    /// Sends a request.
    ///
    /// # Panics
    /// When no answer comes; so for all that follow.
    #[must_use]
    pub fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        self.try_send(method, path, headers, body).unwrap_or_else(|error| panic!("{method} {path}: {error}"))
    }

    /// GET.
    #[must_use]
    pub fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], &[])
    }

    /// PATCH with a merge patch.
    #[must_use]
    pub fn patch(&self, path: &str, patch: &Value) -> Answer {
        self.send("PATCH", path, &[("content-type", "application/merge-patch+json")], patch.to_string().as_bytes())
    }

    /// PUT of JSON.
    #[must_use]
    pub fn put(&self, path: &str, body: &Value) -> Answer {
        self.send("PUT", path, &[("content-type", "application/json")], body.to_string().as_bytes())
    }

    /// POST of JSON.
    #[must_use]
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, &[("content-type", "application/json")], body.to_string().as_bytes())
    }

    /// DELETE.
    #[must_use]
    pub fn delete(&self, path: &str) -> Answer {
        self.send("DELETE", path, &[], &[])
    }
}
