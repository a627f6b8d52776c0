//! One figure: what was measured, its bare ceiling, and whether the goal is met.

use serde_json::{Value, json};

use crate::rounds::Pairs;

/// What a ratio should be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Goal {
    /// Of rates: as near to the ceiling as this or nearer.
    AtLeast(f64),
    /// Of costs: at most so many times the ceiling.
    AtMost(f64),
    /// Of a value without a ceiling: at most so much, in the figure's own unit.
    ValueAtMost(f64),
}

/// One line of the table.
#[derive(Debug, Clone)]
pub(crate) struct Figure {
    /// The sub-command that measures it.
    pub(crate) command: &'static str,
    /// What it is.
    pub(crate) name: String,
    /// At which size.
    pub(crate) size: String,
    /// What the daemon does.
    pub(crate) ours: f64,
    /// What the machine could do at all.
    pub(crate) ceiling: Option<f64>,
    /// What the ceiling is.
    pub(crate) ceiling_is: &'static str,
    /// The unit of both.
    pub(crate) unit: &'static str,
    /// The median of the rounds' ratios.
    pub(crate) ratio: Option<f64>,
    /// The least and the greatest ratio of the rounds.
    pub(crate) spread: Option<(f64, f64)>,
    /// What the ratio should be.
    pub(crate) goal: Option<Goal>,
}

impl Figure {
    /// A figure from rounds in which ours and the ceiling were measured in turn.
    pub(crate) fn paired(command: &'static str, name: impl Into<String>, unit: &'static str, pairs: &Pairs) -> Self {
        Self {
            command,
            name: name.into(),
            size: String::new(),
            ours: pairs.ours(),
            ceiling: Some(pairs.ceiling()),
            ceiling_is: "",
            unit,
            ratio: pairs.ratio(),
            spread: pairs.spread(),
            goal: None,
        }
    }

    /// A figure that has no ceiling.
    pub(crate) fn alone(command: &'static str, name: impl Into<String>, unit: &'static str, ours: f64) -> Self {
        Self {
            command,
            name: name.into(),
            size: String::new(),
            ours,
            ceiling: None,
            ceiling_is: "",
            unit,
            ratio: None,
            spread: None,
            goal: None,
        }
    }

    /// A figure against one other value.
    pub(crate) fn against(
        command: &'static str,
        name: impl Into<String>,
        unit: &'static str,
        ours: f64,
        ceiling: f64,
    ) -> Self {
        let mut pairs = Pairs::default();
        pairs.push(ours, ceiling);
        Self::paired(command, name, unit, &pairs)
    }

    /// At which size it was measured.
    pub(crate) fn size(mut self, size: impl Into<String>) -> Self {
        self.size = size.into();
        self
    }

    /// What the ceiling is.
    pub(crate) fn ceiling_is(mut self, what: &'static str) -> Self {
        self.ceiling_is = what;
        self
    }

    /// What the ratio should be.
    pub(crate) fn goal(mut self, goal: Goal) -> Self {
        self.goal = Some(goal);
        self
    }

    /// Whether the goal is met; `None` when there is none.
    pub(crate) fn met(&self) -> Option<bool> {
        Some(match self.goal? {
            Goal::AtLeast(goal) => self.ratio? >= goal,
            Goal::AtMost(goal) => self.ratio? <= goal,
            Goal::ValueAtMost(goal) => self.ours <= goal,
        })
    }

    /// How far the goal is reached: 1 when it is met exactly, more when it is passed.
    pub(crate) fn reached(&self) -> Option<f64> {
        let (value, goal) = match self.goal? {
            Goal::AtLeast(goal) => (self.ratio?, goal),
            Goal::AtMost(goal) => (goal, self.ratio?),
            Goal::ValueAtMost(goal) => (goal, self.ours),
        };
        // a cost of nothing passes any goal
        Some(if goal > 0.0 { value / goal } else { f64::INFINITY })
    }

    /// For programs.
    pub(crate) fn json(&self) -> Value {
        let (at_least, at_most, value_at_most) = match self.goal {
            None => (None, None, None),
            Some(Goal::AtLeast(goal)) => (Some(goal), None, None),
            Some(Goal::AtMost(goal)) => (None, Some(goal), None),
            Some(Goal::ValueAtMost(goal)) => (None, None, Some(goal)),
        };
        json!({
            "command": self.command, "figure": self.name, "size": self.size, "value": self.ours, "unit": self.unit,
            "ceiling": self.ceiling, "ceiling_is": self.ceiling_is, "ratio": self.ratio,
            "ratio_least": self.spread.map(|(least, _)| least), "ratio_greatest": self.spread.map(|(_, most)| most),
            "goal": {"ratio_at_least": at_least, "ratio_at_most": at_most, "value_at_most": value_at_most},
            "met": self.met(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rate_is_met_from_below_and_a_cost_from_above() {
        let rate = |ours| Figure::against("edits", "edits", "/s", ours, 100.0).goal(Goal::AtLeast(0.8));
        assert_eq!((rate(80.0).met(), rate(79.0).met()), (Some(true), Some(false)));
        let cost = |ours| Figure::against("single", "edit", "ms", ours, 2.0).goal(Goal::AtMost(2.5));
        assert_eq!((cost(5.0).met(), cost(5.1).met()), (Some(true), Some(false)));
        let value = |ours| Figure::alone("idle", "CPU", "%", ours).goal(Goal::ValueAtMost(0.2));
        assert_eq!((value(0.2).met(), value(0.3).met()), (Some(true), Some(false)));
        assert_eq!(Figure::alone("idle", "CPU", "%", 1.0).met(), None);
    }

    #[test]
    fn how_far_a_goal_is_reached_has_one_scale_for_rates_and_costs() {
        let rate = Figure::against("edits", "edits", "/s", 40.0, 100.0).goal(Goal::AtLeast(0.8));
        let cost = Figure::against("single", "edit", "ms", 5.0, 1.0).goal(Goal::AtMost(2.5));
        assert_eq!((rate.reached(), cost.reached()), (Some(0.5), Some(0.5)));
    }
}
