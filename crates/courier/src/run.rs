//! Connection after connection, with growing pauses in between.

use std::sync::Arc;
use std::time::Duration;

use service::Service;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use crate::connection::{self, End};
use crate::options::{Options, Refused};
use crate::shared::Shared;

const FIRST: Duration = Duration::from_millis(100);
const LONGEST: Duration = Duration::from_secs(15);

/// Runs until it is told to stop. A broker that is gone is tried again and again; HTTP never waits for it.
pub async fn run(
    service: Arc<Service>,
    options: Options,
    refusals: Option<mpsc::Receiver<Refused>>,
    stop: CancellationToken,
) {
    let shared = Arc::new(Shared::new(service, options));
    let refusals = Arc::new(tokio::sync::Mutex::new(refusals));
    let mut pause = FIRST;
    loop {
        match connection::run(&shared, &refusals, &stop).await {
            End::Stopped => return,
            End::Failed { worked, why } => {
                if worked {
                    pause = FIRST;
                    tracing::warn!(why, "the link to the broker is lost");
                } else {
                    tracing::warn!(
                        why,
                        host = shared.options.host,
                        port = shared.options.port,
                        again_in_ms = u64::try_from(pause.as_millis()).unwrap_or(u64::MAX),
                        "the broker cannot be reached"
                    );
                }
            }
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(pause) => {}
        }
        pause = (pause * 2).min(LONGEST);
    }
}
