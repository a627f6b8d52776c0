//! Fuses: how far they may be loaded, when they open, and which sizes there are.

/// What part of its rating a fuse may carry for long at 25 °C.
pub const FUSE_LOADING: f64 = 0.75;
/// Where [`FUSE_LOADING`] is from.
pub const FUSE_LOADING_SOURCE: &str = "at most 75 percent of the rating for long life at 25 °C: Littelfuse, Fuseology Selection Guide (2014), rated \
     current; second hand";
/// How many times its rating a fuse needs to open in time.
pub const FUSE_OPENING: f64 = 2.0;
/// Where [`FUSE_OPENING`] is from.
pub const FUSE_OPENING_SOURCE: &str = "opens within 2 minutes at 200 percent of its rating: UL/CSA/ANCE 248-14, up to 30 A, as given in Littelfuse, \
     Fuseology Selection Guide (2014); second hand";
/// What part of its rating a supply may give for long.
pub const SUPPLY_LOADING: f64 = 0.8;
/// Where [`SUPPLY_LOADING`] is from.
pub const SUPPLY_LOADING_SOURCE: &str = "80 percent of a supply's rating for long: common practice, no source";

/// Ratings of blade fuses, in amps; common practice.
const RATINGS: [f64; 12] = [0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0];

/// The least common fuse that carries this load for long, in amps; `None` above 22.5 A.
///
/// ```
/// assert_eq!(light::budget::fuse_for_load(5.0), Some(7.5));
/// ```
pub fn fuse_for_load(load_amps: f64) -> Option<f64> {
    RATINGS.iter().copied().find(|rating| *rating >= load_amps / FUSE_LOADING - 1e-9)
}

/// The greatest common fuse that protects a conductor of this ampacity and opens at this prospective current, all in
/// amps; `None` if there is none so small.
pub fn fuse_for_conductor(ampacity: f64, prospective: f64) -> Option<f64> {
    let most = ampacity.min(prospective / FUSE_OPENING);
    RATINGS.iter().rev().copied().find(|rating| *rating <= most + 1e-9)
}
