//! The front by itself, with doors made for it.

use axum::body::to_bytes;
use axum::http::Method;
use service::{BackupOptions, Clock, Scope, Service, ServiceOptions};

use super::*;
use crate::doors::door;
use crate::options::{BrokerFace, WebOptions};

const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

struct Front {
    site: Site,
    service: Arc<Service>,
    _folder: tempfile::TempDir,
}

async fn front(doors: Doors) -> Front {
    let folder = tempfile::tempdir().unwrap();
    let service = Service::open(ServiceOptions {
        folder: folder.path().to_owned(),
        site: None,
        clock: Clock::manual("2026-11-25T20:00:00Z".parse().unwrap()),
        backups: BackupOptions { folder: folder.path().join("backups"), keep: 1 },
        broker_files: None,
        reserved: Vec::new(),
    })
    .await
    .unwrap();
    let options = WebOptions {
        open_on_loopback: true,
        broker: BrokerFace { host: String::new(), port: 1883, prefix: "fixtures".into() },
        power_switch: None,
        demo: false,
        version: "0",
    };
    let site = Site::new(App::new(Arc::clone(&service), options, axum::body::Bytes::new()), doors);
    Front { site, service, _folder: folder }
}

fn get(path: &str) -> Request {
    Request::builder().uri(path).header("host", "localhost").body(Body::empty()).unwrap()
}

async fn text(response: Response<Body>) -> (u16, String) {
    let status = response.status().as_u16();
    let bytes = to_bytes(response.into_body(), 1 << 20).await.unwrap();
    (status, String::from_utf8(bytes.to_vec()).unwrap())
}

async fn panics_at_once() -> &'static str {
    panic!("a secret")
}

async fn panics_later() -> &'static str {
    tokio::task::yield_now().await;
    panic!("a secret")
}

#[tokio::test]
async fn a_handler_that_panics_costs_its_own_request_and_tells_nothing() {
    let mut doors = Doors::default();
    doors.put(Method::GET, "/v1/fixtures", door(panics_at_once));
    doors.put(Method::GET, "/v1/kinds", door(panics_later));
    doors.put(Method::GET, "/v1/history", Box::new(|_, _| panic!("a secret")));
    let front = front(doors).await;
    for path in ["/v1/fixtures", "/v1/kinds", "/v1/history"] {
        let (status, body) = text(front.site.answer(HERE, get(path)).await).await;
        assert_eq!(status, 500, "{path}");
        assert!(body.contains("/problems/") && !body.contains("secret"), "{path}: {body}");
    }
}

#[tokio::test]
async fn a_handler_that_takes_too_long_is_left_and_answered_for() {
    let work: Answering = Box::pin(std::future::pending());
    let answer = Answer {
        step: Step::Working(work),
        outward: Outward::of(&get("/v1/fixtures")),
        rest: None,
        patience: Duration::from_millis(20),
        over: None,
        told: None,
    };
    let bounded = tokio::time::timeout(Duration::from_secs(60), answer).await.unwrap();
    let (status, body) = text(bounded).await;
    assert_eq!(status, 408, "{body}");
    assert!(body.contains("/problems/timeout"), "{body}");
}

#[tokio::test]
async fn a_door_without_a_row_in_the_table_opens_to_admins_alone_and_what_is_no_door_is_not_there() {
    let mut doors = Doors::default();
    doors.put(Method::GET, "/v1/secret-door", door(async || "in"));
    let front = front(doors).await;
    let ask = async |path: &str, scope: Scope| {
        let (_, token) = front.service.add_token(format!("{path} {scope:?}"), scope).await.unwrap();
        let mut request = get(path);
        request.headers_mut().insert("authorization", format!("Bearer {token}").parse().unwrap());
        front.site.answer(HERE, request).await.status().as_u16()
    };
    assert_eq!(ask("/v1/secret-door", Scope::Edit).await, 403);
    assert_eq!(ask("/v1/secret-door", Scope::Admin).await, 200);
    assert_eq!(ask("/v1/fixtures", Scope::Read).await, 404);
}

#[tokio::test]
async fn only_backups_and_the_demo_have_long() {
    let mut doors = Doors::default();
    for address in ["/v1/backups", "/v1/demo/power", "/v1/fixtures/{id}/desired", "/v1/backups/{name}"] {
        doors.put(Method::GET, address, door(async || "in"));
    }
    let front = front(doors).await;
    let patience = |path: &str| front.site.answer(HERE, get(path)).patience;
    assert_eq!(["/v1/backups", "/v1/demo/power"].map(patience), [LONG_PATIENCE; 2]);
    assert_eq!(["/v1/fixtures/hall/desired", "/v1/backups/x", "/nowhere"].map(patience), [PATIENCE; 3]);
}
