//! What the page is made of: its style, its script, its picture.

use axum::body::Body;
use axum::http::Response;

use crate::answer::{tagged, typed};
use crate::entity_tag::EntityTag;
use crate::headers::Headers;
use crate::path::Name;
use crate::problem_type::ProblemType;
use crate::refusal::Refusal;

const ASSETS: [(&str, &str, &str); 3] = [
    ("style.css", "text/css; charset=utf-8", include_str!("../../assets/style.css")),
    ("live.js", "text/javascript; charset=utf-8", include_str!("../../assets/live.js")),
    ("mark.svg", "image/svg+xml", include_str!("../../assets/mark.svg")),
];

/// One of them.
pub(crate) async fn get(Name(name): Name, Headers(headers): Headers) -> Result<Response<Body>, Refusal> {
    let (_, media_type, text) = ASSETS
        .into_iter()
        .find(|(known, ..)| *known == name)
        .ok_or_else(|| Refusal::new(ProblemType::NOT_THERE, "there is nothing of that name among the page's parts"))?;
    tagged(&headers, &EntityTag::strong(blake3::hash(text.as_bytes()).to_hex()), || typed(media_type, text))
}
