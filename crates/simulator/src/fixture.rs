//! The handle of one simulated fixture: power switch, button, sensor, and a look inside.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use document::Value;
use tokio::sync::{Mutex, oneshot, watch};

use crate::life::{Command, Life};
use crate::messages::BootReason;
use crate::{FixtureOptions, FixtureState, Frame};

/// One simulated fixture. Its controller runs in tasks of the tokio runtime that it was started in; dropping the
/// handle cuts its power.
#[derive(Debug)]
pub struct Fixture {
    options: Arc<FixtureOptions>,
    state: watch::Sender<FixtureState>,
    boots: AtomicU64,
    life: Mutex<Option<Life>>,
}

impl Fixture {
    /// Builds the fixture and powers it. Has to be called within a tokio runtime.
    ///
    /// Settings with which no connection can be made leave it powered and without a connection, with the reason in
    /// [`FixtureState::fault`]; [`FixtureOptions::check`] tells beforehand.
    #[must_use]
    pub fn start(options: FixtureOptions) -> Self {
        let options = Arc::new(options);
        let (state, _) = watch::channel(FixtureState::default());
        let life = Life::begin(&options, &state, BootReason::PowerOn, 1);
        Self { options, state, boots: AtomicU64::new(1), life: Mutex::new(Some(life)) }
    }

    /// The fixture's id.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.options.id
    }

    /// The settings that it was started with.
    #[must_use]
    pub fn options(&self) -> &FixtureOptions {
        &self.options
    }

    /// Cuts the power: the socket drops without a goodbye, so that the broker publishes the will, and all that the
    /// controller held is forgotten. Returns once the socket is closed. Does nothing to a fixture without power.
    pub async fn cut_power(&self) {
        let mut life = self.life.lock().await;
        if let Some(life) = life.take() {
            life.end().await;
        }
        self.state.send_modify(FixtureState::lose_power);
    }

    /// Begins to cut the power, so that many fixtures go dark in the same moment; [`Fixture::cut_power`] completes it.
    pub(crate) async fn begin_cut(&self) {
        if let Some(life) = self.life.lock().await.as_mut() {
            life.cut();
        }
    }

    /// Restores the power; the controller boots. Does nothing to a powered fixture.
    pub async fn restore_power(&self) {
        self.boot(BootReason::PowerOn).await;
    }

    /// The controller restarts by itself and says why; like a power cut it forgets everything.
    pub async fn restart(&self, reason: BootReason) {
        self.cut_power().await;
        self.boot(reason).await;
    }

    async fn boot(&self, reason: BootReason) {
        let mut life = self.life.lock().await;
        if life.is_none() {
            let boots = self.boots.fetch_add(1, Ordering::Relaxed) + 1;
            *life = Some(Life::begin(&self.options, &self.state, reason, boots));
        }
    }

    /// Breaks the connection without a goodbye while the power stays, as when the radio fades. It reconnects by itself.
    pub async fn break_connection(&self) {
        if let Some(life) = self.life.lock().await.as_ref() {
            life.break_connection();
        }
    }

    /// What it holds and shows at this moment.
    #[must_use]
    pub fn state(&self) -> FixtureState {
        self.state.borrow().clone()
    }

    /// Waits until `condition` holds of the fixture's state and gives that state. It waits without bound: put a time
    /// limit around it.
    pub async fn wait_for(&self, condition: impl Fn(&FixtureState) -> bool) -> FixtureState {
        let mut states = self.state.subscribe();
        loop {
            let met = states.wait_for(|state| condition(state)).await.ok().map(|state| state.clone());
            match met {
                Some(state) => return state,
                // The sender lives in this handle, so the channel cannot have closed; nothing more would ever come.
                None => std::future::pending::<()>().await,
            }
        }
    }

    /// Somebody presses the fixture's own button: `wish` is sent with the next number `n` added, and kept until the
    /// broker has it. The number is given back; nothing when there is no power.
    pub async fn press(&self, wish: Value) -> Option<u64> {
        let (answer, number) = oneshot::channel();
        self.command(Command::Wish(wish, answer)).await;
        number.await.ok()
    }

    /// A sensor of the fixture reports `name`, as `press` does a wish.
    pub async fn event(&self, name: &str) -> Option<u64> {
        let (answer, number) = oneshot::channel();
        self.command(Command::Event(name.to_owned(), answer)).await;
        number.await.ok()
    }

    /// Sets the controller's clock to Unix time `now_ms`, as a time server would.
    pub async fn set_clock(&self, now_ms: u64) {
        self.command(Command::Clock(now_ms)).await;
    }

    /// What its strip gets at this moment of its own clock, and what that draws; nothing when there is no power.
    /// [`Fixture::state`] is of that moment or later then.
    pub async fn frame(&self) -> Option<Frame> {
        let (answer, frame) = oneshot::channel();
        self.command(Command::Frame(answer)).await;
        frame.await.ok()
    }

    /// Reports what its strip draws at this moment as the member `milliamps`, and gives it; nothing when there is no
    /// power.
    ///
    /// It never does so by itself: whatever is reported beside the desired document keeps a fixture behind and makes
    /// history, unless the owner names `/milliamps` as volatile.
    pub async fn report_current(&self) -> Option<u64> {
        let (answer, milliamps) = oneshot::channel();
        self.command(Command::ReportCurrent(answer)).await;
        milliamps.await.ok()
    }

    async fn command(&self, command: Command) {
        if let Some(life) = self.life.lock().await.as_ref() {
            life.command(command);
        }
    }

    /// Takes the fixture away in order: it says that it is no longer alive, disconnects, and its tasks end.
    pub async fn stop(self) {
        if let Some(life) = self.life.lock().await.take() {
            life.leave().await;
        }
    }
}
