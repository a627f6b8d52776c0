//! The commented example of a configuration file, written from the settings' own words and defaults.

use std::fmt::Write as _;

use super::Settings;

const HEAD: &str = "\
# The configuration of sconced, with every setting at its default. To change one, take away the # before it.
#
#   sconced serve --config sconced.toml
#
# Every setting is also an environment variable, named with it below. Flags win over the environment, the environment
# over this file. A text that is left empty counts as not set. This file is written by: sconced example-config
";

/// The commented example of a configuration file. Lines that begin with `#` and no space hold a setting at its default.
#[must_use]
pub fn example() -> String {
    let mut text = String::from(HEAD);
    for section in Settings::sections() {
        text.push('\n');
        for line in section.about {
            let _ = writeln!(text, "#{line}");
        }
        let _ = writeln!(text, "[{}]", section.name);
        for setting in section.settings {
            text.push('\n');
            for line in setting.docs {
                let _ = writeln!(text, "#{line}");
            }
            match (setting.default, setting.example) {
                (Some(default), _) => {
                    let _ = writeln!(text, "#{} = {default}", setting.name);
                }
                (None, Some(example)) => {
                    let _ = writeln!(text, "# {} = {example}", setting.name);
                }
                (None, None) => {}
            }
        }
    }
    text
}
