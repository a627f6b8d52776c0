//! The store upon real files: every test has a folder of its own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod backups;
mod behind;
mod checker;
mod commits;
mod cut_off;
mod damage;
mod dumps;
mod faults;
mod folders;
mod history;
mod outbox;
mod past;
mod reopening;
mod requests;
mod retention;
mod rig;
