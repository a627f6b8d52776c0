//! Energy: what currents over time cost at the mains.

use serde::{Deserialize, Serialize};

use super::error::BudgetError;

/// Seconds in a day.
const DAY: f64 = 86_400.0;
/// Days in the year that is reckoned with.
const YEAR_DAYS: f64 = 365.0;
/// Joules in a kilowatt hour, exactly (SI).
const KWH: f64 = 3.6e6;

/// A stretch of time with one current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// How long, in seconds.
    pub seconds: f64,
    /// The mean current meanwhile, controller included if it is to count, in amps.
    pub amps: f64,
}

/// What a span of time has cost, and what a day, month and year like it would.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Energy {
    /// Length of all segments, in seconds.
    pub seconds: f64,
    /// Energy at the mains, in kilowatt hours.
    pub kwh: f64,
    /// Mean power at the mains, in watts.
    pub mean_watts: f64,
    /// Energy of a day like it, in kilowatt hours.
    pub day_kwh: f64,
    /// Energy of a month like it, the twelfth of a year, in kilowatt hours.
    pub month_kwh: f64,
    /// Energy of a year of 365 days like it, in kilowatt hours.
    pub year_kwh: f64,
    /// Cost of the span, in the currency of the price.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
    /// Cost of a day like it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day_cost: Option<f64>,
    /// Cost of a month like it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub month_cost: Option<f64>,
    /// Cost of a year like it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub year_cost: Option<f64>,
}

/// The energy of these segments at `volts`, taken from the mains through a supply of this efficiency (0 to 1), with a
/// price for each kilowatt hour if there is one. No time at all is no energy.
///
/// # Errors
/// [`BudgetError::Efficiency`], [`BudgetError::Duration`] or [`BudgetError::Quantity`] for what cannot be.
pub fn energy(
    segments: &[Segment],
    volts: f64,
    supply_efficiency: f64,
    price_per_kwh: Option<f64>,
) -> Result<Energy, BudgetError> {
    if !(supply_efficiency > 0.0 && supply_efficiency <= 1.0) {
        return Err(BudgetError::Efficiency { value: supply_efficiency });
    }
    quantity("voltage in volts", volts)?;
    let (mut seconds, mut joules) = (0.0, 0.0);
    for (index, segment) in segments.iter().enumerate() {
        if !(segment.seconds.is_finite() && segment.seconds >= 0.0) {
            return Err(BudgetError::Duration { index, value: segment.seconds });
        }
        quantity("current in amps", segment.amps)?;
        seconds += segment.seconds;
        joules += segment.seconds * segment.amps * volts / supply_efficiency;
    }
    let price = price_per_kwh.map(|price| quantity("price", price)).transpose()?;
    // Sums of finite numbers can still pass every bound.
    quantity("sum of energy", joules)?;
    quantity("sum of time", seconds)?;
    let mean_watts = if seconds > 0.0 { joules / seconds } else { 0.0 };
    let day_kwh = mean_watts * DAY / KWH;
    let year_kwh = day_kwh * YEAR_DAYS;
    let month_kwh = year_kwh / 12.0;
    let kwh = joules / KWH;
    let cost_of = |kwh: f64| price.map(|price| kwh * price);
    for cost in [cost_of(kwh), cost_of(year_kwh)].into_iter().flatten() {
        quantity("cost", cost)?;
    }
    Ok(Energy {
        seconds,
        kwh,
        mean_watts,
        day_kwh,
        month_kwh,
        year_kwh,
        cost: cost_of(kwh),
        day_cost: cost_of(day_kwh),
        month_cost: cost_of(month_kwh),
        year_cost: cost_of(year_kwh),
    })
}

fn quantity(what: &'static str, value: f64) -> Result<f64, BudgetError> {
    if value.is_finite() && value >= 0.0 { Ok(value) } else { Err(BudgetError::Quantity { what, value }) }
}
