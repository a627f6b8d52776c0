//! The broker inside the daemon: its start, its end, and what the daemon does to it in between.

use crate::addresses::Addresses;
use crate::attempts::Attempts;
use crate::connection::{Wire, Works, accept, listen};
use crate::gate::House;
use crate::options::{Credentials, Options};
use crate::registry::Registry;
use crate::sessions::Sessions;
use crate::topics::{Down, Prefix, Up};
use crate::{BrokerError, settings};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use mqtt5::broker::sys_topics::BrokerStats;
use std::net::SocketAddr;
use std::sync::atomic::AtomicU64;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::broadcast;
use tokio::time::{Instant, timeout};
use tokio_util::sync::{CancellationToken, DropGuard};
use tokio_util::task::TaskTracker;
use tracing::{info, warn};

/// The username of the daemon itself. No fixture's id begins so.
pub const DAEMON_USERNAME: &str = "@sconced";
/// The client id that is kept for the daemon: nobody else may connect with it.
pub const DAEMON_CLIENT_ID: &str = "sconced-daemon";

/// How long connections may take to close in good order.
const SOFT: Duration = Duration::from_secs(3);
/// How long the rest may take once they are cut.
const HARD: Duration = Duration::from_secs(2);
/// How often expired sessions and messages are dropped.
const SWEEP: Duration = Duration::from_secs(60);

/// A running broker. Dropping it cuts every connection; [`Embedded::stop`] closes them in good order.
///
/// ```
/// use broker::{Credentials, Embedded, Options};
/// use std::sync::Arc;
///
/// struct Stairs;
/// impl Credentials for Stairs {
///     fn admits(&self, username: &str, secret: &[u8]) -> bool {
///         // A real implementation compares hashes.
///         self.knows(username) && secret == b"only an example"
///     }
///     fn knows(&self, username: &str) -> bool {
///         username == "stairs"
///     }
/// }
///
/// # tokio::runtime::Runtime::new()?.block_on(async {
/// let broker = Embedded::start(Options::default(), Arc::new(Stairs)).await?;
/// assert_ne!(broker.local_addr().port(), 0);
/// broker.stop().await;
/// # Ok::<(), broker::BrokerError>(())
/// # })?;
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Embedded {
    works: Arc<Works>,
    local_addr: SocketAddr,
    websocket_addr: Option<SocketAddr>,
    /// Cuts whatever is left when the broker is dropped.
    _cut: DropGuard,
}

impl std::fmt::Debug for Embedded {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Embedded")
            .field("local_addr", &self.local_addr)
            .field("websocket_addr", &self.websocket_addr)
            .finish_non_exhaustive()
    }
}

impl Embedded {
    /// Starts the broker. When this returns, it listens.
    ///
    /// Must be called within a tokio runtime, which then carries the connections.
    ///
    /// # Errors
    /// [`BrokerError::Setting`] for an option out of its bounds, [`BrokerError::AddressInUse`] and
    /// [`BrokerError::Bind`] for an address that cannot be listened on, [`BrokerError::Random`] if no secret can be
    /// made.
    pub async fn start(options: Options, credentials: Arc<dyn Credentials>) -> Result<Self, BrokerError> {
        options.check()?;
        let listener = listen(options.listen)?;
        let local_addr = bound_addr(&listener, options.listen)?;
        let websocket = match options.websocket {
            Some(addr) => {
                let listener = listen(addr)?;
                let websocket_addr = bound_addr(&listener, addr)?;
                Some((listener, websocket_addr))
            }
            None => None,
        };
        let websocket_addr = websocket.as_ref().map(|(_, addr)| *addr);

        let config = settings::config(&options);
        config.validate().map_err(|error| BrokerError::Setting(error.to_string()))?;
        let sessions = Sessions::new(|router| router);
        sessions.router.initialize().await.map_err(|error| BrokerError::Failed(error.to_string()))?;

        let hard_stop = CancellationToken::new();
        let works = Arc::new(Works {
            house: Arc::new(House {
                prefix: options.prefix,
                credentials,
                daemon_secret: random_secret()?,
                attempts: Mutex::new(Attempts::new(options.failed_logins_per_minute, options.limit_loopback)),
                registry: Registry::new(sessions.clone()),
                refusals: options.refusals,
            }),
            config,
            sessions,
            stats: Arc::new(BrokerStats::new()),
            monitor: Arc::new(settings::monitor()),
            addresses: Addresses::new(options.max_connections, options.connections_per_address, options.limit_loopback),
            connect_timeout: options.connect_timeout,
            closing: broadcast::channel(1).0,
            soft_stop: hard_stop.child_token(),
            hard_stop: hard_stop.clone(),
            tasks: TaskTracker::new(),
            numbers: AtomicU64::new(0),
        });
        works.tasks.spawn(accept(listener, Wire::Plain, Arc::clone(&works)));
        if let Some((listener, _)) = websocket {
            works.tasks.spawn(accept(listener, Wire::WebSocket, Arc::clone(&works)));
        }
        works.tasks.spawn(sweep(Arc::clone(&works)));
        info!(%local_addr, ?websocket_addr, "the broker listens");
        Ok(Self { works, local_addr, websocket_addr, _cut: hard_stop.drop_guard() })
    }

