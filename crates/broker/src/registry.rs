//! Whose client ids are whose.
//!
//! MQTT lets a client take over the connection and the session of whoever has the same client id. Here an id belongs to
//! the user who took it first for as long as there is a connection or a session under it; and a user has only so many,
//! since each may keep a queue. The registry also ends a user's connections when its credential is gone.

use crate::sessions::Sessions;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

/// One connection that has logged in.
#[derive(Debug, Clone)]
pub(crate) struct Line {
    /// Its number, unique within one broker.
    pub(crate) number: u64,
    /// Cancelled when the connection is to be ended.
    pub(crate) cancel: CancellationToken,
}

/// What came of asking for a client id.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Claim {
    /// The connection has it.
    Granted,
    /// Another user has it.
    Taken,
    /// A credential was withdrawn in the meantime: ask for this one's again.
    AskAgain,
}

#[derive(Debug)]
struct Entry {
    user: Arc<str>,
    lines: Vec<Line>,
    /// Being ended: nobody gets the id until its session is gone.
    ending: bool,
    /// Counts up with each claim: the smallest is the longest unused.
    used: u64,
}

#[derive(Debug, Default)]
struct State {
    clients: HashMap<Arc<str>, Entry>,
    users: HashMap<Arc<str>, Vec<Arc<str>>>,
    /// Counts the withdrawals of credentials.
    withdrawals: u64,
    claims: u64,
}

/// The client ids of one broker.
pub(crate) struct Registry {
    state: Mutex<State>,
    /// Held while a claim looks at the stored sessions, so that no two claims decide at once.
    admission: tokio::sync::Mutex<()>,
    /// Rung whenever a connection has gone or an id has become free.
    changed: Notify,
    sessions: Sessions,
}

enum Step {
    Granted(Vec<Arc<str>>),
    Taken,
    AskAgain,
    Wait,
    /// No connection, but another user's session may be there.
    LookForSession,
}

impl Registry {
    pub(crate) fn new(sessions: Sessions) -> Arc<Self> {
        Arc::new(Self {
            state: Mutex::default(),
            admission: tokio::sync::Mutex::new(()),
            changed: Notify::new(),
            sessions,
        })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many times credentials have been withdrawn. Read before a credential is checked and handed to
    /// [`Self::claim`], so that a log-in cannot slip through while its credential is being withdrawn.
    pub(crate) fn withdrawals(&self) -> u64 {
        self.state().withdrawals
    }

    /// Claims `client_id` for `user`. Past `most` ids for one user the longest unused is ended, those without a
    /// connection first: firmware that makes a new id at every start must not be kept out by its own leavings.
    pub(crate) async fn claim(
        self: &Arc<Self>,
        user: &str,
        client_id: &str,
        line: &Line,
        withdrawals: u64,
        most: usize,
    ) -> Claim {
        loop {
            let changed = self.changed.notified();
            tokio::pin!(changed);
            changed.as_mut().enable();
            let admission = self.admission.lock().await;
            let mut step = self.state().step(user, client_id, line, withdrawals, most);
            if matches!(step, Step::LookForSession) {
                step = if self.sessions.has(client_id).await {
                    Step::Taken
                } else {
                    let mut state = self.state();
                    state.remove(client_id);
                    state.step(user, client_id, line, withdrawals, most)
                };
            }
            drop(admission);
            match step {
                Step::Granted(surplus) => {
                    if !surplus.is_empty() {
                        let registry = Arc::clone(self);
                        tokio::spawn(async move { registry.finish(surplus).await });
                    }
                    return Claim::Granted;
                }
                Step::Taken | Step::LookForSession => return Claim::Taken,
                Step::AskAgain => return Claim::AskAgain,
                Step::Wait => changed.await,
            }
        }
    }

    /// The connection has gone. Its id stays its user's as long as a session is stored.
    pub(crate) fn release(&self, client_id: &str, number: u64) {
        if let Some(entry) = self.state().clients.get_mut(client_id) {
            entry.lines.retain(|line| line.number != number);
        }
        self.changed.notify_waiters();
    }

    /// Ends every connection and every session of `user`; returns when they are gone.
    pub(crate) async fn end(self: &Arc<Self>, user: &str) {
        let (mine, all) = {
            let _admission = self.admission.lock().await;
            let mut state = self.state();
            state.withdrawals += 1;
            let all = state.users.get(user).cloned().unwrap_or_default();
            let mine: Vec<_> = all.iter().filter(|id| state.mark_ending(id)).cloned().collect();
            (mine, all)
        };
        // On a task of its own: the ids must become free even if whoever waits here gives up.
        let registry = Arc::clone(self);
        let finishing = tokio::spawn(async move { registry.finish(mine).await });
        // It fails only if the runtime is going down, and then there is nothing left to end.
        let _ = finishing.await;
        self.until(|state| !all.iter().any(|id| state.clients.get(id).is_some_and(|entry| entry.ending))).await;
    }

    /// Waits until the connections of ids that are marked as ending have gone, then ends their sessions.
    async fn finish(&self, client_ids: Vec<Arc<str>>) {
        for client_id in client_ids {
            self.until(|state| state.clients.get(&client_id).is_none_or(|entry| entry.lines.is_empty())).await;
            self.sessions.end(&client_id).await;
            self.state().remove(&client_id);
            self.changed.notify_waiters();
        }
    }

    async fn until(&self, holds: impl Fn(&State) -> bool) {
        loop {
            let changed = self.changed.notified();
            tokio::pin!(changed);
            changed.as_mut().enable();
            if holds(&self.state()) {
                return;
            }
            changed.await;
        }
    }
}

impl State {
    fn step(&mut self, user: &str, client_id: &str, line: &Line, withdrawals: u64, most: usize) -> Step {
        if self.withdrawals != withdrawals {
            return Step::AskAgain;
        }
        self.claims += 1;
        let used = self.claims;
        if let Some(entry) = self.clients.get_mut(client_id) {
            if entry.ending {
                return Step::Wait;
            }
            if *entry.user != *user {
                return if entry.lines.is_empty() { Step::LookForSession } else { Step::Taken };
            }
            entry.lines.push(line.clone());
            entry.used = used;
            return Step::Granted(Vec::new());
        }
        let user: Arc<str> = user.into();
        let client_id: Arc<str> = client_id.into();
        self.users.entry(Arc::clone(&user)).or_default().push(Arc::clone(&client_id));
        self.clients
            .insert(client_id, Entry { user: Arc::clone(&user), lines: vec![line.clone()], ending: false, used });
        Step::Granted(self.mark_surplus(&user, most))
    }

