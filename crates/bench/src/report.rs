//! What a run says: a table for people, JSON for programs.

use comfy_table::presets::ASCII_MARKDOWN;
use comfy_table::{CellAlignment, ContentArrangement, Table};
use serde_json::json;

use crate::figure::{Figure, Goal};
use crate::machine::Machine;
use crate::plan::{Plan, thousands};

/// A run.
#[derive(Debug)]
pub(crate) struct Report {
    /// On what.
    pub(crate) machine: Machine,
    /// How much was measured.
    pub(crate) plan: Plan,
    /// What came of it.
    pub(crate) figures: Vec<Figure>,
    /// How long it took.
    pub(crate) seconds: f64,
    /// The share of the machine that other work took meanwhile, in percent.
    pub(crate) others_percent: f64,
}

/// Above this share of other work a run says that it is not to be trusted.
const QUIET_PERCENT: f64 = 5.0;

/// A value with as many digits as it is good for.
pub(crate) fn value(value: f64) -> String {
    match value.abs() {
        size if size >= 1000.0 => thousands(value.abs().round() as u64),
        size if size >= 100.0 => format!("{value:.0}"),
        size if size >= 10.0 => format!("{value:.1}"),
        size if size >= 1.0 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    }
}

/// A goal in the signs of the table.
pub(crate) fn goal(figure: &Figure) -> String {
    match figure.goal {
        None => String::new(),
        Some(Goal::AtLeast(goal)) => format!("≥ {goal}"),
        Some(Goal::AtMost(goal)) => format!("≤ {goal}"),
        Some(Goal::ValueAtMost(goal)) => format!("≤ {goal} {}", figure.unit),
    }
}

impl Report {
    /// The table, with the machine above it and what it means below it. It is Markdown, so that it can be kept.
    pub(crate) fn table(&self) -> String {
        let mut table = Table::new();
        table.load_style(ASCII_MARKDOWN).set_content_arrangement(ContentArrangement::Disabled);
        table.set_header([
            "figure",
            "size",
            "daemon",
            "ceiling",
            "unit",
            "ratio",
            "of rounds",
            "goal",
            "met",
            "the ceiling is",
        ]);
        for figure in &self.figures {
            let ratio = figure.ratio.map_or_else(String::new, |ratio| format!("{ratio:.2}"));
            let spread =
                figure.spread.map_or_else(String::new, |(least, greatest)| format!("{least:.2} to {greatest:.2}"));
            let met = match figure.met() {
                None => "",
                Some(true) => "yes",
                Some(false) => "no",
            };
            table.add_row([
                figure.name.clone(),
                figure.size.clone(),
                value(figure.ours),
                figure.ceiling.map_or_else(String::new, value),
                figure.unit.to_owned(),
                ratio,
                spread,
                goal(figure),
                met.to_owned(),
                figure.ceiling_is.to_owned(),
            ]);
        }
        for column in [2, 3, 5] {
            if let Some(column) = table.column_mut(column) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        let (met, goals) = self.met();
        let quick = if self.plan.quick {
            "\nA quick run: smaller sizes and fewer rounds than the goals are meant for; it shows what has changed, not what is reached."
        } else {
            ""
        };
        let noise = if self.others_percent > QUIET_PERCENT {
            "\nThe machine was not quiet: repeat the run when nothing else works on it."
        } else {
            ""
        };
        format!(
            "{}\n\n{table}\n\n{met} of {goals} goals met, in {:.0} s. Values are medians of {} rounds; the daemon and its \
             ceiling were measured in turn, and the ratio is the median of the rounds' ratios, since the disk wanders from \
             round to round. Other work took {:.0} % of the machine meanwhile.{noise}{quick}",
            self.machine.words(),
            self.seconds,
            self.plan.rounds,
            self.others_percent,
        )
    }

    /// Goals met, and goals.
    fn met(&self) -> (usize, usize) {
        let met: Vec<bool> = self.figures.iter().filter_map(Figure::met).collect();
        (met.iter().filter(|met| **met).count(), met.len())
    }

    /// For programs.
    pub(crate) fn json(&self) -> String {
        let (met, goals) = self.met();
        let figures: Vec<_> = self.figures.iter().map(Figure::json).collect();
        let whole = json!({
            "machine": self.machine.json(), "quick": self.plan.quick, "rounds": self.plan.rounds,
            "seconds": self.seconds, "other_work_percent": self.others_percent, "goals": goals, "met": met, "figures": figures,
        });
        format!("{whole:#}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_have_the_digits_that_they_are_good_for() {
        let shown: Vec<_> = [12_345.6, 123.4, 12.34, 1.234, 0.1234].map(value).into();
        assert_eq!(shown, ["12,346", "123", "12.3", "1.23", "0.123"]);
    }

    fn report() -> Report {
        let folder = tempfile::tempdir().unwrap();
        let figures = vec![
            Figure::against("edits", "edits", "/s", 90.0, 100.0).goal(Goal::AtLeast(0.8)),
            Figure::against("single", "edit", "ms", 9.0, 1.0).goal(Goal::AtMost(2.5)),
            Figure::alone("idle", "CPU", "%", 0.1),
        ];
        let machine = Machine::look(folder.path()).unwrap();
        Report { machine, plan: Plan::new(true), figures, seconds: 1.0, others_percent: 50.0 }
    }

    #[test]
    fn the_table_says_what_is_met_and_what_is_not() {
        let table = report().table();
        assert!(table.contains("1 of 2 goals met") && table.contains("A quick run"), "{table}");
        assert!(table.contains("50 % of the machine") && table.contains("not quiet"), "{table}");
        assert!(table.lines().any(|line| line.contains("edits") && line.contains("yes")), "{table}");
        assert!(table.lines().any(|line| line.contains("≤ 2.5") && line.contains("no")), "{table}");
    }

    #[test]
    fn the_json_has_machine_and_figures() {
        let json: serde_json::Value = serde_json::from_str(&report().json()).unwrap();
        assert_eq!((json["goals"].as_u64(), json["met"].as_u64()), (Some(2), Some(1)));
        assert_eq!(json["figures"][1]["goal"]["ratio_at_most"], 2.5);
        assert!(json["machine"]["fdatasync_4k_p50_ms"].as_f64().unwrap() > 0.0);
    }
}
