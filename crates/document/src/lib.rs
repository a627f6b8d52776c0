//! JSON documents: strict reading, bounds, merge, difference, pointers, patches, revisions.
//!
//! A fixture's desired and reported state are JSON objects. This crate says which text is such a
//! document ([`parse()`], [`check_document`]), how an edit changes it ([`merge()`] for RFC 7396,
//! [`apply`] for RFC 6902), what the edit was ([`difference()`], [`changed`], [`step()`], [`touches`]) and
//! whether two documents are the same ([`equal()`]). Every fault names its place by an RFC 6901
//! [`Pointer`].
//!
//! Its code needs `core` and `alloc` alone (the JSON Patch library brings `std`), and knows no
//! clock, no files and no network.
//!
//! ```
//! use document::{Bounds, check_document, difference, merge, parse};
//!
//! let mut desired = parse(br#"{"lit": true, "looks": {"evening": {"intensity": 70}}}"#, &Bounds::BODY)?;
//! let before = desired.clone();
//! let patch = parse(br#"{"looks": {"evening": {"intensity": 22}}}"#, &Bounds::BODY)?;
//! merge(&mut desired, &patch);
//! check_document(&desired)?;
//!
//! // The edit as it is kept in the history, and the patch that undoes it.
//! assert_eq!(difference(&before, &desired), patch);
//! let undo = difference(&desired, &before);
//! merge(&mut desired, &undo);
//! assert_eq!(desired, before);
//! # Ok::<(), document::Fault>(())
//! ```
#![no_std]

extern crate alloc;

mod bounds;
mod difference;
mod equal;
mod fault;
mod merge;
mod parse;
mod patch;
mod pointer;
mod revision;
mod step;
mod touch;
mod without;

pub use bounds::{Bounds, check, check_document, check_written};
pub use difference::{changed, difference};
pub use equal::equal;
pub use fault::{Fault, Problem};
pub use merge::{merge, merged};
pub use parse::{parse, write};
pub use patch::{MAX_OPERATIONS, PatchFault, apply};
pub use pointer::{Pointer, PointerFault};
pub use revision::Revision;
pub use serde_json::Value;
pub use step::{Step, merge_step, step};
pub use touch::touches;
pub use without::{remove, without};