    fn mark_surplus(&mut self, user: &str, most: usize) -> Vec<Arc<str>> {
        let ids = self.users.get(user).map_or(&[][..], Vec::as_slice);
        let mut kept: Vec<(bool, u64, Arc<str>)> = ids
            .iter()
            .filter_map(|id| {
                let entry = self.clients.get(id)?;
                (!entry.ending).then(|| (!entry.lines.is_empty(), entry.used, Arc::clone(id)))
            })
            .collect();
        let surplus = kept.len().saturating_sub(most.max(1));
        if surplus == 0 {
            return Vec::new();
        }
        kept.sort_unstable_by_key(|(connected, used, _)| (*connected, *used));
        kept.into_iter().take(surplus).map(|(_, _, id)| id).filter(|id| self.mark_ending(id)).collect()
    }

    /// Whether the id was there and not ending yet.
    fn mark_ending(&mut self, client_id: &str) -> bool {
        let Some(entry) = self.clients.get_mut(client_id) else {
            return false;
        };
        for line in &entry.lines {
            line.cancel.cancel();
        }
        !std::mem::replace(&mut entry.ending, true)
    }

    fn remove(&mut self, client_id: &str) {
        let Some(entry) = self.clients.remove(client_id) else {
            return;
        };
        if let Some(ids) = self.users.get_mut(&entry.user) {
            ids.retain(|id| **id != *client_id);
            if ids.is_empty() {
                self.users.remove(&entry.user);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(number: u64) -> Line {
        Line { number, cancel: CancellationToken::new() }
    }

    fn registry() -> Arc<Registry> {
        Registry::new(Sessions::new(|router| router))
    }

    #[tokio::test]
    async fn an_id_in_use_is_refused_to_another_user_and_free_once_nothing_is_left() {
        let registry = registry();
        assert_eq!(registry.claim("stairs", "a", &line(1), 0, 4).await, Claim::Granted);
        assert_eq!(registry.claim("hall", "a", &line(2), 0, 4).await, Claim::Taken);
        assert_eq!(registry.claim("stairs", "a", &line(3), 0, 4).await, Claim::Granted);
        registry.release("a", 1);
        assert_eq!(registry.claim("hall", "a", &line(4), 0, 4).await, Claim::Taken);
        registry.release("a", 3);
        assert_eq!(registry.claim("hall", "a", &line(5), 0, 4).await, Claim::Granted);
        assert_eq!(registry.claim("stairs", "a", &line(6), 0, 4).await, Claim::Taken);
    }

    #[tokio::test]
    async fn a_log_in_that_overlaps_a_withdrawal_is_checked_again() {
        let registry = registry();
        let seen = registry.withdrawals();
        registry.end("stairs").await;
        assert_eq!(registry.claim("stairs", "a", &line(1), seen, 4).await, Claim::AskAgain);
        assert_eq!(registry.claim("stairs", "a", &line(1), registry.withdrawals(), 4).await, Claim::Granted);
    }

    #[tokio::test]
    async fn past_the_limit_the_longest_unused_id_is_ended_those_without_a_connection_first() {
        let registry = registry();
        let (first, second) = (line(1), line(2));
        registry.claim("stairs", "a", &first, 0, 2).await;
        registry.claim("stairs", "b", &second, 0, 2).await;
        registry.release("b", 2);
        registry.claim("stairs", "c", &line(3), 0, 2).await;
        registry.until(|state| !state.clients.contains_key("b")).await;
        assert!(!first.cancel.is_cancelled());
        registry.claim("stairs", "d", &line(4), 0, 2).await;
        assert!(first.cancel.is_cancelled());
        registry.release("a", 1);
        registry.until(|state| !state.clients.contains_key("a")).await;
        assert_eq!(registry.state().users.get("stairs").map(Vec::len), Some(2));
    }

    #[tokio::test]
    async fn an_id_that_is_being_ended_is_waited_for() {
        let registry = registry();
        let old = line(1);
        registry.claim("stairs", "a", &old, 0, 4).await;
        let ending = tokio::spawn({
            let registry = Arc::clone(&registry);
            async move { registry.end("stairs").await }
        });
        old.cancel.cancelled().await;
        let new = line(2);
        let waiting = tokio::spawn({
            let (registry, new) = (Arc::clone(&registry), new.clone());
            async move { registry.claim("stairs", "a", &new, 1, 4).await }
        });
        tokio::task::yield_now().await;
        assert!(!ending.is_finished() && !waiting.is_finished());
        registry.release("a", 1);
        ending.await.unwrap();
        assert_eq!(waiting.await.unwrap(), Claim::Granted);
        assert!(!new.cancel.is_cancelled());
    }
}
