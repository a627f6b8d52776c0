//! What the HTTP API takes and answers, with the words of its OpenAPI description.
//!
//! Every type here is plain data: it knows neither the rules of the house nor how it is served. Times are RFC 3339
//! texts in UTC, revisions are whole numbers that count up, pointers are JSON Pointers (RFC 6901). What `web` writes
//! and what `sconced`'s client commands read is the same type.

mod backup;
mod demo;
mod edit;
mod enrolment;
mod fixture;
mod health;
mod history;
mod kind;
mod parameters;
mod problem;
mod showing;
mod strip;
mod sun;
mod token;

pub use backup::{Backup, Backups};
pub use demo::{PowerCut, PowerCutDone};
pub use edit::{Advice, EditAnswer, OverrideRequest, UndoAnswer, UndoRequest};
pub use enrolment::{BrokerAddress, BufferBytes, Enrolment, Topics};
pub use fixture::{BootReason, DesiredState, Fixture, Fixtures, LastBoot, NewFixture, Place, ReportedState, Standing};
pub use health::{Health, Readiness};
pub use history::{Change, HistoryPage, Paper, Way};
pub use kind::{Kind, KindName, Kinds};
pub use parameters::{EditHeaders, FixturePath, HistoryQuery, OnceHeader, PastQuery, ReadHeaders, TokenPath};
pub use problem::{Fault, Problem};
pub use showing::{Agenda, AgendaChange, Because, Showing};
pub use strip::{InlineOrNamedLook, LookDocument, MotifDocument, OverrideDocument, StripDocument, TimetableEntry};
pub use sun::{SunDay, SunHeight, SunTime};
pub use token::{NewToken, Scope, Token, TokenMade, Tokens};

#[cfg(test)]
mod tests;
