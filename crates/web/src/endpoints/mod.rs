//! The endpoints of the interface, one family a file, each with the words of its OpenAPI description.

pub(crate) mod backups;
pub(crate) mod demo;
pub(crate) mod desired;
pub(crate) mod enrolment;
pub(crate) mod fixture;
pub(crate) mod fixtures;
pub(crate) mod health;
pub(crate) mod history;
pub(crate) mod kinds;
pub(crate) mod overrides;
pub(crate) mod reported;
pub(crate) mod showing;
pub(crate) mod sun;
pub(crate) mod tokens;
pub(crate) mod undo;
mod view;
