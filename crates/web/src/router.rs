//! All routes, and the layers around them.

use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, Uri};
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use service::Service;
use tower_http::catch_panic::CatchPanicLayer;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::answer::{tagged, typed};
use crate::app::App;
use crate::body::JSON;
use crate::entity_tag::EntityTag;
use crate::openapi::described;
use crate::options::WebOptions;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;
use crate::{caller, outer, page};

/// Everything that is served: the interface under `/v1`, health, the OpenAPI document and its reader, and the page.
///
/// Requests need their peer's address as [`axum::extract::ConnectInfo`] of a [`std::net::SocketAddr`], as [`crate::serve`]
/// gives it; without it nothing counts as coming from the machine itself.
pub fn router(service: Arc<Service>, options: WebOptions) -> Router {
    let (endpoints, mut document) = described(options.power_switch.is_some()).split_for_parts();
    options.version.clone_into(&mut document.info.version);
    let openapi = document.to_pretty_json().map(Bytes::from).unwrap_or_default();
    let app = App::new(service, options, openapi);
    let docs = SwaggerUi::new("/docs").config(Config::from("/openapi.json").try_it_out_enabled(true));
    let inner = endpoints
        .route("/openapi.json", get(openapi_json))
        .route("/", get(page::show))
        .route("/login", post(page::login::log_in))
        .route("/logout", post(page::login::log_out))
        .route("/assets/{name}", get(page::assets::get))
        .route("/problems", get(page::problems::list))
        .route("/problems/{name}", get(page::problems::get))
        .merge(docs)
        .fallback(no_route)
        .layer(from_fn_with_state(app.clone(), caller::admit))
        .with_state(app);
    // Layers of a router run inside its routes, before the router itself has put the Allow header on a 405. What has to
    // see answers as they leave is therefore around the whole.
    Router::new().fallback_service(inner).layer(CatchPanicLayer::custom(outer::panicked)).layer(from_fn(outer::finish))
}

async fn openapi_json(State(app): State<App>, headers: HeaderMap) -> Result<Response, Refusal> {
    let tag = EntityTag::strong(blake3::hash(&app.openapi).to_hex());
    tagged(&headers, &tag, || typed(JSON, app.openapi.clone()))
}

async fn no_route(uri: Uri) -> Response {
    let path: String = uri.path().chars().take(200).collect();
    Refusal::new(ProblemType::NO_ROUTE, format!("there is nothing at {path}"))
        .advice("GET /openapi.json lists what there is")
        .into_response()
}
