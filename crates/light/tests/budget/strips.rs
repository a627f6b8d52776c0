//! The voltage along a strip against derived formulas and nodal solutions.

use light::budget::{Ladder, WireSize};

use crate::{close, number, table};

/// Fed where the tables say, in metres, on a strip of this length.
fn points(fed_at: &str, metres: f64) -> Vec<f64> {
    match fed_at {
        "start" => vec![0.0],
        "both ends" => vec![0.0, metres],
        "both ends and middle" => vec![0.0, metres / 2.0, metres],
        "middle" => vec![metres / 2.0],
        other => panic!("{other}"),
    }
}

#[test]
fn a_distributed_load_loses_i_r_over_2_from_one_end_and_i_r_over_8_from_both() {
    // Derived in the check values' notes: v(x) = r i (L x - x^2 / 2), and the same by lumps.
    for row in table("strip-distributed-load.csv") {
        let (ohms, amps, n) = (number(&row, "R_both_rails_ohm"), number(&row, "I_total_A"), 144);
        let (fed, pixel) = match row["case"].as_str() {
            "fed at one end, loss at the far end" => (vec![0.0], n - 1),
            "fed at one end, loss at pixel n/2" => (vec![0.0], n / 2 - 1),
            "fed at both ends, largest loss (middle)" => (vec![0.0, 1.0], n / 2 - 1),
            "fed in the middle, loss at the far end" => (vec![0.5], n - 1),
            other => panic!("{other}"),
        };
        let loaded = Ladder::new(n, 144.0, ohms / 2.0, 0.0, &fed).at_load(&vec![amps / 144.0; n]);
        let lost = loaded.pixel_volts_lost[pixel];
        close(lost, number(&row, "nodal_V"), 1e-6);
        close(lost, number(&row, "continuous_V"), number(&row, "continuous_V") * 0.015);
    }
}

#[test]
fn strips_lose_what_a_nodal_solution_by_numpy_says() {
    for row in table("strip-nodal.csv") {
        let (n, metres) = (number(&row, "pixels") as usize, number(&row, "length_m"));
        let pixel_amps = number(&row, "total_A") / n as f64;
        let fed = points(&row["fed_at"], metres);
        let ladder = Ladder::new(n, n as f64 / metres, number(&row, "rail_ohm_per_m_both") / 2.0, 0.0, &fed);
        let loaded = ladder.at_load(&vec![pixel_amps; n]);
        let (lost, pixel) = loaded.worst();
        close(lost, number(&row, "largest_loss_V"), 1e-4);
        close(loaded.pixel_volts_lost[n - 1], number(&row, "loss_last_pixel_V"), 1e-4);
        let mean = loaded.pixel_volts_lost.iter().sum::<f64>() / n as f64;
        close(mean, number(&row, "mean_loss_V"), 1e-4);
        // The table counts pixels from 1. Fed symmetrically, two pixels lose the same: either is right.
        let named = number(&row, "at_pixel") as usize - 1;
        close(loaded.pixel_volts_lost[named], loaded.pixel_volts_lost[pixel], 1e-9);
    }
}

#[test]
fn feed_wires_lose_what_a_nodal_solution_by_numpy_says() {
    for row in table("strip-with-feed-wires.csv") {
        // 1 m of AWG 18 in each conductor to each feed, as the table's second column says, at 20 degrees C.
        let conductor = WireSize::Awg(18).ohms_per_metre(20.0);
        let rail = number(&row, "strip_ohm") / 2.0;
        let ladder = Ladder::new(144, 144.0, rail, conductor, &points(&row["fed_at"], 1.0));
        let loaded = ladder.at_load(&vec![number(&row, "total_A") / 144.0; 144]);
        close(loaded.start_volts_lost, number(&row, "loss_at_start_V"), 1e-4);
        close(loaded.worst().0, number(&row, "largest_loss_V"), 1e-4);
        close(5.0 - loaded.worst().0, number(&row, "pixel_voltage_at_worst_5V_supply"), 1e-4);
    }
}

#[test]
fn a_feed_point_between_two_pixels_divides_the_rail_there() {
    // Pixels at one and two metres, fed between them at one and a half: by hand, 0.1 ohm/m, 1 A each, there and back:
    // 2 * 0.1 * 0.5 * 1 either way.
    let loaded = Ladder::new(2, 1.0, 0.1, 0.0, &[1.5]).at_load(&[1.0, 1.0]);
    // A feed wire of no length stands for a nanovolt an amp.
    close(loaded.pixel_volts_lost[0], 0.1, 1e-8);
    close(loaded.pixel_volts_lost[1], 0.1, 1e-8);
    close(loaded.point_amps[0], 2.0, 1e-9);
}

#[test]
fn the_farthest_short_circuit_is_the_loop_of_rails_and_wire() {
    // One end: there and back over a metre of 0.1 ohm and a conductor of 0.02 ohm.
    let (ohms, pixel) = Ladder::new(100, 100.0, 0.1, 0.02, &[0.0]).farthest();
    close(ohms, 2.0 * 0.12, 1e-9);
    assert_eq!(pixel, 99);
    // Both ends: the middle sees two ways of half the rail and a conductor each, in parallel.
    let (ohms, pixel) = Ladder::new(100, 100.0, 0.1, 0.02, &[0.0, 1.0]).farthest();
    close(ohms, 2.0 * 0.07 / 2.0, 1e-9);
    assert_eq!(pixel, 49);
}

#[test]
fn shares_say_what_the_solution_under_load_says() {
    let ladder = Ladder::new(50, 50.0, 0.1, 0.03, &[0.1, 0.55, 1.0]);
    let amps: Vec<f64> = (0..50).map(|pixel| f64::from(pixel % 7) * 0.01).collect();
    let loaded = ladder.at_load(&amps);
    for (shares, carried) in ladder.point_shares().iter().zip(&loaded.point_amps) {
        let summed: f64 = shares.iter().zip(&amps).map(|(share, amps)| share * amps).sum();
        close(summed, *carried, 1e-9);
    }
    // Left of the first point lie pixels 0 to 3: the rail there carries all of their current and no other.
    let rails = ladder.rail_shares();
    let summed: f64 = rails[0].iter().zip(&amps).map(|(share, amps)| share * amps).sum();
    close(summed.abs(), amps[..4].iter().sum::<f64>(), 1e-9);
}
