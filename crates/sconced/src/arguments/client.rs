//! The commands that talk to a running daemon.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use kernel::FixtureId;

/// `sconced add`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  sconced add hall --title 'Reeds in the hall' --group indoors --group way-to-bed
  sconced add jetty --switched --notes 'behind the switch by the door'")]
pub struct Add {
    /// Its id: 1 to 64 of a-z, 0-9 and '-'
    pub id: FixtureId,
    /// What people call it
    #[arg(long)]
    pub title: Option<String>,
    /// What it is: strip, free, or a kind of your own
    #[arg(long)]
    pub kind: Option<String>,
    /// A group that it belongs to; may be given several times
    #[arg(long = "group", value_name = "GROUP")]
    pub groups: Vec<String>,
    /// It hangs behind a wall switch, so that silence is normal
    #[arg(long)]
    pub switched: bool,
    /// Free words
    #[arg(long)]
    pub notes: Option<String>,
}

/// How a fixture stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum StandingWord {
    /// It shows the newest revision
    InStep,
    /// It is there, but has not applied the newest revision
    Behind,
    /// Its connection is gone
    Silent,
    /// Nothing was ever heard of it
    NeverHeard,
}

impl StandingWord {
    /// The word as the daemon spells it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::InStep => "in-step",
            Self::Behind => "behind",
            Self::Silent => "silent",
            Self::NeverHeard => "never-heard",
        }
    }
}

/// `sconced list`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  sconced list
  sconced list --group indoors --standing silent")]
pub struct List {
    /// Only those that stand so
    #[arg(long, value_name = "STANDING")]
    pub standing: Option<StandingWord>,
    /// Only those of this group
    #[arg(long)]
    pub group: Option<String>,
    /// Only those of this kind
    #[arg(long)]
    pub kind: Option<String>,
}

/// `sconced enrol`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
The secret is shown this once and kept as a hash only. Enrolling again makes a new one and ends the old one, with \
the connection that is open under it, as soon as the broker knows: do so when a controller is replaced.

Examples:
  sconced enrol hall
  sconced enrol hall --json > hall-settings.json")]
pub struct Enrol {
    /// The fixture
    pub id: FixtureId,
}

/// `sconced edit`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
PATCH is a JSON object (a merge patch, RFC 7396) or a JSON array (operations, RFC 6902).

Examples:
  sconced edit hall '{\"lit\": false}'
  sconced edit hall '{\"override\": {\"look\": \"greet\"}}'
  sconced edit hall @evening.json --if-match 42
  echo '[{\"op\": \"remove\", \"path\": \"/override\"}]' | sconced edit hall -")]
pub struct Edit {
    /// The fixture
    pub id: FixtureId,
    /// The patch: JSON, @FILE, or - for standard input
    #[arg(allow_hyphen_values = true)]
    pub patch: String,
    /// Only if the document is at this revision
    #[arg(long, value_name = "REV")]
    pub if_match: Option<u64>,
}

/// `sconced desired`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  sconced desired hall
  sconced desired hall --rev 17
  sconced desired hall --at -2d")]
pub struct Desired {
    /// The fixture
    pub id: FixtureId,
    /// As it was at this revision
    #[arg(long, value_name = "REV", conflicts_with = "at")]
    pub rev: Option<u64>,
    /// As it was at this time: RFC 3339, or -30m, -2h, -3d before now
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub at: Option<String>,
}

/// `sconced showing`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Entries of the timetable are counted from 0, as in the pointers of the daemon: entry 2 is /timetable/2.

Examples:
  sconced showing hall
  sconced showing hall --at 2026-12-24T22:00:00Z
  sconced showing hall --at +3h")]
pub struct Showing {
    /// The fixture
    pub id: FixtureId,
    /// At this time: RFC 3339, or -30m, +2h, +3d from now
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub at: Option<String>,
}

/// `sconced agenda`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
The first line is what shows at the beginning. Times are UTC.

Examples:
  sconced agenda hall
  sconced agenda hall --to +7d
  sconced agenda hall --from 2026-12-24T00:00:00Z --to 2027-01-07T00:00:00Z")]
pub struct Agenda {
    /// The fixture
    pub id: FixtureId,
    /// From this time on: RFC 3339, or -30m, +2h, +3d from now [default: now]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub from: Option<String>,
    /// Until this time, at most 400 days later [default: 48 hours later]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub to: Option<String>,
}

/// `sconced year`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
The file holds an event for each change of what the fixture shows, for 365 days. Read it into a calendar of its own: \
an event is read again under the same name when you repeat it, but one that is no longer there is not taken away. \
With --json the changes come as JSON.

Examples:
  sconced year hall -o hall.ics
  sconced year hall --from 2027-01-01T00:00:00Z > hall-2027.ics")]
pub struct Year {
    /// The fixture
    pub id: FixtureId,
    /// From this time on: RFC 3339, or -30m, +2h, +3d from now [default: now]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub from: Option<String>,
    /// The file to write; standard output when it is left out
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// `sconced past`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  sconced past hall
  sconced past hall --since -7d --path /looks/evening
  sconced past --by admin --limit 20            the whole house")]
pub struct Past {
    /// The fixture; the whole house when it is left out
    pub id: Option<FixtureId>,
    /// Not before this time: RFC 3339, or -30m, -2h, -3d before now
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub since: Option<String>,
    /// Before this time
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub until: Option<String>,
    /// Only what touched this place of the document, as a JSON Pointer
    #[arg(long, value_name = "POINTER")]
    pub path: Option<String>,
    /// Only by this person, token or fixture
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// At most so many changes
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub limit: u32,
    /// The oldest first
    #[arg(long)]
    pub oldest_first: bool,
}

/// `sconced undo`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
What was is put in place as a new revision; nothing is lost, and an undo can be undone.

Examples:
  sconced undo hall
  sconced undo hall --to 17")]
pub struct Undo {
    /// The fixture
    pub id: FixtureId,
    /// Back to this revision; without it, one back
    #[arg(long, value_name = "REV")]
    pub to: Option<u64>,
}
