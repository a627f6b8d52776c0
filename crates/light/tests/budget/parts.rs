//! Chips, fuses, data lines and capacitors against data sheets and rules.

use light::budget::{
    Chip, Known, SUPPLY_LOADING, Timing, chip_facts, dip_volts, frame_seconds, fuse_for_conductor, fuse_for_load,
    rise_seconds,
};
use serde_json::Value;

use crate::{close, json_table, table};

/// The numbers of a row that was read or told second hand; rows from memory hold no test.
fn printed(part: &str, item: &str) -> Vec<f64> {
    let rows = table("led-parts.csv");
    let row =
        rows.iter().find(|row| row["part"] == part && row["item"] == item).unwrap_or_else(|| panic!("{part} {item}"));
    assert!(row["status"] != "memory", "{part} {item} is from memory");
    let numbers = |text: &str| -> Vec<f64> {
        text.split(|letter: char| !letter.is_ascii_digit() && letter != '.')
            .filter_map(|piece| piece.trim_matches('.').parse().ok())
            .collect()
    };
    numbers(&row["value"])
}

#[test]
fn the_ws2812b_is_as_its_data_sheet_says() {
    let facts = chip_facts("ws2812b").unwrap();
    // Data sheet V1.0: 3.5 to 5.3 V is an absolute maximum, 4.5 to 5.5 V the condition of the electrical table. The
    // safe range is what both hold.
    assert_eq!(facts.volts_most.value, printed("WS2812B", "supply, absolute maximum row")[1]);
    assert_eq!(facts.volts_least.value, printed("WS2812B", "conditions of the electrical table")[0]);
    close(facts.high.at(5.0), printed("WS2812B", "VIH minimum")[0] * 5.0, 1e-9);
    assert_eq!(facts.input_picofarads.value, printed("WS2812B", "input capacitance maximum")[0]);
    assert_eq!(facts.refresh_hertz.value, printed("WS2812B", "scan frequency")[0]);
    let Timing::OneWire { bit_micros, reset_micros } = facts.timing else { panic!("one wire") };
    assert_eq!(bit_micros.value, printed("WS2812B", "TH + TL")[0]);
    // The longer of the two revisions.
    assert!(reset_micros.value >= printed("WS2812B", "reset low time")[0]);
    assert_eq!(reset_micros.value, printed("WS2812B-V5", "reset low time")[0]);
    // 30 frames a second: not less than 1024 pixels on a line.
    assert!(1.0 / frame_seconds(&facts.timing, 3, 1024, 0.0) >= 30.0);
    assert_eq!(facts.channel_milliamps.known, Known::Practice);
}

#[test]
fn the_other_chips_are_as_their_sheets_and_tables_say() {
    let rgbw = chip_facts("sk6812rgbw").unwrap();
    assert_eq!((rgbw.volts_runs.value, rgbw.volts_most.value), {
        let supply = printed("SK6812RGBW", "supply");
        (supply[0], supply[1])
    });
    assert_eq!(rgbw.channel_milliamps.value * 4.0, printed("SK6812RGBW", "current per pixel")[0]);
    assert_eq!(rgbw.channels * 8, printed("SK6812RGBW", "bits per pixel")[0] as usize);
    let Timing::OneWire { reset_micros, .. } = chip_facts("sk6812").unwrap().timing else { panic!("one wire") };
    assert_eq!(reset_micros.value, printed("SK6812", "reset low time")[0]);
    let ws2815 = chip_facts("ws2815").unwrap();
    assert_eq!(vec![ws2815.volts_least.value, ws2815.volts_most.value], printed("WS2815", "supply")[..2].to_vec());
    assert_eq!(ws2815.refresh_hertz.value, printed("WS2815", "PWM refresh")[0] * 1000.0);
    let Timing::OneWire { reset_micros, .. } = ws2815.timing else { panic!("one wire") };
    assert_eq!(reset_micros.value, printed("WS2815", "reset low time")[0]);
    // Its sheet's 0.7 VDD would be 8.4 V at 12 V, which no controller reaches and cannot be meant.
    assert!(ws2815.high.at(12.0) < 5.0);
    let sk9822 = chip_facts("sk9822").unwrap();
    let supply = printed("SK9822-2020", "supply");
    assert_eq!(vec![sk9822.volts_runs.value, sk9822.volts_most.value], supply);
}

