//! Times on the command line: RFC 3339, `now`, or a span before or after now.

use jiff::civil::DateTime;
use jiff::{SignedDuration, Timestamp};

/// A text that is no time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// It has not the form of one.
    #[error(
        "{0:?} is no time: write it by RFC 3339, such as 2026-11-25T22:00:00Z, or as a span from now, such as -90m, -2h, +3d"
    )]
    Form(String),
    /// It is out of the range of times.
    #[error("{0:?} is out of range: times go from the year -9999 to 9999-12-30T22:00:00Z; write one between")]
    Range(String),
}

/// Reads a time. Spans are whole numbers of `s`, `m`, `h`, `d` (24 hours) or `w`, with a sign.
///
/// # Errors
/// [`TimeError`].
pub fn read_time(text: &str, now: Timestamp) -> Result<Timestamp, TimeError> {
    let shown = || text.chars().take(64).collect();
    let wrong = || TimeError::Form(shown());
    let far = || TimeError::Range(shown());
    if text == "now" {
        return Ok(now);
    }
    let span = text.strip_prefix('-').map(|rest| (-1, rest)).or(text.strip_prefix('+').map(|rest| (1, rest)));
    let Some((sign, rest)) = span else {
        return text.parse().map_err(|_| if is_beyond(text) { far() } else { wrong() });
    };
    let unit = rest.chars().last().ok_or_else(wrong)?;
    let seconds = match unit {
        's' => 1,
        'm' => 60,
        'h' => 3600,
        'd' => 86_400,
        'w' => 7 * 86_400,
        _ => return Err(wrong()),
    };
    let digits = rest.strip_suffix(unit).ok_or_else(wrong)?;
    if digits.is_empty() || !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(wrong());
    }
    let count: i64 = digits.parse().map_err(|_| far())?;
    let seconds = count.checked_mul(seconds * sign).ok_or_else(far)?;
    now.checked_add(SignedDuration::from_secs(seconds)).map_err(|_| far())
}

/// Whether a text that is no instant is one of the calendar's last two days with an offset: then it is after the last
/// instant that there is.
fn is_beyond(text: &str) -> bool {
    let Some((head, tail)) = text.split_at_checked("9999-12-30T22:00:00".len()) else { return false };
    let offset = tail.ends_with(['Z', 'z']) || tail.contains(['+', '-']);
    offset && head.starts_with("9999-12-3") && head.parse::<DateTime>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<String, TimeError> {
        read_time(text, "2026-11-25T22:00:00Z".parse().unwrap()).map(|time| time.to_string())
    }

    #[test]
    fn spans_count_from_now() {
        for (text, time) in [
            ("now", "2026-11-25T22:00:00Z"),
            ("-90m", "2026-11-25T20:30:00Z"),
            ("+3h", "2026-11-26T01:00:00Z"),
            ("-2d", "2026-11-23T22:00:00Z"),
            ("-1w", "2026-11-18T22:00:00Z"),
            ("+0s", "2026-11-25T22:00:00Z"),
            ("2026-01-02T03:04:05+01:00", "2026-01-02T02:04:05Z"),
        ] {
            assert_eq!(read(text).unwrap(), time, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_read_or_refused_in_peace(text in "\\PC{0,24}") {
            let _ = read(&text);
        }

        #[test]
        fn a_span_there_and_the_same_span_back_is_now(count in 0_i64..5000, unit in "[smhd]") {
            let now: Timestamp = "2026-11-25T22:00:00Z".parse().unwrap();
            let there = read_time(&format!("-{count}{unit}"), now).unwrap();
            proptest::prop_assert_eq!(read_time(&format!("+{count}{unit}"), there).unwrap(), now);
        }
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in
            ["", "-", "+", "-h", "5m", "-5", "-5y", "--5m", "-5é", "yesterday", "-99999999999999999999d", "-9999999w"]
        {
            assert!(read(text).is_err(), "{text}");
        }
    }

    #[test]
    fn what_is_out_of_range_is_told_with_the_range() {
        assert!(read("9999-12-30T22:00:00Z").is_ok());
        for text in [
            "9999-12-31T23:59:59Z",
            "9999-12-30T22:00:01Z",
            "9999-12-30T22:30:00-01:00",
            "+9999999w",
            "-99999999999999999999d",
        ] {
            let error = read(text).unwrap_err();
            assert!(
                matches!(error, TimeError::Range(_)) && error.to_string().contains("9999-12-30T22:00:00Z"),
                "{text}"
            );
        }
        for text in ["9999-12-32T00:00:00Z", "9999-12-31T23:59:59", "+w", "-5y", "2026-02-30T00:00:00Z"] {
            assert!(matches!(read(text), Err(TimeError::Form(_))), "{text}");
        }
    }
}
