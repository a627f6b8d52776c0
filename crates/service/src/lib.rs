//! The one front door of the house.
//!
//! HTTP, MQTT, the command line and the daemon's own scheduler all come through [`Service`]: it reads the clock once
//! a command, asks the store to carry it out, and reads state. It holds no rule of the trade (the kernel does) and no
//! SQL (the store does), and it knows neither HTTP nor MQTT.

mod care;
mod clock;
mod edits;
mod enrolment;
mod error;
mod health;
mod kinds;
mod reads;
mod scheduler;
mod secrets;
mod service;
mod settling;
mod wall_timer;

pub use care::{Care, run_care};
pub use clock::Clock;
pub use edits::{Asked, Undone};
pub use enrolment::{BrokerFiles, Enrolment, TakesEffect};
pub use error::ServiceError;
pub use health::{Health, LinkState};
pub use reads::{Agenda, AgendaChange, Shown};
pub use scheduler::run_scheduler;
pub use secrets::random_secret;
pub use service::{Service, ServiceOptions};

pub use almanac::{Place, Running};
pub use kernel::{
    Actor, Advice, Answer, Boot, BootReason, Command, Compiled, Edit, Finding, Fixture, FixtureId, FixtureKey,
    GroupName, Held, Kind, KindName, Kinds, Message, Paper, Precondition, Rejection, Rules, ShownLook, Standing, Way,
};
pub use store::{
    Backup, BackupOptions, Change, Committed, Direction, Due, ExecuteError, Filter, Once, Outcome, Page, Past,
    Retention, Scope, StoreError, Token,
};
