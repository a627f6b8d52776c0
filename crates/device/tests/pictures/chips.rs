//! The chips' figures against the table of data sheet facts.

use device::{Chip, Protocol};

/// The value of an item of a part in `led-parts.csv`, and how it is known. The table's source column names the data sheet.
fn fact(part: &str, item: &str) -> (String, String) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/check-values/led-parts.csv");
    let table = std::fs::read_to_string(path).unwrap();
    let line = table.lines().find(|line| line.starts_with(&format!("{part},{item},"))).unwrap();
    // No item or value that is asked for here is quoted, but sources are.
    let value = line.split(',').nth(2).unwrap().to_owned();
    (value, line.rsplit(',').next().unwrap().to_owned())
}

fn first_number(text: &str) -> u32 {
    let digits = text.split(|letter: char| !letter.is_ascii_digit()).find(|part| !part.is_empty()).unwrap();
    digits.parse().unwrap()
}

fn reset_us(chip: Chip) -> u32 {
    match chip.protocol() {
        Protocol::OneWire { reset_us, .. } => reset_us,
        Protocol::Clocked { .. } => panic!("{} has a clock", chip.name()),
    }
}

#[test]
fn the_reset_is_long_enough_for_every_revision() {
    for (part, chip) in
        [("WS2812B", Chip::Ws2812b), ("WS2812B-V5", Chip::Ws2812b), ("SK6812", Chip::Sk6812), ("WS2815", Chip::Ws2815)]
    {
        let (value, _) = fact(part, "reset low time");
        assert!(reset_us(chip) >= first_number(&value), "{part}: {value}");
    }
}

#[test]
fn the_bit_time_is_that_of_800_kbit_a_second() {
    for (part, chip) in [("WS2812B", Chip::Ws2812b), ("WS2815", Chip::Ws2815)] {
        let (value, status) = fact(part, "data rate");
        assert_eq!((value.as_str(), status.as_str()), ("800", "read"));
        assert!(matches!(chip.protocol(), Protocol::OneWire { bit_ns, .. } if bit_ns == 1_000_000 / 800));
    }
}

#[test]
fn the_pwm_is_taken_as_the_slowest_revision() {
    assert_eq!(fact("WS2812B", "scan frequency"), ("not less than 400".to_owned(), "read".to_owned()));
    assert_eq!(Chip::Ws2812b.pwm_hz(31), 400);
    assert_eq!(fact("WS2815", "PWM refresh"), ("2".to_owned(), "read".to_owned()));
    assert_eq!(Chip::Ws2815.pwm_hz(31), 2_000);
}

/// Source: WS2812B data sheet V1.0 (read): not less than 1024 pixels on a line at 30 frames a second.
#[test]
fn thirty_frames_a_second_reach_1024_pixels() {
    let (value, _) = fact("WS2812B", "at 30 frames/s");
    let pixels = first_number(&value);
    assert_eq!(pixels, 1_024);
    assert!(Chip::Ws2812b.frame_us(pixels, 1) <= 1_000_000 / 30);
}

/// By hand: 144 · 24 · 1.25 µs + 280 µs, 144 · 32 · 1.25 µs + 80 µs; (4 + 144 · 4 + 4 + 9) · 8 clocks at 1 MHz.
#[test]
fn a_frame_takes_the_time_of_its_bits_and_its_reset() {
    assert_eq!(Chip::Ws2812b.frame_us(144, 1), 4_600);
    assert_eq!(Chip::Sk6812rgbw.frame_us(144, 1), 5_840);
    assert_eq!(Chip::Apa102.frame_us(144, 1_000_000), 4_744);
    assert!(Chip::Apa102.frame_us(u32::MAX, 0) > 0);
}

#[test]
fn chips_are_known_by_name() {
    for chip in Chip::ALL {
        assert_eq!(Chip::parse(&chip.name().to_uppercase()), Some(chip));
    }
    assert_eq!((Chip::parse("ws2812"), Chip::Sk6812rgbw.channels(), Chip::Sk6812.channels()), (None, 4, 3));
}
