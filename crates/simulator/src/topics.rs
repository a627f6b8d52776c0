//! The topics of one fixture.

use crate::FixtureOptions;

/// What the daemon sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Down {
    Desired,
    Patch,
    Showing,
    Problem,
}

/// What a fixture sends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Up {
    Boot,
    Ask,
    Reported,
    Event,
    Wish,
    Alive,
}

impl Down {
    pub(crate) fn as_str(self) -> &'static str {
        match self {
            Self::Desired => "desired",
            Self::Patch => "patch",
            Self::Showing => "showing",
            Self::Problem => "problem",
        }
    }

    /// The downward topic that `topic` is for the fixture of these options.
    pub(crate) fn read(options: &FixtureOptions, topic: &str) -> Option<Self> {
        let rest = topic.strip_prefix(options.prefix.as_str())?.strip_prefix('/')?;
        let last = rest.strip_prefix(options.id.as_str())?.strip_prefix('/')?;
        [Self::Desired, Self::Patch, Self::Showing, Self::Problem].into_iter().find(|down| down.as_str() == last)
    }

    pub(crate) fn topic(self, options: &FixtureOptions) -> String {
        format!("{}/{}/{}", options.prefix, options.id, self.as_str())
    }
}

impl Up {
    pub(crate) fn as_str(self) -> &'static str {
        match self {
            Self::Boot => "boot",
            Self::Ask => "ask",
            Self::Reported => "reported",
            Self::Event => "event",
            Self::Wish => "wish",
            Self::Alive => "alive",
        }
    }

    pub(crate) fn topic(self, options: &FixtureOptions) -> String {
        format!("{}/{}/{}", options.prefix, options.id, self.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_fixtures_own_downward_topics_are_read() {
        let options = FixtureOptions::new("hall", "s", ("h".to_owned(), 1));
        for down in [Down::Desired, Down::Patch, Down::Showing, Down::Problem] {
            assert_eq!(Down::read(&options, &down.topic(&options)), Some(down));
        }
        for other in ["fixtures/stairs/desired", "fixtures/hall", "fixtures/hall/boot", "fixtures/hall/desired/x", ""] {
            assert_eq!(Down::read(&options, other), None, "{other}");
        }
    }
}
