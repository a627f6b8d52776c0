//! How much earlier or later than its start an entry begins: a signed RFC 5545 duration.

use std::fmt;
use std::str::FromStr;

use jiff::SignedDuration;

use crate::AlmanacError;
use crate::error::excerpt;

const LONGEST_SECONDS: i64 = 12 * 3600;

/// A signed duration of whole seconds, at most twelve hours either way.
///
/// Written as RFC 5545 section 3.3.6 writes a `dur-value`: an optional sign, `P`, then weeks alone,
/// or days, or a time after `T` whose units follow each other without a gap. Letters may be of
/// either case, as in every ABNF of that kind (RFC 5234 section 2.3). `jiff`'s own parser is not
/// used: it also takes years, months, fractions and gaps, which RFC 5545 does not know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shift(SignedDuration);

impl Shift {
    /// Neither earlier nor later; what an entry has when it names none.
    pub const NONE: Self = Self(SignedDuration::ZERO);

    /// The duration; negative is earlier.
    #[must_use]
    pub fn duration(self) -> SignedDuration {
        self.0
    }
}

/// The shift in the form that RFC 5545 gives it, `PT0S` for none.
impl fmt::Display for Shift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let total = self.0.as_secs().unsigned_abs();
        let (hours, minutes, seconds) = (total / 3600, total / 60 % 60, total % 60);
        f.write_str(if self.0.is_negative() { "-PT" } else { "PT" })?;
        if hours > 0 {
            write!(f, "{hours}H")?;
        }
        // The grammar has no hours followed by seconds, so minutes of 0 stand between them.
        if minutes > 0 || (hours > 0 && seconds > 0) {
            write!(f, "{minutes}M")?;
        }
        if seconds > 0 || total == 0 {
            write!(f, "{seconds}S")?;
        }
        Ok(())
    }
}

impl FromStr for Shift {
    type Err = AlmanacError;

    fn from_str(text: &str) -> Result<Self, AlmanacError> {
        let upper = text.to_ascii_uppercase();
        let (sign, unsigned) = match upper.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, upper.strip_prefix('+').unwrap_or(&upper)),
        };
        let seconds = match unsigned.strip_prefix('P').map(unsigned_seconds) {
            Some(Ok(seconds)) => seconds,
            Some(Err(Fault::NoMinutes)) => {
                return Err(AlmanacError::DurationWithoutMinutes { text: excerpt(text) });
            }
            Some(Err(Fault::Grammar)) | None => {
                return Err(AlmanacError::Duration { text: excerpt(text) });
            }
        };
        if seconds > LONGEST_SECONDS {
            return Err(AlmanacError::LongShift { text: excerpt(text) });
        }
        Ok(Self(SignedDuration::from_secs(sign * seconds)))
    }
}

enum Fault {
    Grammar,
    NoMinutes,
}

/// What stands after the `P`, in seconds; saturating, since anything near the largest number is
/// refused as too long.
fn unsigned_seconds(text: &str) -> Result<i64, Fault> {
    let (date, time) = match text.split_once('T') {
        Some((date, time)) => (date, Some(time)),
        None => (text, None),
    };
    let of_date = match (date, time) {
        ("", Some(_)) => 0,
        _ => {
            let (count, unit, rest) = quantity(date)?;
            let scale = match (unit, time) {
                ('W', None) => 7 * 86_400,
                ('D', _) => 86_400,
                _ => return Err(Fault::Grammar),
            };
            if !rest.is_empty() {
                return Err(Fault::Grammar);
            }
            count.saturating_mul(scale)
        }
    };
    let of_time = time.map_or(Ok(0), time_seconds)?;
    Ok(of_date.saturating_add(of_time))
}

/// What stands after the `T`: at least one of hours, minutes and seconds, in this order and without
/// a gap.
fn time_seconds(text: &str) -> Result<i64, Fault> {
    let mut rest = text;
    let mut total = 0_i64;
    let mut before = None;
    while before.is_none() || !rest.is_empty() {
        let (count, unit, after) = quantity(rest)?;
        let scale = match (before, unit) {
            (None, 'H') => 3600,
            (None | Some('H'), 'M') => 60,
            (None | Some('M'), 'S') => 1,
            (Some('H'), 'S') => return Err(Fault::NoMinutes),
            _ => return Err(Fault::Grammar),
        };
        total = total.saturating_add(count.saturating_mul(scale));
        (before, rest) = (Some(unit), after);
    }
    Ok(total)
}

/// One number and its unit, and what stands after them.
fn quantity(text: &str) -> Result<(i64, char, &str), Fault> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let (number, rest) = text.split_at_checked(digits).ok_or(Fault::Grammar)?;
    let mut letters = rest.chars();
    match (number.is_empty(), letters.next()) {
        // So many digits that they do not fit are a duration all the same, and too long.
        (false, Some(unit)) => Ok((number.parse().unwrap_or(i64::MAX), unit, letters.as_str())),
        _ => Err(Fault::Grammar),
    }
}
