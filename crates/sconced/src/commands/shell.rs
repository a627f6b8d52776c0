//! `completions` and `man`: what a shell and a reader of manuals want.

use clap_mangen::Man;

use crate::arguments::{CommandLine, Completions};
use crate::error::Failure;
use crate::output::Output;

/// `sconced completions`.
pub(super) fn completions(arguments: &Completions, out: Output) -> Result<(), Failure> {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut CommandLine::description(), "sconced", &mut text);
    out.text(&String::from_utf8_lossy(&text))
}

/// `sconced man`: the program, and after it one section for each command.
pub(super) fn manual(out: Output) -> Result<(), Failure> {
    let mut text = Vec::new();
    let mut description = CommandLine::description();
    // puts the program's name before the names of the commands
    description.build();
    let man = Man::new(description.clone());
    for render in
        [Man::render_title, Man::render_name_section, Man::render_synopsis_section, Man::render_options_section]
    {
        render(&man, &mut text).map_err(Failure::Output)?;
    }
    text.extend_from_slice(b".SH NOTES\n");
    notes(&description, &mut text);
    for command in description.get_subcommands().filter(|command| !command.is_hide_set()) {
        // what holds for every command stands above
        let command = command.clone().mut_args(|argument| {
            let above = argument.is_global_set() || matches!(argument.get_id().as_str(), "help" | "version");
            argument.hide(above)
        });
        let title = command.get_display_name().unwrap_or(command.get_name()).replace('-', " ").to_uppercase();
        text.extend_from_slice(format!(".SH \"{title}\"\n").as_bytes());
        let man = Man::new(command.clone());
        let mut section = Vec::new();
        for render in [Man::render_description_section, Man::render_synopsis_section, Man::render_options_section] {
            render(&man, &mut section).map_err(Failure::Output)?;
        }
        // sections of a command are below the command's own
        text.extend_from_slice(String::from_utf8_lossy(&section).replace(".SH ", ".SS ").as_bytes());
        text.extend_from_slice(b".SS NOTES\n");
        notes(&command, &mut text);
    }
    out.text(&String::from_utf8_lossy(&text))
}

/// What stands below a command's help, line by line as it is there.
fn notes(command: &clap::Command, text: &mut Vec<u8>) {
    text.extend_from_slice(b".nf\n");
    let notes = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    for line in notes.lines() {
        // a line that begins with a point or an apostrophe would be an instruction to the formatter
        let line = line.replace('\\', "\\\\").replace('-', "\\-");
        text.extend_from_slice(format!("\\&{line}\n").as_bytes());
    }
    text.extend_from_slice(b".fi\n");
}
