//! What a section of the configuration is made of: its settings, each with its words, its default and its environment
//! name, kept beside the struct so that the example file is made from the very same text.

use std::net::SocketAddr;
use std::path::PathBuf;

use super::secret::Secret;
use super::{LogFormat, LogLevel};

/// One setting as the example file shows it.
#[derive(Debug, Clone)]
pub(crate) struct Setting {
    /// Its name within the section.
    pub(crate) name: &'static str,
    /// Its words: unit, default and environment name among them.
    pub(crate) docs: &'static [&'static str],
    /// Its default as TOML; nothing when it is not set by default.
    pub(crate) default: Option<String>,
    /// What it may look like as TOML, for settings that are not set by default.
    pub(crate) example: Option<&'static str>,
}

/// One section of the configuration.
pub(crate) trait Section: Default {
    /// Its name in the file.
    const NAME: &'static str;
    /// What it is about.
    const ABOUT: &'static [&'static str];
    /// Its settings in order.
    fn settings() -> Vec<Setting>;
    /// Checks every value, and says what to write in place of a wrong one.
    fn check(&self) -> Result<(), Fault>;
}

/// A setting that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the setting {setting} cannot be used: {problem}; {advice}")]
pub struct Fault {
    /// The setting, such as `http.listen`.
    pub setting: String,
    /// What is wrong with it.
    pub problem: String,
    /// What to write.
    pub advice: String,
}

impl Fault {
    pub(crate) fn new(setting: &str, problem: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { setting: setting.to_owned(), problem: problem.into(), advice: advice.into() }
    }

    /// A number outside its bounds.
    pub(crate) fn bounds(setting: &str, value: impl ToString, least: impl ToString, most: impl ToString) -> Self {
        let (least, most) = (least.to_string(), most.to_string());
        Self::new(setting, format!("{} is out of bounds", value.to_string()), format!("write {least} to {most}"))
    }
}

/// A value as TOML.
pub(crate) trait AsToml {
    /// The value as TOML, or nothing when it is not set.
    fn as_toml(&self) -> Option<String>;
}

impl AsToml for bool {
    fn as_toml(&self) -> Option<String> {
        Some(self.to_string())
    }
}

impl AsToml for u32 {
    fn as_toml(&self) -> Option<String> {
        Some(self.to_string())
    }
}

impl AsToml for u64 {
    fn as_toml(&self) -> Option<String> {
        Some(self.to_string())
    }
}

impl AsToml for f64 {
    fn as_toml(&self) -> Option<String> {
        Some(format!("{self:?}"))
    }
}

impl AsToml for String {
    fn as_toml(&self) -> Option<String> {
        Some(toml::Value::String(self.clone()).to_string())
    }
}

impl AsToml for PathBuf {
    fn as_toml(&self) -> Option<String> {
        self.display().to_string().as_toml()
    }
}

impl AsToml for SocketAddr {
    fn as_toml(&self) -> Option<String> {
        self.to_string().as_toml()
    }
}

impl AsToml for LogLevel {
    fn as_toml(&self) -> Option<String> {
        self.as_str().to_owned().as_toml()
    }
}

impl AsToml for LogFormat {
    fn as_toml(&self) -> Option<String> {
        self.as_str().to_owned().as_toml()
    }
}

/// Never shown.
impl AsToml for Secret {
    fn as_toml(&self) -> Option<String> {
        None
    }
}

impl<T: AsToml> AsToml for Option<T> {
    fn as_toml(&self) -> Option<String> {
        self.as_ref().and_then(AsToml::as_toml)
    }
}

/// Makes a section: the struct, its defaults, and the description from which the example file is written.
macro_rules! section {
    (
        $(#[doc = $about:literal])*
        $section:ident {
            $(
                $(#[doc = $doc:literal])*
                $field:ident: $type:ty = $default:expr $(, for example $example:literal)?;
            )*
        }
    ) => {
        $(#[doc = $about])*
        #[derive(Debug, Clone, PartialEq, serde::Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $section {
            $($(#[doc = $doc])* pub $field: $type,)*
        }

        impl Default for $section {
            fn default() -> Self {
                Self { $($field: $default,)* }
            }
        }

        impl $section {
            const ABOUT_LINES: &'static [&'static str] = &[$($about),*];

            /// The settings that differ, as `section.setting`.
            pub(crate) fn differing(&self, other: &Self) -> Vec<String> {
                let mut names = Vec::new();
                $(if self.$field != other.$field {
                    let section = <Self as $crate::config::section::Section>::NAME;
                    names.push(format!("{section}.{}", stringify!($field)));
                })*
                names
            }

            fn described() -> Vec<$crate::config::section::Setting> {
                use $crate::config::section::AsToml as _;
                let defaults = Self::default();
                vec![$($crate::config::section::Setting {
                    name: stringify!($field),
                    docs: &[$($doc),*],
                    default: defaults.$field.as_toml(),
                    example: None$(.or(Some($example)))?,
                },)*]
            }
        }
    };
}
pub(crate) use section;

/// The parts of [`Section`] that are the same for every section.
macro_rules! section_face {
    ($key:literal) => {
        const NAME: &'static str = $key;
        const ABOUT: &'static [&'static str] = Self::ABOUT_LINES;
        fn settings() -> Vec<$crate::config::section::Setting> {
            Self::described()
        }
    };
}
pub(crate) use section_face;
