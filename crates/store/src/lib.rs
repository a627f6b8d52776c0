//! What lasts: one SQLite file, written by one task, read by a few connections.
//!
//! Every accepted change goes through the [`Store::execute`] of one writer task, which decides (by the kernel's rules,
//! in memory), commits all that was queued as one transaction, and only then lets it be true: memory is swapped and
//! callers are answered after the commit. Current documents live in memory ([`House`]); SQLite is the truth.
//! This crate knows no HTTP and no MQTT.

mod aside;
mod backup;
mod batch;
mod broker_lines;
mod chain;
mod dump;
mod error;
mod house;
mod load;
mod lock;
mod outbox;
mod packed;
mod past;
mod pen;
mod requests;
mod restore;
mod retention;
mod rows;
mod schema;
mod site;
mod store;
mod tail;
mod text;
mod tokens;
mod trail;
mod unsettled;
mod writer;

pub use backup::{Backup, BackupOptions, back_up_file};
pub use dump::dump;
pub use error::{ExecuteError, StoreError};
pub use house::House;
pub use lock::FolderLock;
pub use outbox::{Due, Outbox};
pub use past::Past;
pub use requests::Once;
pub use restore::{Restored, restore};
pub use retention::Retention;
pub use schema::{DATABASE, read_version};
pub use store::{Committed, Outcome, Request, Store, StoreOptions};
pub use tokens::{Scope, Token};
pub use trail::{Change, Direction, Filter, Page};
