//! Many simulated fixtures behind one switch.

use crate::{Fixture, FixtureOptions, FixtureState};

/// A fleet of simulated fixtures.
#[derive(Debug, Default)]
pub struct Fleet {
    fixtures: Vec<Fixture>,
}

impl Fleet {
    /// Builds and powers a fixture for each of the options. Has to be called within a tokio runtime.
    #[must_use]
    pub fn start(options: impl IntoIterator<Item = FixtureOptions>) -> Self {
        Self { fixtures: options.into_iter().map(Fixture::start).collect() }
    }

    /// The fixtures, in the order in which they were given.
    #[must_use]
    pub fn fixtures(&self) -> &[Fixture] {
        &self.fixtures
    }

    /// The fixture of this id.
    #[must_use]
    pub fn get(&self, id: &str) -> Option<&Fixture> {
        self.fixtures.iter().find(|fixture| fixture.id() == id)
    }

    /// Adds one more fixture and powers it. Has to be called within a tokio runtime.
    pub fn add(&mut self, options: FixtureOptions) {
        self.fixtures.push(Fixture::start(options));
    }

    /// Cuts the power of the whole house. Returns once every socket is closed.
    pub async fn cut_all(&self) {
        for fixture in &self.fixtures {
            fixture.begin_cut().await;
        }
        for fixture in &self.fixtures {
            fixture.cut_power().await;
        }
    }

    /// Restores the power of the whole house.
    pub async fn restore_all(&self) {
        for fixture in &self.fixtures {
            fixture.restore_power().await;
        }
    }

    /// What each of them holds and shows, in order.
    #[must_use]
    pub fn states(&self) -> Vec<FixtureState> {
        self.fixtures.iter().map(Fixture::state).collect()
    }

    /// Waits until `condition` has held of every fixture. It waits without bound: put a time limit around it.
    pub async fn wait_for_all(&self, condition: impl Fn(&FixtureState) -> bool) {
        for fixture in &self.fixtures {
            fixture.wait_for(&condition).await;
        }
    }

    /// Takes all of them away in order, together.
    pub async fn stop(self) {
        let mut leaving = tokio::task::JoinSet::new();
        for fixture in self.fixtures {
            leaving.spawn(fixture.stop());
        }
        while leaving.join_next().await.is_some() {}
    }
}
