//! Who may publish and subscribe what. Pure: no connection, no clock, no state.

use crate::topics::{Down, Prefix, Up, is_fixture_id};

/// Who asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who<'a> {
    /// The daemon itself.
    Daemon,
    /// The fixture with this id.
    Fixture(&'a str),
}

/// Whether `who` may publish on `topic`; the same rule holds for a last will.
///
/// A fixture may publish its own upward topics, the daemon any fixture's downward ones and, so that a broker can be made
/// to forget a fixture that is gone, its `alive`. Nobody may publish anything else; so nothing that begins with `$`, and
/// nothing with a wildcard.
#[must_use]
pub fn may_publish(prefix: &Prefix, who: Who<'_>, topic: &str) -> bool {
    let Some((fixture, message)) = prefix.split(topic) else {
        return false;
    };
    match who {
        Who::Daemon => {
            is_fixture_id(fixture) && (message.parse::<Down>().is_ok() || matches!(message.parse(), Ok(Up::Alive)))
        }
        // The id is checked too, so that no username, however odd, can name more than one topic.
        Who::Fixture(id) => fixture == id && is_fixture_id(id) && message.parse::<Up>().is_ok(),
    }
}

/// Whether `who` may subscribe with `filter`.
///
/// A fixture may subscribe its own downward topics, each by its exact name; the daemon upward ones, with `+` or an id
/// in place of the fixture. No `#`, no shared subscription, nothing that begins with `$`.
#[must_use]
pub fn may_subscribe(prefix: &Prefix, who: Who<'_>, filter: &str) -> bool {
    let Some((fixture, message)) = prefix.split(filter) else {
        return false;
    };
    match who {
        Who::Daemon => (fixture == "+" || is_fixture_id(fixture)) && message.parse::<Up>().is_ok(),
        Who::Fixture(id) => fixture == id && is_fixture_id(id) && message.parse::<Down>().is_ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STAIRS: Who<'_> = Who::Fixture("stairs");

    #[test]
    fn a_fixture_publishes_its_own_upward_topics_and_no_others() {
        let prefix = Prefix::default();
        for message in Up::ALL {
            assert!(may_publish(&prefix, STAIRS, &prefix.up("stairs", message)));
            assert!(!may_publish(&prefix, STAIRS, &prefix.up("hall", message)));
        }
        for message in Down::ALL {
            assert!(!may_publish(&prefix, STAIRS, &prefix.down("stairs", message)));
        }
    }

    #[test]
    fn a_fixture_subscribes_its_own_downward_topics_and_no_others() {
        let prefix = Prefix::default();
        for message in Down::ALL {
            assert!(may_subscribe(&prefix, STAIRS, &prefix.down("stairs", message)));
            assert!(!may_subscribe(&prefix, STAIRS, &prefix.down("hall", message)));
        }
        for message in Up::ALL {
            assert!(!may_subscribe(&prefix, STAIRS, &prefix.up("stairs", message)));
        }
    }

    #[test]
    fn the_daemon_publishes_down_and_subscribes_up() {
        let prefix = Prefix::default();
        for message in Down::ALL {
            assert!(may_publish(&prefix, Who::Daemon, &prefix.down("stairs", message)));
            assert!(!may_subscribe(&prefix, Who::Daemon, &prefix.down("stairs", message)));
            assert!(!may_subscribe(&prefix, Who::Daemon, &prefix.down("+", message)));
        }
        for filter in prefix.up_filters() {
            assert!(may_subscribe(&prefix, Who::Daemon, &filter));
            assert!(!may_publish(&prefix, Who::Daemon, &filter));
        }
        assert!(may_publish(&prefix, Who::Daemon, "fixtures/stairs/alive"));
        assert!(!may_publish(&prefix, Who::Daemon, "fixtures/stairs/boot"));
    }

    #[test]
    fn wildcards_shares_and_system_topics_are_refused() {
        let prefix = Prefix::default();
        for filter in [
            "#",
            "+",
            "+/+/+",
            "fixtures/#",
            "fixtures/+/desired",
            "fixtures/stairs/#",
            "fixtures/stairs/+",
            "fixtures/+/+",
            "$SYS/#",
            "$SYS/broker/uptime",
            "$share/g/fixtures/stairs/desired",
            "$share/g/fixtures/+/boot",
            "$queue/fixtures/stairs/desired",
            "/fixtures/stairs/desired",
            "fixtures/stairs/desired/",
            "fixtures/stairs//desired",
            "fixtures/stairs/desired\0",
            "Fixtures/stairs/desired",
            "",
        ] {
            assert!(!may_subscribe(&prefix, STAIRS, filter), "{filter:?}");
            assert!(!may_subscribe(&prefix, Who::Daemon, filter), "{filter:?}");
            assert!(!may_publish(&prefix, STAIRS, filter), "{filter:?}");
        }
        assert!(!may_publish(&prefix, Who::Daemon, "$SYS/broker/uptime"));
        assert!(!may_publish(&prefix, Who::Daemon, "fixtures/+/desired"));
    }

    #[test]
    fn an_odd_username_reaches_nothing() {
        let prefix = Prefix::default();
        for id in ["+", "#", "", "a/b", "@sconced", "Stairs"] {
            for topic in [
                "fixtures/+/boot",
                "fixtures/#/boot",
                "fixtures//boot",
                "fixtures/a/b/boot",
                "fixtures/@sconced/boot",
                "fixtures/Stairs/boot",
            ] {
                assert!(!may_publish(&prefix, Who::Fixture(id), topic), "{id:?} {topic:?}");
            }
            assert!(!may_subscribe(&prefix, Who::Fixture(id), &prefix.down(id, Down::Desired)), "{id:?}");
        }
    }

    proptest! {
        #[test]
        fn a_fixture_never_reaches_a_topic_without_its_own_id(
            topic in "\\PC{0,40}|(fixtures|fixture|\\$share/g/fixtures|\\+|#)/(stairs|hall|\\+|#|stair|stairss)/(boot|alive|desired|showing|\\+|#)(/x)?"
        ) {
            let prefix = Prefix::default();
            if may_publish(&prefix, STAIRS, &topic) || may_subscribe(&prefix, STAIRS, &topic) {
                prop_assert!(topic.starts_with("fixtures/stairs/"));
                prop_assert!(!topic.contains(['+', '#', '$']));
            }
            // What one may publish the other may not, but for `alive`, which the daemon empties when a fixture is gone;
            // and no fixture may both publish and subscribe a topic.
            let both = may_publish(&prefix, STAIRS, &topic) && may_publish(&prefix, Who::Daemon, &topic);
            prop_assert_eq!(both, topic == "fixtures/stairs/alive");
            prop_assert!(!(may_publish(&prefix, STAIRS, &topic) && may_subscribe(&prefix, STAIRS, &topic)));
        }
    }
}
