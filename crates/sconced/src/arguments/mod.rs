//! The command line: every command, its arguments, and the words of `--help`.

mod client;
mod serve;
mod upkeep;

use std::path::PathBuf;

use clap::{Args, CommandFactory as _, Parser, Subcommand};

pub use self::client::{Add, Agenda, Desired, Edit, Enrol, List, Past, Showing, Undo, Year};
pub use self::serve::{Demo, Serve, Simulate, SimulatedFirmware};
pub use self::upkeep::{Completions, Dump, Restore};

const ABOUT: &str = "Remembers what every light fixture should be showing, and hands it back at boot";

const EXAMPLES: &str = "\
Examples:
  sconced demo                      a simulated house to try things on
  sconced serve                     the daemon, its data in ./sconced-data
  sconced add hall                  make a fixture
  sconced enrol hall                give its controller a secret of its own
  sconced edit hall @night.json        change what it should show
  sconced past hall --since -2d     who changed what in the last two days
  sconced undo hall                 put it back as it was

Exit codes: 0 done or stopped, 1 not done, 2 usage or configuration, 3 the database cannot be used, \
4 an address cannot be bound.";

/// The whole command line.
#[derive(Debug, Parser)]
#[command(name = "sconced", version, about = ABOUT, after_help = EXAMPLES, max_term_width = 100)]
#[command(propagate_version = true, disable_help_subcommand = true)]
pub struct CommandLine {
    /// What holds for every command.
    #[command(flatten)]
    pub common: Common,
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// What holds for every command.
#[derive(Debug, Clone, Args)]
pub struct Common {
    /// Print JSON, for programs
    #[arg(long, global = true, help_heading = "Every command")]
    pub json: bool,
    /// The data folder [default: sconced-data]
    #[arg(long, global = true, value_name = "DIR", help_heading = "Every command")]
    pub data: Option<PathBuf>,
    /// The daemon to talk to; without it, the one that serves the data folder, or a running demo
    #[arg(
        long,
        global = true,
        value_name = "URL",
        env = "SCONCED_URL",
        hide_env_values = true,
        help_heading = "Every command"
    )]
    pub url: Option<String>,
    /// A token of that daemon; not needed for one on this machine whose data folder you may read
    #[arg(
        long,
        global = true,
        value_name = "TOKEN",
        // a token may begin with a hyphen
        allow_hyphen_values = true,
        env = "SCONCED_TOKEN",
        hide_env_values = true,
        help_heading = "Every command"
    )]
    pub token: Option<String>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run the daemon
    Serve(Serve),
    /// Run the daemon with an invented house of five simulated fixtures
    Demo(Demo),
    /// Make a fixture
    Add(Add),
    /// List the fixtures and how they stand
    List(List),
    /// Give a fixture's controller a new secret, and print the settings for its firmware
    Enrol(Enrol),
    /// Change what a fixture should show
    Edit(Edit),
    /// Print what a fixture should show: the whole desired document
    Desired(Desired),
    /// Say what a fixture should be showing now, or at another time, and why
    Showing(Showing),
    /// List what a fixture will show, change by change
    Agenda(Agenda),
    /// Write what a fixture will show in the coming year as a calendar file (iCalendar)
    Year(Year),
    /// List what was changed, when and by whom
    Past(Past),
    /// Put a fixture's desired document back as it was
    Undo(Undo),
    /// Make a backup, through the running daemon or without one
    #[command(after_help = "Examples:\n  sconced backup\n  sconced backup --data /srv/lights")]
    Backup,
    /// Put a backup or a dump in the place of the database
    Restore(Restore),
    /// Write the whole database as SQL text
    Dump(Dump),
    /// Run simulated fixtures against any broker
    Simulate(Simulate),
    /// Print the completions for a shell
    Completions(Completions),
    /// Print the manual page
    #[command(after_help = "Example:\n  sconced man > sconced.1")]
    Man,
    /// Print a configuration file in which every setting is explained
    #[command(after_help = "Example:\n  sconced example-config > sconced.toml")]
    ExampleConfig,
}

impl CommandLine {
    /// The description of the command line that completions and manual are made from.
    #[must_use]
    pub fn description() -> clap::Command {
        Self::command()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_well_formed() {
        CommandLine::command().debug_assert();
    }

    #[test]
    fn every_command_has_words_and_all_but_the_plainest_have_examples() {
        for command in CommandLine::command().get_subcommands() {
            assert!(command.get_about().is_some(), "{}", command.get_name());
            let has_example = command.get_after_help().is_some_and(|help| help.to_string().contains("Example"));
            assert!(has_example || command.is_hide_set(), "{} has no example", command.get_name());
            for argument in command.get_arguments() {
                assert!(argument.get_help().is_some(), "{} {}", command.get_name(), argument.get_id());
            }
        }
    }

    #[test]
    fn a_patch_that_begins_with_a_hyphen_or_a_brace_is_taken_as_it_is() {
        for patch in ["{\"lit\":false}", "@patch.json", "-"] {
            let line = CommandLine::try_parse_from(["sconced", "edit", "hall", patch]).unwrap();
            let Command::Edit(edit) = line.command else { panic!("not an edit") };
            assert_eq!(edit.patch, patch);
        }
    }

    #[test]
    fn a_token_may_begin_with_a_hyphen() {
        let line = CommandLine::try_parse_from(["sconced", "list", "--token", "-dQ8", "--json"]).unwrap();
        assert_eq!((line.common.token.as_deref(), line.common.json), (Some("-dQ8"), true));
    }

    #[test]
    fn two_brokers_at_once_are_refused() {
        let both = ["sconced", "serve", "--mqtt", "127.0.0.1:0", "--broker", "mqtt://b"];
        assert!(CommandLine::try_parse_from(both).is_err());
    }
}
