//! The switch that cuts the power of the demo's whole house.

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use simulator::Fleet;
use tokio::sync::Mutex;
use web::PowerSwitch;

/// The longest cut.
const LONGEST: Duration = Duration::from_secs(3600);

/// The power of the house. A second cut while the first lasts takes its place.
#[derive(Debug, Default)]
pub(super) struct HousePower(Arc<Mutex<State>>);

#[derive(Debug, Default)]
struct State {
    fleet: Option<Fleet>,
    /// Which cut this is; only the last one restores the power.
    cuts: u64,
}

impl HousePower {
    /// The fixtures hang on this switch from now on.
    pub(super) async fn begin(&self, fleet: Fleet) {
        self.0.lock().await.fleet = Some(fleet);
    }

    /// Takes the fixtures away in order.
    pub(super) async fn end(&self) {
        let fleet = self.0.lock().await.fleet.take();
        if let Some(fleet) = fleet {
            fleet.stop().await;
        }
    }
}

impl PowerSwitch for HousePower {
    fn cut(&self, seconds: f64) -> Pin<Box<dyn Future<Output = usize> + Send + '_>> {
        let lasts = Duration::try_from_secs_f64(seconds).unwrap_or_default().min(LONGEST);
        Box::pin(async move {
            let mut state = self.0.lock().await;
            state.cuts += 1;
            let this_cut = state.cuts;
            let Some(fleet) = &state.fleet else { return 0 };
            fleet.cut_all().await;
            let count = fleet.fixtures().len();
            drop(state);
            let state = Arc::clone(&self.0);
            // it comes back by itself, whoever waits for the answer
            drop(tokio::spawn(async move {
                tokio::time::sleep(lasts).await;
                let state = state.lock().await;
                if state.cuts == this_cut
                    && let Some(fleet) = &state.fleet
                {
                    fleet.restore_all().await;
                }
            }));
            count
        })
    }
}
