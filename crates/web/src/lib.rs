//! HTTP: the interface for programs, and the page for people.
//!
//! This crate turns requests into commands of the [`service::Service`] and what comes of them into answers. It holds no
//! rule of the trade: what an edit may do is decided behind the front door. What it does decide is who may ask
//! (`access`), how a request is read (`body`, `query`, `path`, `entity_tag`) and how errors look from outside
//! (`mapping`, one table). It knows neither the database nor MQTT.
//!
//! A new endpoint is a function in `endpoints` with its OpenAPI words, a line in `openapi::described`, and a row in
//! `access::TABLE`; a test fails when the row is missing.

mod access;
mod answer;
mod app;
mod body;
mod calendar;
mod caller;
mod doors;
mod endpoints;
mod entity_tag;
mod headers;
mod mapping;
mod negotiate;
mod once;
mod openapi;
mod options;
mod origin;
mod outer;
mod page;
mod path;
mod problem_type;
mod query;
mod refusal;
mod rest;
mod router;
mod serve;
mod site;
mod throttle;
mod time;

pub use openapi::openapi;
pub use options::{BrokerFace, PowerSwitch, WebOptions};
pub use router::router;
pub use serve::serve;
pub use site::Site;
