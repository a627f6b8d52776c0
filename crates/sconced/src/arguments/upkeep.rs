//! The commands that keep the house: restore, dump, completions.

use std::path::PathBuf;

use clap::Args;
use clap_complete::Shell;

/// `sconced restore`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Stop the daemon first. The file is checked before anything is touched, and the database that was there is kept \
aside. At the next start everything is sent to the fixtures anew.

Examples:
  sconced restore sconced-data/backups/sconced-20261125T030000000Z.sqlite
  sconced restore house.sql --data /srv/lights")]
pub struct Restore {
    /// A backup, or a dump
    pub file: PathBuf,
}

/// `sconced dump`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
The text can be loaded by sqlite3 and by `sconced restore`. It holds hashes of secrets: keep it to yourself. A \
daemon may run meanwhile.

Examples:
  sconced dump > house.sql
  sconced dump -o house.sql --data /srv/lights")]
pub struct Dump {
    /// The file to write; standard output when it is left out
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// `sconced completions`.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
Examples:
  sconced completions bash > ~/.local/share/bash-completion/completions/sconced
  sconced completions fish > ~/.config/fish/completions/sconced.fish")]
pub struct Completions {
    /// The shell
    pub shell: Shell,
}
