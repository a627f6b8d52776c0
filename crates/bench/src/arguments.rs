//! The command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::bare::Bare;

/// Says how close the daemon comes to what the machine can do at all.
#[derive(Debug, Parser)]
#[command(
    name = "bench",
    version,
    after_help = "\
Without a sub-command everything is measured, in about ten minutes; with --quick in about one, with smaller sizes and
fewer rounds. Build both programs first: cargo build --release -p sconced -p bench"
)]
pub(crate) struct Arguments {
    /// What holds for all sub-commands
    #[command(flatten)]
    pub(crate) common: Common,
    /// What to measure; all when left out
    #[command(subcommand)]
    pub(crate) what: Option<What>,
}

/// What holds for all sub-commands.
#[derive(Debug, Clone, Args)]
pub(crate) struct Common {
    /// Smaller sizes and fewer rounds: about a minute for all
    #[arg(long, global = true)]
    pub(crate) quick: bool,
    /// Write JSON in place of the table
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// Draw a chart of the ratios into this file
    #[arg(long, global = true, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
    /// The daemon's release binary [default: sconced beside this program]
    #[arg(long, global = true, value_name = "PATH")]
    pub(crate) sconced: Option<PathBuf>,
    /// The folder in which the temporary folder is made: it decides which disk is measured [default: the system's]
    #[arg(long, global = true, value_name = "DIR")]
    pub(crate) folder: Option<PathBuf>,
}

/// What to measure.
#[derive(Debug, Clone, PartialEq, Eq, Subcommand)]
pub(crate) enum What {
    /// Everything
    All,
    /// Durable edits a second over HTTP, and how long acknowledgements take
    Edits,
    /// Edits a second with much history against none
    History,
    /// One caller's edit against one fdatasync
    Single,
    /// Reports of fixtures taken up durably
    Reports,
    /// Boots answered a second
    Boots,
    /// How long a boot's answer takes at a steady rate
    BootDelay,
    /// All fixtures drop and come back at once
    Storm,
    /// From an edit to its arrival at the fixture
    Arrival,
    /// Reading desired documents over HTTP
    Reads,
    /// The state at a random time of the past
    Past,
    /// Resident memory
    Memory,
    /// Start with a large house
    Start,
    /// The coming 48 hours of a timetable that follows the sun
    Agenda,
    /// Rendering a frame, and the budget of a long strip
    Frames,
    /// CPU time of an idle daemon
    Idle,
    /// A bare ceiling as its own process; started by the program itself
    #[command(subcommand, hide = true)]
    Bare(Bare),
}

impl What {
    /// Its name on the command line.
    pub(crate) fn as_str(&self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Edits => "edits",
            Self::History => "history",
            Self::Single => "single",
            Self::Reports => "reports",
            Self::Boots => "boots",
            Self::BootDelay => "boot-delay",
            Self::Storm => "storm",
            Self::Arrival => "arrival",
            Self::Reads => "reads",
            Self::Past => "past",
            Self::Memory => "memory",
            Self::Start => "start",
            Self::Agenda => "agenda",
            Self::Frames => "frames",
            Self::Idle => "idle",
            Self::Bare(_) => "bare",
        }
    }
}
