//! What an entry's start and shift may be written as, and what is said to those that may not.

use almanac::{AlmanacError, Shift, Start, SunEvent, wall_time};
use jiff::SignedDuration;
use jiff::civil::time;
use proptest::prelude::*;

fn shift(text: &str) -> Result<SignedDuration, AlmanacError> {
    text.parse::<Shift>().map(Shift::duration)
}

#[test]
fn a_start_is_a_wall_time_or_an_event_of_the_sun() {
    assert_eq!("22:45".parse(), Ok(Start::Wall(time(22, 45, 0, 0))));
    assert_eq!("00:00".parse(), Ok(Start::Wall(time(0, 0, 0, 0))));
    assert_eq!("23:59:59".parse(), Ok(Start::Wall(time(23, 59, 59, 0))));
    for event in SunEvent::ALL {
        assert_eq!(event.as_str().parse(), Ok(Start::Sun(event)));
    }
    assert_eq!(wall_time("16:30"), Ok(time(16, 30, 0, 0)));
}

#[test]
fn midnight_at_the_end_of_a_day_is_told_to_be_written_as_the_start_of_one() {
    for text in ["24:00", "24:00:00"] {
        let error = text.parse::<Start>().unwrap_err();
        assert!(matches!(error, AlmanacError::EndOfDay { .. }) && error.to_string().contains("\"00:00\""));
    }
}

#[test]
fn what_is_no_start_is_refused_with_the_forms_that_are() {
    for text in [
        "7:30",
        "07:5",
        "0730",
        "07:60",
        "25:00",
        "23:59:60",
        "07:30:00.5",
        "07:30:",
        "07:30:00:00",
        "24:01",
        "1",
        "07:30 ",
        "0١:00",
    ] {
        let error = text.parse::<Start>().unwrap_err();
        assert!(matches!(error, AlmanacError::WallTime { .. }), "{text}: {error:?}");
        assert!(error.to_string().contains("HH:MM"));
    }
    for text in ["", "noon", "Sunset", "sunset ", "-07:30", "T07:30"] {
        let error = text.parse::<Start>().unwrap_err();
        assert!(matches!(error, AlmanacError::UnknownStart { .. }), "{text}: {error:?}");
        assert!(SunEvent::ALL.into_iter().all(|event| error.to_string().contains(event.as_str())));
    }
}

/// Source: RFC 5545 section 3.3.6; the letters' case by RFC 5234 section 2.3.
#[test]
fn a_shift_is_a_signed_rfc_5545_duration() {
    for (text, seconds) in [
        ("-PT30M", -1800),
        ("PT30M", 1800),
        ("+PT1H30M", 5400),
        ("PT0S", 0),
        ("-PT0S", 0),
        ("PT12H", 43_200),
        ("-PT12H", -43_200),
        ("PT1H0M30S", 3630),
        ("PT5S", 5),
        ("PT1M5S", 65),
        ("PT720M", 43_200),
        ("PT43200S", 43_200),
        ("P0D", 0),
        ("P0W", 0),
        ("P0DT2H", 7200),
        ("pt15m", 900),
        ("PT0001H", 3600),
    ] {
        assert_eq!(shift(text), Ok(SignedDuration::from_secs(seconds)), "{text}");
    }
}

/// Source: RFC 5545 section 3.3.6: no years, months or fractions, weeks alone, and no gap between
/// units.
#[test]
fn what_is_no_rfc_5545_duration_is_refused_with_an_example() {
    for text in [
        "",
        "P",
        "PT",
        "-",
        "+",
        "-P",
        "30M",
        "P30M",
        "PT30",
        "PT30M ",
        " PT30M",
        "PT1.5H",
        "PT1,5H",
        "P1Y",
        "P1M",
        "P1W1D",
        "P1WT1H",
        "P1DT",
        "P0D1H",
        "PT30M1H",
        "PT1H1H",
        "PT5S1M",
        "PTH",
        "PT-30M",
        "--PT30M",
        "PT30M-",
        "T30M",
        "PT٣M",
        "PT1HT1M",
        "30 minutes",
        "1h",
    ] {
        let error = shift(text).unwrap_err();
        assert!(matches!(error, AlmanacError::Duration { .. }), "{text}: {error:?}");
        assert!(error.to_string().contains("\"-PT30M\""));
    }
    let error = shift("PT1H30S").unwrap_err();
    assert!(
        matches!(error, AlmanacError::DurationWithoutMinutes { .. }) && error.to_string().contains("\"PT1H0M30S\"")
    );
}

#[test]
fn a_shift_of_more_than_twelve_hours_is_refused() {
    for text in [
        "P1D",
        "-P1D",
        "P1W",
        "PT12H0M1S",
        "-PT43201S",
        "PT13H",
        "PT99999999999999999999H",
        "P9223372036854775807DT1H",
        "P99999999999999999999W",
    ] {
        let error = shift(text).unwrap_err();
        assert!(matches!(error, AlmanacError::LongShift { .. }), "{text}: {error:?}");
        assert!(error.to_string().contains("12 hours"));
    }
}

proptest! {
    #[test]
    fn every_shift_reads_back_from_its_text(seconds in -43_200_i64..=43_200) {
        let read: Shift = format!("{}PT{}S", if seconds < 0 { "-" } else { "" }, seconds.abs()).parse().unwrap();
        prop_assert_eq!(read.duration().as_secs(), seconds);
        prop_assert_eq!(read.to_string().parse(), Ok(read));
    }

    #[test]
    fn every_wall_time_reads_back_from_its_text(hour in 0_i8..24, minute in 0_i8..60, second in 0_i8..60) {
        let start = Start::Wall(time(hour, minute, second, 0));
        prop_assert_eq!(start.to_string().parse(), Ok(start));
    }
}
