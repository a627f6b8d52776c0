//! The whole job on real input: the real binary, real MQTT, real HTTP, power cuts by SIGKILL and dropped sockets.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stderr, missing_docs)]

mod borders;
mod by_the_clock;
mod checker;
mod duplicates;
mod external;
mod fleet;
mod hostile;
mod messages;
mod power_cut;
mod readiness;
mod reload;
mod restarts;
mod upkeep;

use testkit::{Daemon, DaemonOptions};

/// The program under test.
const SCONCED: &str = env!("CARGO_BIN_EXE_sconced");

fn daemon() -> Daemon {
    Daemon::start(SCONCED, DaemonOptions::default())
}

/// A daemon with short pauses before a state is sent again.
fn impatient_daemon() -> Daemon {
    Daemon::start(
        SCONCED,
        DaemonOptions {
            env: vec![
                ("SCONCED_BROKER__RESEND_FIRST".into(), "0.2".into()),
                ("SCONCED_BROKER__RESEND_LONGEST".into(), "1".into()),
            ],
            ..DaemonOptions::default()
        },
    )
}
