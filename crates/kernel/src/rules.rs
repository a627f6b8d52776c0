//! What the house's configuration says that decisions depend on.

use std::sync::Arc;

use almanac::Place;

use crate::kind::Kinds;

/// What the house's configuration says: it holds from one start of the daemon to the next.
#[derive(Debug, Default)]
pub struct Rules {
    /// The kinds of fixtures.
    pub kinds: Kinds,
    /// Where the house stands: the place of every fixture that has none of its own.
    pub site: Option<Arc<Place>>,
}
