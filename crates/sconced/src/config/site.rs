//! The section `site`.

use super::section::{Fault, Section, section, section_face};

section! {
    /// The house. Its place is that of every fixture that has none of its own. Timetables need one: sun times the latitude
    /// and longitude, wall times the zone. Without it an edit that brings a timetable is refused.
    Site {
        /// What the house is called, at most 200 bytes.
        /// Default: empty. Environment: SCONCED_SITE__TITLE.
        title: String = String::new();
        /// Degrees north of the equator, -90 to 90. Latitude, longitude and zone are set together or not at all.
        /// Default: not set. Environment: SCONCED_SITE__LATITUDE.
        latitude: Option<f64> = None, for example "52.37";
        /// Degrees east of Greenwich, -180 to 180.
        /// Default: not set. Environment: SCONCED_SITE__LONGITUDE.
        longitude: Option<f64> = None, for example "4.9";
        /// The time zone by its IANA name.
        /// Default: not set. Environment: SCONCED_SITE__ZONE.
        zone: Option<String> = None, for example "\"Europe/Amsterdam\"";
    }
}

impl Section for Site {
    section_face!("site");

    fn check(&self) -> Result<(), Fault> {
        if self.title.len() > 200 || self.title.contains(char::is_control) {
            return Err(Fault::new(
                "site.title",
                "it is longer than 200 bytes or holds a control character",
                "write what you call the house, such as \"Heron House\"",
            ));
        }
        self.place().map(|_| ())
    }
}

impl Site {
    /// Where the house stands, if the settings say so.
    ///
    /// # Errors
    /// A fault that names the setting that is missing or wrong.
    pub fn place(&self) -> Result<Option<almanac::Place>, Fault> {
        let (latitude, longitude, zone) = match (self.latitude, self.longitude, &self.zone) {
            (None, None, None) => return Ok(None),
            (Some(latitude), Some(longitude), Some(zone)) => (latitude, longitude, zone),
            (latitude, longitude, _) => {
                let missing = match (latitude, longitude) {
                    (None, _) => "site.latitude",
                    (_, None) => "site.longitude",
                    _ => "site.zone",
                };
                return Err(Fault::new(
                    missing,
                    "a place needs latitude, longitude and zone, and this one is missing",
                    "write all three, such as latitude = 52.37, longitude = 4.9, zone = \"Europe/Amsterdam\"",
                ));
            }
        };
        let setting = |error: &almanac::AlmanacError| match error {
            almanac::AlmanacError::Latitude { .. } => "site.latitude",
            almanac::AlmanacError::Longitude { .. } => "site.longitude",
            _ => "site.zone",
        };
        almanac::Place::new(latitude, longitude, zone).map(Some).map_err(|error| {
            // the almanac's words are "what is wrong: what to write"
            let text = error.to_string();
            let (problem, advice) = text.split_once(": ").unwrap_or((&text, "see the manual"));
            Fault::new(setting(&error), problem, advice)
        })
    }
}
