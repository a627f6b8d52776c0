//! What can be wrong with a place, a timetable or an override, in words that say what to write
//! instead.

use thiserror::Error;

/// Why a piece was refused. The text names the value and what to write in its place.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum AlmanacError {
    /// A latitude outside -90 to 90 degrees, or not a number.
    #[error("{value} is no latitude: write degrees from -90 (south pole) to 90 (north pole), such as 52.37")]
    Latitude {
        /// The value as given, in degrees.
        value: f64,
    },
    /// A longitude outside -180 to 180 degrees, or not a number.
    #[error("{value} is no longitude: write degrees from -180 to 180, east positive, such as 4.9")]
    Longitude {
        /// The value as given, in degrees.
        value: f64,
    },
    /// No zone of the bundled IANA database has this name.
    #[error("there is no time zone \"{name}\": write its IANA name, such as \"Europe/Amsterdam\" or \"UTC\"")]
    UnknownZone {
        /// The name as given, shortened if long.
        name: String,
    },
    /// The text is no wall time.
    #[error("\"{text}\" is no wall time: write HH:MM or HH:MM:SS from \"00:00\" to \"23:59:59\", such as \"22:45\"")]
    WallTime {
        /// The text as given, shortened if long.
        text: String,
    },
    /// Midnight written as the end of a day.
    #[error("\"{text}\" is the start of the next day: write \"00:00\", on the day that begins then")]
    EndOfDay {
        /// The text as given.
        text: String,
    },
    /// The text is neither a wall time nor a sun event.
    #[error(
        "\"{text}\" is no start: write a wall time such as \"22:45\", or one of \"sunrise\", \"sunset\", \"dawn\", \"dusk\""
    )]
    UnknownStart {
        /// The text as given, shortened if long.
        text: String,
    },
    /// The text is no RFC 5545 duration.
    #[error(
        "\"{text}\" is no duration: write it as RFC 5545 does, such as \"-PT30M\" for half an hour earlier or \"PT1H30M\" for an hour and a half later"
    )]
    Duration {
        /// The text as given, shortened if long.
        text: String,
    },
    /// Hours and seconds with no minutes between, which RFC 5545 does not know.
    #[error(
        "\"{text}\" leaves out the minutes between hours and seconds: write them even when they are 0, such as \"PT1H0M30S\""
    )]
    DurationWithoutMinutes {
        /// The text as given, shortened if long.
        text: String,
    },
    /// A shift of more than twelve hours either way.
    #[error(
        "\"{text}\" is more than 12 hours: write a shift from \"-PT12H\" to \"PT12H\", or begin from another start"
    )]
    LongShift {
        /// The text as given, shortened if long.
        text: String,
    },
    /// A list of days with none in it.
    #[error("no day is named: write some of mon, tue, wed, thu, fri, sat, sun, or leave \"days\" out for every day")]
    NoDays,
    /// No day has this name.
    #[error("\"{name}\" is no day: write some of mon, tue, wed, thu, fri, sat, sun")]
    UnknownDay {
        /// Where it stands in the list, from 0.
        index: usize,
        /// The name as given, shortened if long.
        name: String,
    },
    /// A day named twice.
    #[error("\"{name}\" is named twice: leave one of them out")]
    RepeatedDay {
        /// Where it stands in the list for the second time, from 0.
        index: usize,
        /// The day.
        name: String,
    },
    /// The text is no day of a month.
    #[error("\"{text}\" is no day of the year: write MM-DD, such as \"12-01\" for the first of December")]
    MonthDay {
        /// The text as given, shortened if long.
        text: String,
    },
    /// The earliest wall time is later than the latest.
    #[error(
        "\"not_before\" {not_before} is later than \"not_after\" {not_after}: exchange them, or leave one out; both are wall times of the same day"
    )]
    ClampsCrossed {
        /// The earliest, as given.
        not_before: jiff::civil::Time,
        /// The latest, as given.
        not_after: jiff::civil::Time,
    },
    /// More entries than a timetable holds.
    #[error("{count} entries are too many for a timetable: write at most 64")]
    TooManyEntries {
        /// How many there were.
        count: usize,
    },
    /// The text is neither an instant nor one of the two words.
    #[error(
        "\"{text}\" is no end for an override: write an RFC 3339 time such as \"2026-11-25T22:00:00Z\", or \"next-change\", or \"released\""
    )]
    Until {
        /// The text as given, shortened if long.
        text: String,
    },
}

/// As much of `text` as a message should repeat: outside data may be kilobytes long.
pub(crate) fn excerpt(text: &str) -> String {
    const LONGEST: usize = 40;
    match text.char_indices().nth(LONGEST) {
        None => text.to_owned(),
        Some((cut, _)) => format!("{}…", text.get(..cut).unwrap_or_default()),
    }
}
