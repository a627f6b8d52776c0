//! What the budget finds: gathers the rules of [`super::power_findings`] and [`super::strip_findings`] in order.

use super::answer::{Budget, Finding, Grade, tidy};
use super::built::Built;
use super::{power_findings, strip_findings};

/// All findings, the gravest first, within a grade in the order of the rules.
pub(super) fn findings(built: &Built<'_>, budget: &Budget) -> Vec<Finding> {
    let mut found = Findings(Vec::new());
    power_findings::fuses(built, budget, &mut found);
    power_findings::supply(built, budget, &mut found);
    power_findings::place(built, &mut found);
    power_findings::capacitor(built, budget, &mut found);
    strip_findings::heat(built, budget, &mut found);
    strip_findings::volts(built, budget, &mut found);
    strip_findings::data(built, budget, &mut found);
    strip_findings::frames(built, budget, &mut found);
    strip_findings::looks(budget, &mut found);
    strip_findings::dark(built, budget, &mut found);
    let mut findings = found.0;
    findings.sort_by_key(|finding| finding.grade);
    findings
}

/// Where findings gather.
pub(super) struct Findings(Vec<Finding>);

impl Findings {
    /// A finding without numbers; numbers are added by [`Findings::held`].
    pub(super) fn say(
        &mut self,
        grade: Grade,
        (rule, pointer): (&str, &str),
        text: String,
        source: &str,
        mend: String,
    ) {
        self.0.push(Finding {
            grade,
            rule: rule.to_owned(),
            pointer: pointer.to_owned(),
            text,
            value: None,
            limit: None,
            unit: None,
            source: source.to_owned(),
            mend,
        });
    }

    /// A value held against a limit.
    pub(super) fn held(
        &mut self,
        grade: Grade,
        place: (&str, &str),
        (value, limit, unit): (f64, f64, &str),
        text: String,
        source: &str,
        mend: String,
    ) {
        self.say(grade, place, text, source, mend);
        if let Some(last) = self.0.last_mut() {
            last.value = Some(tidy(value));
            last.limit = Some(tidy(limit));
            last.unit = Some(unit.to_owned());
        }
    }
}