    /// Where it listens, with the port that it got.
    #[must_use]
    pub fn local_addr(&self) -> SocketAddr {
        self.local_addr
    }

    /// Where it listens for WebSocket, if it does. The path is `/mqtt`.
    #[must_use]
    pub fn websocket_addr(&self) -> Option<SocketAddr> {
        self.websocket_addr
    }

    /// The first levels of its topics.
    #[must_use]
    pub fn prefix(&self) -> &Prefix {
        &self.works.house.prefix
    }

    /// The username with which the daemon logs in: [`DAEMON_USERNAME`].
    #[must_use]
    pub fn daemon_username(&self) -> &str {
        DAEMON_USERNAME
    }

    /// The secret with which the daemon logs in: 256 random bits, new at every start, only ever in memory.
    #[must_use]
    pub fn daemon_secret(&self) -> &str {
        &self.works.house.daemon_secret
    }

    /// Ends every connection of `username` and every session of its (subscriptions and waiting messages), and returns
    /// when they are gone, within about a second. Its last wills are published, those with a delay excepted.
    ///
    /// Call it after [`Credentials`] no longer admits the old secret; a client would come back at once otherwise. A
    /// log-in with the old secret that is under way at this moment does not get in, one with a new secret does.
    pub async fn end_connections(&self, username: &str) {
        self.works.house.registry.end(username).await;
    }

    /// Ends the connections of a fixture that is no more, as [`Self::end_connections`] does, and clears the retained
    /// messages of all its topics.
    pub async fn forget(&self, fixture: &str) {
        self.end_connections(fixture).await;
        let prefix = self.prefix();
        let up = Up::ALL.map(|message| prefix.up(fixture, message));
        let down = Down::ALL.map(|message| prefix.down(fixture, message));
        for topic in up.into_iter().chain(down) {
            self.works.sessions.forget_retained(topic).await;
        }
    }

    /// Stops listening, closes the connections and returns when all are gone: at once for those that have not logged
    /// in, in good order within 3 s for the others, cut after that, 5 s in all.
    ///
    /// Closing a connection publishes its last will, so the daemon's own client should be gone first; otherwise it
    /// hears every fixture go.
    pub async fn stop(self) {
        let works = &self.works;
        works.soft_stop.cancel();
        // Nobody is there to be told: then there is nothing to wait for either.
        let _ = works.closing.send(());
        works.tasks.close();
        if timeout(SOFT, works.tasks.wait()).await.is_ok() {
            return;
        }
        works.hard_stop.cancel();
        if timeout(HARD, works.tasks.wait()).await.is_err() {
            warn!("some connections of the broker did not end");
        }
    }
}

fn bound_addr(listener: &TcpListener, addr: SocketAddr) -> Result<SocketAddr, BrokerError> {
    listener.local_addr().map_err(|source| BrokerError::Bind { addr, source })
}

async fn sweep(works: Arc<Works>) {
    loop {
        tokio::select! {
            () = works.soft_stop.cancelled() => return,
            () = tokio::time::sleep(SWEEP) => {}
        }
        works.sessions.sweep().await;
        works.house.attempts.lock().unwrap_or_else(PoisonError::into_inner).forget_old(Instant::now());
    }
}

fn random_secret() -> Result<String, BrokerError> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes).map_err(|error| BrokerError::Random(error.to_string()))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}
