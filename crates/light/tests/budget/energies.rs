//! Energy against the tables, and what it refuses.

use light::budget::{BudgetError, Segment, energy};

use crate::{close, number, table};

const HOUR: f64 = 3600.0;

#[test]
fn kilowatt_hours_and_costs_are_those_of_the_table() {
    // Arithmetic: kWh = W h / 1000, 1 kWh = 3.6 MJ exactly (SI).
    for row in table("energy.csv") {
        let (watts, hours, days) = (number(&row, "watts"), number(&row, "hours_per_day"), number(&row, "days"));
        let price = number(&row, "price_per_kWh");
        let lit = Segment { seconds: hours * days * HOUR, amps: watts / 5.0 };
        let dark = Segment { seconds: (24.0 - hours) * days * HOUR, amps: 0.0 };
        let direct = energy(&[lit, dark], 5.0, 1.0, Some(price)).unwrap();
        let kwh = number(&row, "kWh");
        close(direct.kwh, kwh, kwh * 1e-5);
        close(direct.cost.unwrap(), number(&row, "cost"), number(&row, "cost") * 1e-5);
        close(direct.day_kwh, kwh / days, kwh / days * 1e-5);
        close(direct.year_kwh, kwh / days * 365.0, kwh / days * 365.0 * 1e-5);
        close(direct.month_cost.unwrap() * 12.0, direct.year_cost.unwrap(), 1e-9);
        close(direct.kwh * 3.6, number(&row, "MJ"), number(&row, "MJ") * 1e-5);
        let through = energy(&[lit, dark], 5.0, 0.85, None).unwrap();
        let printed = number(&row, "at_supply_efficiency_0.85_kWh");
        close(through.kwh, printed, printed * 1e-5);
        assert_eq!(through.cost, None);
    }
}

#[test]
fn profiles_in_steps_add_up_to_those_of_the_table() {
    let rows = table("energy-profiles.csv");
    let profile = |name: &str| rows.iter().find(|row| row["profile"] == name).unwrap();
    let cases = [
        ("constant 10 W for 1 h", vec![(HOUR, 10.0)]),
        ("10 W for 30 min, 0 W for 30 min", vec![(1800.0, 10.0), (1800.0, 0.0)]),
        // A ramp by its mean.
        ("ramp 0 to 20 W over 1 h", vec![(HOUR, 10.0)]),
        ("ramp 20 to 0 W over 90 s", vec![(90.0, 10.0)]),
        ("idle 0.72 W for 23 h, 25 W for 1 h", vec![(23.0 * HOUR, 0.72), (HOUR, 25.0)]),
    ];
    for (name, steps) in cases {
        let segments: Vec<_> =
            steps.iter().map(|(seconds, watts)| Segment { seconds: *seconds, amps: watts / 12.0 }).collect();
        let energy = energy(&segments, 12.0, 1.0, None).unwrap();
        let row = profile(name);
        close(energy.kwh * 1000.0, number(row, "Wh"), number(row, "Wh") * 1e-5);
        close(energy.mean_watts, number(row, "mean_W"), number(row, "mean_W") * 1e-5);
        close(energy.kwh * 3.6e6, number(row, "joule"), number(row, "joule") * 1e-5);
    }
}

#[test]
fn no_time_is_no_energy() {
    let none = energy(&[], 5.0, 0.9, Some(0.3)).unwrap();
    assert_eq!((none.kwh, none.mean_watts, none.year_kwh, none.cost), (0.0, 0.0, 0.0, Some(0.0)));
}

#[test]
fn what_cannot_be_is_refused_with_its_place() {
    let good = Segment { seconds: 1.0, amps: 1.0 };
    assert_eq!(energy(&[good], 5.0, 0.0, None), Err(BudgetError::Efficiency { value: 0.0 }));
    assert_eq!(energy(&[good], 5.0, 1.2, None), Err(BudgetError::Efficiency { value: 1.2 }));
    assert!(matches!(energy(&[good], 5.0, f64::NAN, None), Err(BudgetError::Efficiency { .. })));
    let short = Segment { seconds: -1.0, amps: 1.0 };
    assert_eq!(energy(&[good, short], 5.0, 1.0, None), Err(BudgetError::Duration { index: 1, value: -1.0 }));
    let odd = Segment { seconds: 1.0, amps: f64::INFINITY };
    assert!(matches!(energy(&[odd], 5.0, 1.0, None), Err(BudgetError::Quantity { .. })));
    assert!(matches!(energy(&[good], -5.0, 1.0, None), Err(BudgetError::Quantity { .. })));
    assert!(matches!(energy(&[good], 5.0, 1.0, Some(-0.1)), Err(BudgetError::Quantity { .. })));
    let huge = Segment { seconds: f64::MAX, amps: f64::MAX };
    assert!(matches!(energy(&[huge], 5.0, 1.0, None), Err(BudgetError::Quantity { .. })));
    assert!(matches!(energy(&[good], 5.0, 1.0, Some(f64::MAX)), Err(BudgetError::Quantity { what: "cost", .. })));
}
