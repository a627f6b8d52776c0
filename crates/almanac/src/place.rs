//! Where fixtures stand: what sun times and wall times are reckoned from.

use std::sync::LazyLock;

use jiff::tz::{TimeZone, TimeZoneDatabase};

use crate::AlmanacError;
use crate::error::excerpt;

/// The zones that came with the program: never the machine's, so that the same document means the
/// same everywhere.
static ZONES: LazyLock<TimeZoneDatabase> = LazyLock::new(TimeZoneDatabase::bundled);

/// A place on Earth and its time zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    latitude: f64,
    longitude: f64,
    zone: TimeZone,
    zone_name: String,
}

impl Place {
    /// Takes a latitude (-90 to 90 degrees, north positive), a longitude (-180 to 180 degrees, east
    /// positive) and the IANA name of a time zone, in letters of either case. The zone comes from
    /// the database bundled with the program.
    ///
    /// # Errors
    /// [`AlmanacError::Latitude`], [`AlmanacError::Longitude`] and [`AlmanacError::UnknownZone`]
    /// for the piece that is wrong; the first in that order.
    pub fn new(latitude: f64, longitude: f64, zone_name: &str) -> Result<Self, AlmanacError> {
        if !(-90.0..=90.0).contains(&latitude) {
            return Err(AlmanacError::Latitude { value: latitude });
        }
        if !(-180.0..=180.0).contains(&longitude) {
            return Err(AlmanacError::Longitude { value: longitude });
        }
        let unknown = || AlmanacError::UnknownZone { name: excerpt(zone_name) };
        let zone = ZONES.get(zone_name).map_err(|_| unknown())?;
        if zone.is_unknown() {
            return Err(unknown());
        }
        let zone_name = zone.iana_name().ok_or_else(unknown)?.to_owned();
        Ok(Self { latitude, longitude, zone, zone_name })
    }

    /// Degrees north of the equator, -90 to 90.
    #[must_use]
    pub fn latitude(&self) -> f64 {
        self.latitude
    }

    /// Degrees east of Greenwich, -180 to 180.
    #[must_use]
    pub fn longitude(&self) -> f64 {
        self.longitude
    }

    /// The time zone's rules.
    #[must_use]
    pub fn zone(&self) -> &TimeZone {
        &self.zone
    }

    /// The time zone's IANA name, as the database spells it.
    #[must_use]
    pub fn zone_name(&self) -> &str {
        &self.zone_name
    }
}
