//! Times in requests and answers: RFC 3339, strictly.

use jiff::Timestamp;

/// Reads an RFC 3339 time (section 5.6: whole date, seconds, offset). `jiff` takes looser forms too, which other
/// readers would not. A leap second is read as the second before it. A space in place of the offset's plus sign is
/// taken as one, since that is what a query's plus sign decodes to.
pub(crate) fn read(text: &str) -> Option<Timestamp> {
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
    let offset = offset.strip_prefix(' ').map_or_else(|| offset.to_owned(), |rest| format!("+{rest}"));
    let shape = fits(&offset, "Z") || fits(&offset, "+00:00") || fits(&offset, "-00:00");
    let hours = offset.get(1..3).and_then(|hours| hours.parse::<u8>().ok()).unwrap_or(0);
    if !shape || hours > 23 {
        return None;
    }
    let seconds = text.get(..text.len() - tail.len())?;
    let fraction = tail.get(..tail.len() - offset.len())?;
    // more digits than nanoseconds are cut off
    let fraction = fraction.get(..fraction.len().min(10)).unwrap_or_default();
    format!("{seconds}{fraction}{offset}").parse().ok()
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
            assert_eq!(read.is_some(), valid, "{text}");
            if let (Some(read), false) = (read, text.contains(":60")) {
                assert_eq!(read, utc.parse::<Timestamp>().unwrap(), "{text}");
            }
            seen += 1;
        }
        assert!(seen >= 20);
    }

    #[test]
    fn a_plus_sign_that_a_query_made_a_space_is_still_one() {
        assert_eq!(read("2026-11-25T22:00:00 02:00"), read("2026-11-25T20:00:00Z"));
        assert_eq!(read("2026-11-25 22:00:00Z"), None);
        assert_eq!(read("2026-11-25T22:00:00é"), None);
    }
}
