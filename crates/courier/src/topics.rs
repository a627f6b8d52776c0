//! Topic names under the prefix, as the daemon sees them.

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

const UP: [(&str, Up); 6] = [
    ("boot", Up::Boot),
    ("ask", Up::Ask),
    ("reported", Up::Reported),
    ("event", Up::Event),
    ("wish", Up::Wish),
    ("alive", Up::Alive),
];

/// Topic names under a prefix.
#[derive(Debug, Clone)]
pub(crate) struct Topics(pub(crate) String);

impl Topics {
    /// A topic that the daemon sends to.
    pub(crate) fn down(&self, fixture: &str, what: &str) -> String {
        format!("{}/{fixture}/{what}", self.0)
    }

    /// The fixture and the kind of message that a topic names.
    pub(crate) fn read<'t>(&self, topic: &'t str) -> Option<(&'t str, Up)> {
        let (fixture, what) = topic.strip_prefix(&self.0)?.strip_prefix('/')?.split_once('/')?;
        UP.iter().find(|(name, _)| *name == what).map(|(_, up)| (fixture, *up))
    }

    /// The filters that the daemon subscribes to.
    pub(crate) fn filters(&self) -> impl Iterator<Item = String> {
        UP.iter().map(|(what, _)| format!("{}/+/{what}", self.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_topic_is_read_back_and_others_are_not() {
        let topics = Topics("house/lights".into());
        assert_eq!(topics.read("house/lights/hall/boot"), Some(("hall", Up::Boot)));
        for other in ["house/hall/boot", "house/lights/hall", "house/lights/hall/desired", "house/lightshall/boot", ""]
        {
            assert_eq!(topics.read(other), None, "{other}");
        }
    }
}
