//! All routes.

use std::sync::Arc;

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::Method;
use axum::response::Response;
use service::Service;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::answer::{tagged, typed};
use crate::app::App;
use crate::body::JSON;
use crate::doors::{self, door};
use crate::entity_tag::EntityTag;
use crate::headers::Headers;
use crate::openapi::described;
use crate::options::WebOptions;
use crate::page;
use crate::refusal::Refusal;
use crate::site::Site;

/// Where the reader of the OpenAPI document is, as it lays out its own routes.
const DOCS: [&str; 3] = ["/docs", "/docs/", "/docs/{*rest}"];

/// Everything that is served: the interface under `/v1`, health, the OpenAPI document and its reader, and the page.
pub fn router(service: Arc<Service>, options: WebOptions) -> Site {
    let (mut doors, mut document) = described(options.power_switch.is_some());
    options.version.clone_into(&mut document.info.version);
    let openapi = document.to_pretty_json().map(Bytes::from).unwrap_or_default();
    doors.put(Method::GET, "/openapi.json", door(openapi_json));
    doors.put(Method::GET, "/", door(page::show));
    doors.put(Method::POST, "/login", door(page::login::log_in));
    doors.put(Method::POST, "/logout", door(page::login::log_out));
    doors.put(Method::GET, "/assets/{name}", door(page::assets::get));
    doors.put(Method::GET, "/problems", door(page::problems::list));
    doors.put(Method::GET, "/problems/{name}", door(page::problems::get));
    let docs = SwaggerUi::new("/docs").config(Config::from("/openapi.json").try_it_out_enabled(true));
    let docs = Router::from(docs);
    for address in DOCS {
        doors.put(Method::GET, address, doors::router(docs.clone()));
    }
    Site::new(App::new(service, options, openapi), doors)
}

async fn openapi_json(State(app): State<App>, Headers(headers): Headers) -> Result<Response, Refusal> {
    let tag = EntityTag::strong(blake3::hash(&app.openapi).to_hex());
    tagged(&headers, &tag, || typed(JSON, app.openapi.clone()))
}
