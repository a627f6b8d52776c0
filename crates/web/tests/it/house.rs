//! A house for a test: a real service on a folder of its own, a clock that stands still, and the router.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use axum::body::{Body, Bytes};
use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, Request, StatusCode};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use service::{BackupOptions, Clock, Command, Message, Place, Scope, Service, ServiceOptions};
use tower::ServiceExt;
use web::{BrokerFace, PowerSwitch, Site, WebOptions};

pub(crate) const HOST: &str = "127.0.0.1:8470";
pub(crate) const MERGE: &str = "application/merge-patch+json";
pub(crate) const OPERATIONS: &str = "application/json-patch+json";
pub(crate) const JSON: &str = "application/json";
pub(crate) const NOW: &str = "2026-11-25T20:00:00Z";

/// A power switch that counts.
#[derive(Debug, Default)]
pub(crate) struct Switch(pub(crate) AtomicUsize);

impl PowerSwitch for Switch {
    fn cut(&self, _: f64) -> std::pin::Pin<Box<dyn Future<Output = usize> + Send + '_>> {
        self.0.fetch_add(1, Ordering::SeqCst);
        Box::pin(async { 5 })
    }
}

pub(crate) struct House {
    pub(crate) service: Arc<Service>,
    pub(crate) router: Site,
    pub(crate) folder: tempfile::TempDir,
}

/// An answer, read to its end.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) bytes: Bytes,
}

impl Answer {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or_else(|_| panic!("no JSON: {}", self.text()))
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8(self.bytes.to_vec()).unwrap()
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The answer is that problem, with everything that a problem has to have; gives its body.
    pub(crate) fn problem(&self, status: u16, slug: &str) -> Value {
        assert_eq!(self.header("content-type"), "application/problem+json", "{}", self.text());
        let body = self.json();
        assert_eq!(body["type"], format!("/problems/{slug}"), "{body}");
        assert_eq!((self.status.as_u16(), body["status"].as_u64()), (status, Some(u64::from(status))), "{body}");
        for member in ["title", "detail"] {
            assert!(body[member].as_str().is_some_and(|text| text.len() > 5), "{body}");
        }
        body
    }

    pub(crate) fn expect(&self, status: u16) -> &Self {
        assert_eq!(self.status.as_u16(), status, "{}", String::from_utf8_lossy(&self.bytes));
        self
    }
}

impl House {
    /// A house that is open to the machine itself.
    pub(crate) async fn open() -> Self {
        Self::with(true, None).await
    }

    pub(crate) async fn with(open_on_loopback: bool, power_switch: Option<Arc<dyn PowerSwitch>>) -> Self {
        Self::furnished(open_on_loopback, power_switch, &[]).await
    }

    /// A house with kinds of the owner's: name and schema.
    pub(crate) async fn furnished(
        open_on_loopback: bool,
        power_switch: Option<Arc<dyn PowerSwitch>>,
        kinds: &[(&str, &str)],
    ) -> Self {
        Self::standing(open_on_loopback, power_switch, kinds, None).await
    }

    /// A house that is open to the machine itself and stands somewhere.
    pub(crate) async fn at(site: Place) -> Self {
        Self::standing(true, None, &[], Some(site)).await
    }

    async fn standing(
        open_on_loopback: bool,
        power_switch: Option<Arc<dyn PowerSwitch>>,
        kinds: &[(&str, &str)],
        site: Option<Place>,
    ) -> Self {
        let folder = tempfile::tempdir().unwrap();
        if !kinds.is_empty() {
            std::fs::create_dir_all(folder.path().join("kinds")).unwrap();
        }
        for (name, schema) in kinds {
            std::fs::write(folder.path().join("kinds").join(format!("{name}.json")), schema).unwrap();
        }
        let service = Service::open(ServiceOptions {
            folder: folder.path().to_owned(),
            site,
            clock: Clock::manual(NOW.parse().unwrap()),
            backups: BackupOptions { folder: folder.path().join("backups"), keep: 3 },
            broker_files: None,
            reserved: vec!["sconced-daemon".into()],
        })
        .await
        .unwrap();
        let options = WebOptions {
            open_on_loopback,
            broker: BrokerFace { host: "192.0.2.10".into(), port: 1883, prefix: "fixtures".into() },
            demo: power_switch.is_some(),
            power_switch,
            version: "9.8.7",
        };
        let router = web::router(Arc::clone(&service), options);
        Self { service, router, folder }
    }

    /// A house with one strip, `hall`, that has two looks; its desired document is at revision 1.
    pub(crate) async fn with_hall() -> Self {
        let house = Self::open().await;
        house
            .post("/v1/fixtures", r#"{"id":"hall","title":"Reeds in the hall","groups":["indoors"]}"#)
            .await
            .expect(201);
        let looks = r#"{"looks":{"evening":{"kelvin":2400,"intensity":70},"late":{"colours":["gold"],"intensity":20,"span":[0,0.2]}},"default":"evening","fade":2}"#;
        house.put("/v1/fixtures/hall/desired", looks).await.expect(200);
        house
    }

    pub(crate) async fn token(&self, name: &str, scope: Scope) -> String {
        self.service.add_token(name.into(), scope).await.unwrap().1
    }

    /// The fixture says something.
    pub(crate) async fn hear(&self, id: &str, message: Message) {
        let command = Command::Hear { id: id.parse().unwrap(), message };
        self.service.execute(command, service::Actor::fixture(id), None).await.unwrap();
    }

    pub(crate) async fn send_from(&self, peer: &str, mut request: Request<Body>) -> Answer {
        let peer: SocketAddr = peer.parse().unwrap();
        request.extensions_mut().insert(ConnectInfo(peer));
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes();
        let answer = Answer { status: parts.status, headers: parts.headers, bytes };
        let expected = [502, 503, 507].contains(&answer.status.as_u16());
        assert!(!answer.status.is_server_error() || expected, "{}", answer.text());
        answer
    }

    pub(crate) async fn send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: impl Into<Body>,
    ) -> Answer {
        let mut request = Request::builder().method(method).uri(path).header("host", HOST);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        self.send_from("127.0.0.1:50000", request.body(body.into()).unwrap()).await
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], Body::empty()).await
    }

    pub(crate) async fn post(&self, path: &str, body: &str) -> Answer {
        self.send("POST", path, &[("content-type", JSON)], body.to_owned()).await
    }

    pub(crate) async fn put(&self, path: &str, body: &str) -> Answer {
        self.send("PUT", path, &[("content-type", JSON)], body.to_owned()).await
    }

    pub(crate) async fn patch(&self, path: &str, body: &str) -> Answer {
        self.send("PATCH", path, &[("content-type", MERGE)], body.to_owned()).await
    }

    pub(crate) async fn delete(&self, path: &str) -> Answer {
        self.send("DELETE", path, &[], Body::empty()).await
    }

    /// How many rows history has.
    pub(crate) async fn history_rows(&self) -> usize {
        let page = self.get("/v1/history?limit=1000").await.json();
        assert_eq!(page["next"], json!(null));
        page["changes"].as_array().unwrap().len()
    }
}
