//! The daemon's problem details (RFC 9457) in words: what is wrong, where, what to do.

use std::fmt;

use serde::Deserialize;

/// One of several faults.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct FaultDetail {
    /// Where, as a JSON Pointer.
    #[serde(default)]
    pub pointer: Option<String>,
    /// What is wrong.
    #[serde(default)]
    pub text: Option<String>,
    /// What to do.
    #[serde(default)]
    pub advice: Option<String>,
}

/// A problem as the daemon tells it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Problem {
    /// The HTTP status code.
    #[serde(default)]
    pub status: u16,
    /// Which problem, as a URI reference.
    #[serde(default, rename = "type")]
    pub problem_type: Option<String>,
    /// What it is called.
    #[serde(default)]
    pub title: Option<String>,
    /// What is wrong here.
    #[serde(default)]
    pub detail: Option<String>,
    /// Where, as a JSON Pointer into what was sent.
    #[serde(default)]
    pub pointer: Option<String>,
    /// What to do.
    #[serde(default)]
    pub advice: Option<String>,
    /// Every fault, where there are several.
    #[serde(default)]
    pub errors: Vec<FaultDetail>,
    /// The body as it came.
    #[serde(skip)]
    pub text: String,
}

impl Problem {
    /// Reads the body of an answer that is no success. One that is no problem object is told by its status.
    #[must_use]
    pub fn read(status: u16, text: &str) -> Self {
        let mut problem: Self = serde_json::from_str(text).unwrap_or_default();
        problem.status = status;
        text.clone_into(&mut problem.text);
        problem
    }

    /// What to do about problems of the log-in, which the daemon cannot know.
    fn of_status(&self) -> Option<&'static str> {
        match self.status {
            401 => {
                Some("give a token with --token or SCONCED_TOKEN, or --data with the folder of a daemon of your own")
            }
            403 => Some("use a token with a larger scope"),
            404 if self.title.is_none() => Some("is this the address of a sconced?"),
            _ => None,
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let wrong = self.detail.as_deref().or(self.title.as_deref());
        let several = (self.errors.len() > 1).then(|| format!("{} places are wrong", self.errors.len()));
        // the first of several stands below, with its place
        match several.as_deref().or(wrong) {
            Some(wrong) => write!(f, "{wrong}")?,
            None => write!(f, "the daemon answered with status {}", self.status)?,
        }
        if self.errors.len() > 1 {
            for error in &self.errors {
                write!(f, "\n  {}", error.pointer.as_deref().filter(|at| !at.is_empty()).unwrap_or("the whole"))?;
                write!(f, ": {}", error.text.as_deref().unwrap_or_default())?;
                if let Some(advice) = &error.advice {
                    write!(f, "; {advice}")?;
                }
            }
            return Ok(());
        }
        let first = self.errors.first();
        let pointer = self.pointer.as_deref().or(first.and_then(|error| error.pointer.as_deref()));
        if let Some(pointer) = pointer.filter(|pointer| !pointer.is_empty()) {
            write!(f, "\n  where: {pointer}")?;
        }
        let advice = self.advice.as_deref().or(first.and_then(|error| error.advice.as_deref()));
        // the daemon speaks to programs of all kinds; here is known how a token is given
        let of_status = self.of_status();
        if let Some(advice) = if self.status == 401 { of_status } else { advice.or(of_status) } {
            write!(f, "\n  what to do: {advice}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_fault_is_told_with_its_place_and_what_to_do() {
        let text = r#"{"type":"/problems/invalid","title":"Invalid","status":422,"detail":"120 is no intensity",
            "pointer":"/looks/evening/intensity","advice":"write 0 to 100","errors":[]}"#;
        assert_eq!(
            Problem::read(422, text).to_string(),
            "120 is no intensity\n  where: /looks/evening/intensity\n  what to do: write 0 to 100"
        );
    }

    #[test]
    fn several_faults_are_told_one_a_line() {
        let text =
            r#"{"detail":"2 faults","errors":[{"pointer":"/a","text":"x","advice":"y"},{"pointer":"/b","text":"z"}]}"#;
        assert_eq!(Problem::read(422, text).to_string(), "2 places are wrong\n  /a: x; y\n  /b: z");
    }

    #[test]
    fn an_answer_that_is_no_problem_is_told_by_its_status() {
        assert!(Problem::read(404, "<html>").to_string().contains("address of a sconced"));
        assert!(Problem::read(401, "").to_string().contains("--token"));
    }
}
