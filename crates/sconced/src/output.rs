//! What a command prints: tables and lines for people, JSON for programs.

use std::io::{IsTerminal as _, Write as _};

use comfy_table::{ContentArrangement, Table, presets};
use serde_json::Value;

use crate::error::Failure;

/// Standard output, for people or for programs.
#[derive(Debug, Clone, Copy)]
pub struct Output {
    /// Whether programs read it.
    pub json: bool,
}

/// The emphasis of a table's head; `anstream` drops it where no terminal reads it or `NO_COLOR` is set.
const HEAD: anstyle::Style = anstyle::Style::new().bold();

impl Output {
    /// Prints a line.
    ///
    /// # Errors
    /// [`Failure::Output`].
    pub fn line(self, text: &str) -> Result<(), Failure> {
        writeln!(anstream::stdout().lock(), "{text}").map_err(Failure::Output)
    }

    /// Prints a text as it is.
    ///
    /// # Errors
    /// [`Failure::Output`].
    pub fn text(self, text: &str) -> Result<(), Failure> {
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(Failure::Output)
    }

    /// Prints JSON: indented for people, on one line for programs.
    ///
    /// # Errors
    /// [`Failure::Output`].
    pub fn value(self, value: &Value) -> Result<(), Failure> {
        let text = if self.json { value.to_string() } else { format!("{value:#}") };
        self.line(&text)
    }

    /// Prints rows under a head, in columns; an empty head is left out.
    ///
    /// # Errors
    /// [`Failure::Output`].
    pub fn table(self, head: &[&str], rows: Vec<Vec<String>>) -> Result<(), Failure> {
        let mut table = Table::new();
        table.load_style(presets::NOTHING).force_no_tty();
        if std::io::stdout().is_terminal()
            && let Ok(size) = rustix::termios::tcgetwinsize(std::io::stdout())
            && size.ws_col > 0
        {
            table.set_content_arrangement(ContentArrangement::Dynamic).set_width(size.ws_col);
        }
        if !head.is_empty() {
            table.set_header(head.to_vec());
        }
        table.add_rows(rows);
        let text = table.trim_fmt();
        let text = text.lines().map(|line| line.trim()).collect::<Vec<_>>();
        let mut out = anstream::stdout().lock();
        let mut print = || {
            for (index, line) in text.iter().enumerate() {
                if index == 0 && !head.is_empty() {
                    writeln!(out, "{HEAD}{line}{HEAD:#}")?
                } else {
                    writeln!(out, "{line}")?
                }
            }
            Ok(())
        };
        print().map_err(Failure::Output)
    }
}

/// A member as people read it: texts without quotes, nothing as a dash.
#[must_use]
pub fn shown(value: Option<&Value>) -> String {
    match value {
        None | Some(Value::Null) => "–".to_owned(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    }
}

/// A time of the daemon's to the whole second, so that times stand below each other; anything else as [`shown`] has it.
#[must_use]
pub fn shown_time(value: Option<&Value>) -> String {
    let text = shown(value);
    match text.parse::<jiff::Timestamp>() {
        // cut, not rounded: nothing is said to have been heard after it was
        Ok(time) => jiff::Timestamp::from_second(time.as_second()).map_or(text, |time| time.to_string()),
        Err(_) => text,
    }
}

/// The first characters of a text, with an ellipsis where some are left out.
#[must_use]
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_text_is_shortened_by_characters_and_not_by_bytes() {
        assert_eq!(shortened("éééé", 4), "éééé");
        assert_eq!(shortened("ééééé", 4), "ééé…");
    }

    #[test]
    fn times_are_cut_to_the_second() {
        assert_eq!(shown_time(Some(&Value::from("2026-11-25T15:12:00.987Z"))), "2026-11-25T15:12:00Z");
        assert_eq!(shown_time(Some(&Value::from("2026-11-25T15:12:00Z"))), "2026-11-25T15:12:00Z");
        assert_eq!(shown_time(None), "–");
        assert_eq!(shown_time(Some(&Value::from("late"))), "late");
    }

    #[test]
    fn a_member_that_is_not_there_is_a_dash() {
        assert_eq!(shown(None), "–");
        assert_eq!(shown(Some(&Value::Null)), "–");
        assert_eq!(shown(Some(&Value::from("a"))), "a");
        assert_eq!(shown(Some(&Value::from(3))), "3");
    }
}
