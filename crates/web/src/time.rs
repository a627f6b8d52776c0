//! Times in requests and answers: RFC 3339, strictly.

use jiff::Timestamp;
use jiff::civil::DateTime;

/// The last whole second that a time can name: what comes after it is out of the range of times here (`jiff`: from the
/// year -9999 to this, so that every time has a local one in every zone).
pub(crate) const LAST: &str = "9999-12-30T22:00:00Z";

/// Why a time was not read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unread {
    /// It is no RFC 3339 time.
    Form,
    /// It is one, but after [`LAST`].
    Range,
}

/// Reads an RFC 3339 time (section 5.6: whole date, seconds, offset). `jiff` takes looser forms too, which other
/// readers would not. A leap second is read as the second before it. A space in place of the offset's plus sign is
/// taken as one, since that is what a query's plus sign decodes to.
pub(crate) fn read(text: &str) -> Result<Timestamp, Unread> {
    let (seconds, fraction, offset) = parts(text).ok_or(Unread::Form)?;
    if let Ok(time) = format!("{seconds}{fraction}{offset}").parse() {
        return Ok(time);
    }
    // a day of the calendar and a time of the day, and yet no instant
    Err(if seconds.parse::<DateTime>().is_ok() { Unread::Range } else { Unread::Form })
}

/// Date and time, fraction with its point, and offset of a text that has the form of a time.
fn parts(text: &str) -> Option<(&str, &str, String)> {
    let (head, tail) = text.split_at_checked("2026-11-25T22:00:00".len())?;
    if !fits(head, "0000-00-00T00:00:00") {
        return None;
    }
    let offset = match tail.strip_prefix('.') {
        None => tail,
        Some(fraction) => {
            let rest = fraction.trim_start_matches(|c: char| c.is_ascii_digit());
            if rest.len() == fraction.len() {
                return None;
            }
            rest
        }
    };
    let fraction = tail.get(..tail.len() - offset.len())?;
    let offset = offset.strip_prefix(' ').map_or_else(|| offset.to_owned(), |rest| format!("+{rest}"));
    let shape = fits(&offset, "Z") || fits(&offset, "+00:00") || fits(&offset, "-00:00");
    let hours = offset.get(1..3).and_then(|hours| hours.parse::<u8>().ok()).unwrap_or(0);
    if !shape || hours > 23 {
        return None;
    }
    // more digits than nanoseconds are cut off
    Some((head, fraction.get(..fraction.len().min(10)).unwrap_or_default(), offset))
}

/// Writes a time as RFC 3339 in UTC.
pub(crate) fn write(time: Timestamp) -> String {
    time.to_string()
}

fn fits(text: &str, pattern: &str) -> bool {
    text.len() == pattern.len()
        && text.bytes().zip(pattern.bytes()).all(|(byte, wanted)| match wanted {
            b'0' => byte.is_ascii_digit(),
            b'T' | b'Z' => byte.eq_ignore_ascii_case(&wanted),
            _ => byte == wanted,
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every row of a table of times that are valid and invalid by RFC 3339, sections 5.6 to 5.8.
    #[test]
    fn times_are_read_as_rfc_3339_says() {
        let table = include_str!("../../../tests/check-values/rfc3339.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
        let mut seen = 0;
        for row in rows.records() {
            let row = row.unwrap();
            let (text, valid, utc) = (&row[0], row[1].starts_with("yes"), &row[2]);
            let read = read(text);
            assert_eq!(read.is_ok(), valid, "{text}");
            if let (Ok(read), false) = (read, text.contains(":60")) {
                assert_eq!(read, utc.parse::<Timestamp>().unwrap(), "{text}");
            }
            seen += 1;
        }
        assert!(seen >= 20);
    }

    #[test]
    fn a_plus_sign_that_a_query_made_a_space_is_still_one() {
        assert_eq!(read("2026-11-25T22:00:00 02:00"), read("2026-11-25T20:00:00Z"));
        assert_eq!(read("2026-11-25 22:00:00Z"), Err(Unread::Form));
        assert_eq!(read("2026-11-25T22:00:00é"), Err(Unread::Form));
    }

    #[test]
    fn a_time_after_the_last_is_told_apart_from_what_is_none() {
        assert_eq!(read(LAST).unwrap().as_second(), Timestamp::MAX.as_second());
        for late in ["9999-12-30T22:00:01Z", "9999-12-31T23:59:59Z", "9999-12-31T23:59:59.5-23:59"] {
            assert_eq!(read(late), Err(Unread::Range), "{late}");
        }
        for wrong in ["9999-12-32T00:00:00Z", "2026-02-29T00:00:00Z", "2026-01-01T24:00:00Z", "2026-01-01T00:00:00"] {
            assert_eq!(read(wrong), Err(Unread::Form), "{wrong}");
        }
        assert!(read("0000-01-01T00:00:00+23:59").is_ok());
    }
}
