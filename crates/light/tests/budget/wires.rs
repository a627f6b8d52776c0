//! Copper against the tables of the standards.

use light::budget::{WireSize, ampacity, temperature_factor};

use crate::{close, number, table};

#[test]
fn gauges_have_the_area_and_resistance_of_astm_b258_and_iec_60028() {
    for row in table("copper-awg.csv") {
        let size = WireSize::Awg(row["awg"].parse().unwrap());
        close(size.area(), number(&row, "area_mm2"), 0.0001);
        for (column, celsius) in [("mohm_per_m_20C", 20.0), ("mohm_per_m_40C", 40.0), ("mohm_per_m_60C", 60.0)] {
            let printed = number(&row, column);
            close(size.ohms_per_metre(celsius) * 1000.0, printed, printed * 0.001);
        }
    }
}

#[test]
fn flexible_copper_has_the_resistance_of_iec_60228_class_5() {
    for row in table("iec60228.csv") {
        let size = WireSize::Mm2(number(&row, "mm2"));
        close(size.ohms_per_metre(20.0) * 1000.0, number(&row, "class5_plain_ohm_per_km"), 1e-9);
    }
}

#[test]
fn a_size_between_those_of_iec_60228_is_never_taken_for_less_than_pure_copper() {
    for hundredth in 2..2000 {
        let area = f64::from(hundredth) / 100.0;
        assert!(WireSize::Mm2(area).ohms_per_metre(20.0) > 17.241e-3 / area * 1.1, "{area} mm2");
    }
}

#[test]
fn copper_warms_by_both_customary_rules() {
    for row in table("copper-temperature.csv") {
        let factor = temperature_factor(number(&row, "temp_C"));
        // IEC 60028 and the annex of IEC 60228.
        close(factor, number(&row, "factor_from_20C_alpha_0.00393"), 0.0005);
        close(factor, number(&row, "factor_from_20C_234.5_rule"), 0.0005);
    }
}

#[test]
fn a_lumped_load_loses_what_the_table_of_voltage_drops_says() {
    for row in table("voltage-drop.csv") {
        let size = match row["rule"].as_str() {
            "awg" => WireSize::Awg(row["size"].parse().unwrap()),
            _ => WireSize::Mm2(number(&row, "size")),
        };
        let ohms = 2.0 * number(&row, "one_way_m") * size.ohms_per_metre(20.0);
        close(ohms, number(&row, "loop_ohm"), number(&row, "loop_ohm") * 0.001);
        let drop = ohms * number(&row, "amps");
        close(drop, number(&row, "drop_V"), number(&row, "drop_V") * 0.001 + 5e-5);
    }
}

#[test]
fn cords_carry_what_bs_7671_table_4f3a_says_less_the_grouping() {
    for row in table("flexible-cord-ampacity.csv") {
        let listed = number(&row, "amps_or_factor");
        match row["item"].as_str() {
            "mm2" => close(ampacity(WireSize::Mm2(number(&row, "value")), 30.0), listed * 0.8, 1e-9),
            "ambient_C" => close(ampacity(WireSize::Mm2(1.0), number(&row, "value")), 10.0 * listed * 0.8, 1e-9),
            _ => {}
        }
    }
}

#[test]
fn between_rows_the_lower_row_counts_and_below_the_table_the_area() {
    assert_eq!(ampacity(WireSize::Mm2(1.49), 20.0), ampacity(WireSize::Mm2(1.25), 20.0));
    assert_eq!(ampacity(WireSize::Mm2(1.0), 30.1), ampacity(WireSize::Mm2(1.0), 35.0));
    close(ampacity(WireSize::Mm2(0.25), 20.0), 3.0 / 2.0 * 0.8, 1e-9);
    assert_eq!(ampacity(WireSize::Mm2(100.0), 20.0), ampacity(WireSize::Mm2(4.0), 20.0));
    // AWG 18 has 0.823 mm2: the row of 0.75 mm2.
    close(ampacity(WireSize::Awg(18), 20.0), 6.0 * 0.8, 1e-9);
    assert_eq!(ampacity(WireSize::Mm2(4.0), 56.0), 0.0);
}
