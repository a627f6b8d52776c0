//! What outlasts a connection.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use service::{FixtureKey, Held, Service};

use crate::options::Options;
use crate::topics::Topics;

/// What outlasts a connection.
pub(crate) struct Shared {
    pub(crate) service: Arc<Service>,
    pub(crate) options: Options,
    pub(crate) topics: Topics,
    /// What was last published of each fixture, from which the next patch begins.
    published: Mutex<HashMap<FixtureKey, Arc<Held>>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(crate) fn new(service: Arc<Service>, options: Options) -> Self {
        let topics = Topics(options.prefix.clone());
        let waiting = service.outbox().keys();
        // what does not wait in the outbox was published as it is, by this daemon or the one before it
        let published = service.house().all().into_iter().filter(|fixture| !waiting.contains(&fixture.key));
        let published = published.map(|fixture| (fixture.key, Arc::clone(&fixture.desired))).collect();
        Self { service, options, topics, published: Mutex::new(published) }
    }

    /// Notes what is published now; gives what was published before.
    pub(crate) fn publishing(&self, key: FixtureKey, now: &Arc<Held>) -> Option<Arc<Held>> {
        lock(&self.published).insert(key, Arc::clone(now))
    }

    /// Forgets a fixture that is gone.
    pub(crate) fn forget(&self, key: FixtureKey) {
        lock(&self.published).remove(&key);
    }
}