#[test]
fn every_chip_is_found_by_its_name_and_its_voltages_are_in_order() {
    for chip in Chip::all() {
        let facts = chip_facts(chip.name()).unwrap();
        assert_eq!(facts.name, chip.name());
        assert!(facts.volts_runs.value <= facts.volts_least.value, "{}", facts.name);
        assert!(facts.volts_least.value < facts.volts.value && facts.volts.value < facts.volts_most.value);
        assert!(!facts.channel_milliamps.source.is_empty() && !facts.idle_milliamps.source.is_empty());
    }
    assert_eq!(Chip::all().count(), 7);
    assert!(chip_facts("WS2812B").is_none());
}

fn rows(rules: &Value, block: &str) -> Vec<Value> {
    rules[block]["rows"].as_array().unwrap().clone()
}

fn of(row: &Value, key: &str) -> f64 {
    row[key].as_f64().unwrap_or_else(|| panic!("{key}"))
}

#[test]
fn fuses_and_supplies_are_loaded_by_the_rules() {
    let rules = json_table("electrical-rules.json");
    // Littelfuse, Fuseology Selection Guide: at most 75 percent. The steps are common practice.
    for row in rows(&rules, "fuse") {
        assert_eq!(fuse_for_load(of(&row, "load_A")), Some(of(&row, "next_standard_A")), "{row}");
    }
    // 80 percent: common practice, no source.
    for row in rows(&rules, "supply") {
        close(of(&row, "load_A") / SUPPLY_LOADING, of(&row, "supply_A_at_80_percent"), 0.001);
    }
    assert_eq!(fuse_for_load(23.0), None);
    // A conductor of 8 A that a short circuit loads with 12 A: 200 percent opens (UL 248-14), so 6 A at most.
    assert_eq!(fuse_for_conductor(8.0, 12.0), Some(5.0));
    assert_eq!(fuse_for_conductor(8.0, 100.0), Some(7.5));
    assert_eq!(fuse_for_conductor(0.4, 100.0), None);
}

#[test]
fn capacitors_dip_by_i_t_over_c_and_lines_rise_by_2_2_r_c() {
    let rules = json_table("electrical-rules.json");
    for row in rows(&rules, "capacitor") {
        let dip = dip_volts(of(&row, "I_A"), of(&row, "t_us") * 1e-6, of(&row, "C_uF") * 1e-6);
        close(dip, of(&row, "dV_V"), 1e-4);
    }
    for row in rows(&rules, "series_resistor") {
        let rise = rise_seconds(of(&row, "ohm"), of(&row, "pF") * 1e-12);
        close(rise * 1e9, of(&row, "rise_10_90_ns"), 0.01);
    }
}

#[test]
fn frames_take_the_time_of_their_bits() {
    let rules = json_table("electrical-rules.json");
    for row in rows(&rules, "refresh") {
        let chip = match (of(&row, "bits") as u32, of(&row, "reset_us") as u32) {
            (24, 280) => "ws2812b",
            (32, 80) => "sk6812rgbw",
            // The early WS2812B's reset of 50 us is not used: later ones would miss it.
            _ => continue,
        };
        let facts = chip_facts(chip).unwrap();
        let seconds = frame_seconds(&facts.timing, facts.channels, of(&row, "pixels") as usize, 0.0);
        close(seconds * 1e6, of(&row, "frame_us"), 1e-6);
        close(1.0 / seconds, of(&row, "max_fps"), 0.005);
    }
    for row in rows(&rules, "apa102_bits") {
        let pixels = of(&row, "pixels");
        let bits = frame_seconds(&Timing::Clocked, 3, pixels as usize, 1e6) * 1e6;
        let needed = 32.0 + 32.0 * pixels + of(&row, "end_bits_needed");
        close(bits, of(&row, "bits_datasheet").max(needed), 1e-6);
    }
}

#[test]
fn three_volts_three_reach_seven_tenths_of_the_supply_only_below_4_7_volts() {
    let rules = json_table("electrical-rules.json");
    let facts = chip_facts("ws2812b").unwrap();
    for row in rows(&rules, "level") {
        let threshold = facts.high.at(of(&row, "VDD_V"));
        close(threshold, of(&row, "VIH_min_V"), 0.001);
        assert_eq!(3.3 >= threshold - 1e-3, row["3.3V_is_in_spec"].as_bool().unwrap(), "{row}");
    }
}
